"""Tables of a board: its drawings, which shapes in them play which role, its links."""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema

from millprep.job.clearing import ClearTable
from millprep.job.fields import (
    NAME_ALLOWED,
    Name,
    Number,
    Pair,
    PositiveNumber,
    Table,
    Words,
    choice,
    entry,
    number,
)
from millprep.job.net import NetTable
from millprep.job.wire import WireTable
from millprep.model.plan import CopperMode, DrawnFrom, Unit

LAYERS_ALLOWED = 'a list of layer names, such as ["TRACKS"]'
BOX_ALLOWED = "four plain numbers in mm, [x0, y0, x1, y1]"
Shape = Literal["closed", "open"]
Turn = Annotated[float, Field(ge=-360, le=360)]
FourNumbers = Annotated[list[Number], Field(min_length=4, max_length=4)]


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_WORD = {"enum": list(get_args(CopperMode))}
Modes = Annotated[
    list[CopperMode],
    Field(min_length=1),
    BeforeValidator(_listed),
    WithJsonSchema({"anyOf": [_WORD, {"type": "array", "items": _WORD, "minItems": 1}]}),
]
"""One word, or a list of them for a mixed layer."""


class LayersTable(Table):
    """Which layers of the drawing play which role; a layer may play several."""

    copper: Annotated[list[Words], Field(min_length=1)] = entry(
        "Layers that hold copper", LAYERS_ALLOWED + ", one at least"
    )
    outline: list[Words] = entry(
        "Layers that hold the board's outline and cut-outs; none where the board's size is given",
        LAYERS_ALLOWED,
        default=[],
        words="none",
    )
    holes: list[Words] = entry("Layers that hold the holes; [] for none", LAYERS_ALLOWED)
    modes: dict[Words, Modes] = entry(
        "What draws copper on a layer, where the drawing leaves it open: strokes (lines with a "
        "width), fills (filled areas), nested outlines (closed lines, every second one a gap) or "
        "overlapping outlines (closed lines, each of them filled)",
        "a table of copper layers, each with "
        + ", ".join(f'"{mode}"' for mode in get_args(CopperMode))
        + " or a list of these",
        default={},
        words="what the shapes themselves say",
        choices=get_args(CopperMode),
    )
    widths: dict[Words, PositiveNumber] = entry(
        "Width of tracks that a layer gives as bare centre lines",
        "a table of copper layers, each with a plain number in mm above 0",
        unit="mm",
        default={},
        words="none",
    )


class SelectionTable(Table):
    """Shapes picked out by more than their layer, to be named like a layer of their own."""

    name: Words = entry(
        "What layers.copper, outline or holes call these shapes",
        "a name that no layer of the drawing has",
    )
    layer: Words | None = entry(
        "Only shapes drawn on this layer", "the name of a layer", default=None, words="any"
    )
    colour: int | None = number(
        "Only shapes shown in this colour of the drawing's index",
        "",
        default=None,
        words="any",
        least=1,
        most=255,
        whole=True,
    )
    line_type: Words | None = entry(
        "Only shapes shown with this line type",
        "the name of a line type",
        default=None,
        words="any",
    )
    block: Words | None = entry(
        "Only shapes within inserts of this block",
        "the name of a block",
        default=None,
        words="any",
    )
    shape: Shape | None = choice(
        "Only lines that close on themselves, or only those that do not",
        Shape,
        default=None,
        words="any",
    )
    region: FourNumbers | None = entry(
        "Only shapes wholly within this rectangle, drawing coordinates",
        BOX_ALLOWED,
        unit="mm",
        default=None,
        words="everywhere",
    )


class PlaceTable(Table):
    """A place by hand: the first [[board.place]] is for copy 1, the next for copy 2."""

    at: Pair = entry(
        "Low corner of the box around the board as it lies, from the blank's low corner, [x, y]",
        "two plain numbers in mm, [x, y]",
        unit="mm",
    )
    turn: float = number("Turn counter-clockwise", "degrees", default=0.0, least=-360, most=360)
    blank: int = number("Number of the blank", "", default=1, least=1, most=1000, whole=True)


class BoardTable(Table):
    """One circuit board."""

    name: Name = entry("What the reports call the board", NAME_ALLOWED)
    drawing: Words = entry(
        "The DXF file, seen from the job file's folder", "the path of a DXF file"
    )
    outline_drawing: Words | None = entry(
        "The DXF file that holds the outline, where `drawing` does not",
        "the path of a DXF file",
        default=None,
        words="`drawing`",
    )
    holes_drawing: Words | None = entry(
        "The DXF file that holds the holes, where `drawing` does not",
        "the path of a DXF file",
        default=None,
        words="`drawing`",
    )
    count: int = number("Copies to make", "", default=1, least=1, most=1000, whole=True)
    turns: Annotated[list[Turn], Field(min_length=1)] = entry(
        "Turns that a copy may have on its blank, counter-clockwise",
        "a list of plain numbers in degrees, such as [0, 90, 180, 270]",
        unit="degrees",
        default=[0.0],
        words="[0]",
    )
    priority: int = number(
        "Boards of a higher number get their places first",
        "",
        default=0,
        least=-1000,
        most=1000,
        whole=True,
    )
    place: list[PlaceTable] = entry(
        "Places by hand, one [[board.place]] for each of the first copies",
        "tables headed [[board.place]]",
        default=[],
        words="none: places are found",
    )
    drawn_from: DrawnFrom = choice(
        "The side the drawing is seen from: the component side (the copper is then mirrored) or "
        "the copper side",
        DrawnFrom,
    )
    unit: Unit | None = choice(
        "Unit of the drawing, for files that state none or state a wrong one",
        Unit,
        default=None,
        words="what the drawing states",
    )
    layers: LayersTable = entry("Layers by role", "a table of layer names by role")
    outline_box: FourNumbers | None = entry(
        "The board as a rectangle, where no layer draws its outline; drawing coordinates",
        BOX_ALLOWED,
        unit="mm",
        default=None,
        words="none",
    )
    outline_margin: float | None = number(
        "The board as the copper's extent and this much around it, where no layer draws its "
        "outline",
        "mm",
        default=None,
        words="none",
        least=0,
        most=1000,
    )
    close_gaps: float = number(
        "Gaps in the outline up to this are closed by a straight line",
        "mm",
        default=0.0,
        least=0,
        most=10,
    )
    selection: list[SelectionTable] = entry(
        "Shapes named apart from their layer, one [[board.selection]] each",
        "tables headed [[board.selection]]",
        default=[],
        words="none",
    )
    accept_repairs: list[Words] = entry(
        "Changes to shapes in use that --repair may make, by the names it lists",
        "a list of the names that --repair lists",
        default=[],
        words="none",
    )
    clear: list[ClearTable] = entry(
        "Areas cleared of copper that belongs to no piece, one [[board.clear]] each",
        "tables headed [[board.clear]]",
        default=[],
        words="none",
    )
    links: list[Annotated[list[Pair], Field(min_length=2, max_length=2)]] = entry(
        "Wires soldered by hand between two points of the copper, drawing coordinates in mm; they "
        "join pieces and are taken as perfect",
        "a list of point pairs in mm, [[[x, y], [x, y]], …]",
        unit="mm",
        default=[],
        words="none",
    )
    wire: list[WireTable] = entry(
        "Wires soldered by hand whose own resistance counts, one [[board.wire]] each",
        "tables headed [[board.wire]]",
        default=[],
        words="none",
    )
    net: list[NetTable] = entry(
        "Nets with what they carry, one [[board.net]] each",
        "tables headed [[board.net]]",
        default=[],
        words="none: no voltage and no current is judged",
    )
