"""How a drawing is read: layers by role, and shapes that get a layer name of their own."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema
from pydantic.dataclasses import dataclass

from millprep.model.job.keys import (
    CORNERS_ALLOWED,
    TABLE,
    Corners,
    FilePath,
    JobTable,
    NamedFile,
    PositiveNumber,
    Words,
    choice,
    entry,
    keys,
    number,
)
from millprep.model.job.mistakes import Mistake, check, near, wrong

CopperMode = Literal["strokes", "fills", "nested outlines", "overlapping outlines"]
"""What draws copper on a layer: lines with a width; filled areas; closed lines of no width,
read even-odd; closed lines of no width, each of them filled."""
DrawnFrom = Literal["components", "copper"]
Unit = Literal["mm", "inch", "mil", "cm", "m", "point"]
Shape = Literal["closed", "open"]
OutlinePen = Literal["outer", "middle", "inner"]


@dataclass(frozen=True, slots=True, config=TABLE)
class Selection(JobTable):
    """Shapes of a drawing picked out by more than their layer, and named like a layer.

    What meets every condition counts as drawn on a layer called `name`, and no longer on its own;
    of several selections that it meets the first has it.
    """

    name: Words = entry(
        "What layers.copper, outline or holes call these shapes",
        "a name that no layer of the drawing has",
    )
    layer: Words | None = entry(
        "Only shapes drawn on this layer", "the name of a layer", default=None, words="any"
    )
    colour: int | None = number(
        "Only shapes shown in this colour of the drawing's index; a colour by layer or by block "
        "is followed",
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
        "Only shapes within inserts of this block, at any depth",
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
    region: Corners | None = entry(
        "Only shapes wholly within this rectangle, drawing coordinates",
        CORNERS_ALLOWED,
        unit="mm",
        default=None,
        words="everywhere",
    )

    @check
    def _has_a_condition(self) -> Iterator[Mistake]:
        conditions = [key for key in keys(type(self)) if key != "name"]
        if all(getattr(self, key) is None for key in conditions):
            yield wrong((), f"has no condition; give one of {', '.join(conditions)}")


FILE_ALLOWED = "the path of a DXF, Gerber or drill file"
LAYERS_ALLOWED = 'a list of layer names, such as ["TRACKS"]'
MODES = get_args(CopperMode)


def _listed(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


Modes = Annotated[
    tuple[CopperMode, ...],
    Field(min_length=1),
    BeforeValidator(_listed),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(MODES)},
                {"type": "array", "items": {"enum": list(MODES)}, "minItems": 1},
            ]
        }
    ),
]
"""The file may give one word, or a list of them for a mixed layer."""


Files = Annotated[
    tuple[FilePath, ...],
    BeforeValidator(_listed),
    WithJsonSchema({"type": ["string", "array"], "items": {"type": "string"}, "minLength": 1}),
]
"""One path, or a list of them."""


@dataclass(frozen=True, slots=True, config=TABLE)
class DrawingPlan(JobTable):
    """The files of a board by what they draw; a single path is that of the copper.

    What kind of file each is, its content decides. A DXF file has layers, named in `layers`; a
    Gerber or drill file is one layer.
    """

    copper: FilePath = entry("The file that draws the copper", FILE_ALLOWED)
    outline: FilePath | None = entry(
        "The file that draws the outline and cut-outs", FILE_ALLOWED, default=None, words="`copper`"
    )
    holes: Files | None = entry(
        "The file, or files, that draw the holes; [] for none",
        FILE_ALLOWED + ", or a list of them",
        default=None,
        words="`copper`",
    )

    @property
    def files(self) -> tuple[NamedFile, ...]:
        """All of them."""
        outline = () if self.outline is None else (self.outline,)
        return (self.copper, *outline, *(self.holes or ()))


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class LayersTable(JobTable):
    """Which layers of the drawing have which role; a layer may have several."""

    copper: Annotated[tuple[Words, ...], Field(min_length=1)] | None = entry(
        "Layers that hold copper",
        LAYERS_ALLOWED + ", one at least",
        default=None,
        words="none, where the copper's file is not DXF",
    )
    outline: tuple[Words, ...] = entry(
        "Layers that hold the board's outline and cut-outs; none where the board's size is given",
        LAYERS_ALLOWED,
        default=(),
        words="none",
    )
    holes: tuple[Words, ...] | None = entry(
        "Layers that hold the holes; [] for none",
        LAYERS_ALLOWED,
        default=None,
        words="none, where `drawing.holes` is given",
    )
    other: tuple[Words, ...] = entry(
        "Layers that are none of these, such as lettering, frames and wires: no finding asks "
        "about them",
        LAYERS_ALLOWED,
        default=(),
        words="none",
    )
    parts: tuple[Words, ...] = entry(
        "Layers whose texts name parts: each text names the pads nearest to it",
        LAYERS_ALLOWED,
        default=(),
        words="none",
    )
    legend: tuple[Words, ...] = entry(
        "Layers whose lines and texts `millprep legend` engraves into the component side",
        LAYERS_ALLOWED,
        default=(),
        words="none",
    )
    modes: dict[Words, Modes] = entry(
        "What draws copper on a layer, where the drawing leaves it open: strokes (lines with a "
        "width), fills (filled areas), nested outlines (closed lines, every second one a gap) or "
        "overlapping outlines (closed lines, each of them filled)",
        "a table of copper layers, each with "
        + ", ".join(f'"{mode}"' for mode in MODES)
        + " or a list of these",
        default={},
        words="what the shapes themselves show",
        choices=MODES,
    )
    widths: dict[Words, PositiveNumber] = entry(
        "Width of tracks that a layer gives as centre lines without a width",
        "a table of copper layers, each with a plain number in mm above 0",
        unit="mm",
        default={},
        words="none",
    )

    @check
    def _modes_for_copper(self) -> Iterator[Mistake]:
        yield from self._for_copper("modes", self.modes)

    @check
    def _widths_for_copper(self) -> Iterator[Mistake]:
        yield from self._for_copper("widths", self.widths)

    def _for_copper(self, key: str, layers: dict[str, Any]) -> Iterator[Mistake]:
        copper = self.copper or ()
        for name in layers:
            if name.casefold() not in {layer.casefold() for layer in copper}:
                words = f"is for a layer that layers.copper does not name{near(name, copper)}"
                yield wrong((key, name), words)

    @check
    def _widths_for_strokes(self) -> Iterator[Mistake]:
        for name in sorted({*self.modes} & {*self.widths}):
            if "strokes" not in self.modes[name]:
                words = 'gives tracks a width, so layers.modes must name "strokes" too'
                yield wrong(("widths", name), words)


def not_named(layers: LayersTable) -> Iterator[Mistake]:
    """What is missing where one file draws copper and holes."""
    for name in ("copper", "holes"):
        if getattr(layers, name) is None:
            doc = keys(LayersTable)[name].doc
            meaning = doc.meaning[0].lower() + doc.meaning[1:]
            words = f"is missing ({meaning}); needed: {doc.allowed}"
            yield Mistake("job-missing-key", ("layers", name), words)


@dataclasses.dataclass(frozen=True, slots=True)
class LayerRoles:
    """Which layers of a drawing have which role; a layer may have several.

    Attributes:
        other: layers that are known to be none of these; nobody asks about them.
        parts: layers whose texts name parts; nobody asks about them either.
        legend: layers whose lines and texts are engraved into the component side.
        copper_modes: (layer, mode) pairs, several for one layer if it is mixed: only what they
            name is read as copper there. A layer without any is read by what is drawn on it.
        line_widths: (layer, mm): width of the tracks that the drawing gives as centre lines.
        close_gaps: gaps in the outline up to this are closed, mm.
        outline_box: (x0, y0, x1, y1) of a board whose outline is not drawn, drawing frame, mm.
        outline_margin: the board is the copper's box and this much around it, mm.
        selections: shapes with a layer name of their own; the other fields may use it.
        outline_pen: which line is the edge of an outline drawn as both rims of a pen's line, or
            which rim is where only the width of its lines closes it.
        outline_unit, holes_unit: of the files that hold only these; None takes what the file says,
            else the unit of the drawing.
    """

    copper: tuple[str, ...]
    outline: tuple[str, ...]
    holes: tuple[str, ...]
    copper_modes: tuple[tuple[str, CopperMode], ...] = ()
    line_widths: tuple[tuple[str, float], ...] = ()
    close_gaps: float = 0.0
    outline_box: tuple[float, float, float, float] | None = None
    outline_margin: float | None = None
    selections: tuple[Selection, ...] = ()
    outline_unit: Unit | None = None
    holes_unit: Unit | None = None
    other: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    legend: tuple[str, ...] = ()
    outline_pen: OutlinePen | None = None
