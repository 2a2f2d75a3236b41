"""A board: its drawings, which shapes in them have which role, its copies, nets and wires."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import PurePath
from typing import Annotated

from pydantic import Field
from pydantic.dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.job.keys import (
    CORNERS_ALLOWED,
    NAME_ALLOWED,
    TABLE,
    Corners,
    FilePath,
    JobTable,
    Name,
    NamedFile,
    Pair,
    Words,
    choice,
    entry,
    flag,
    number,
)
from millprep.model.job.layers import (
    FILE_ALLOWED,
    DrawingPlan,
    DrawnFrom,
    LayerRoles,
    LayersTable,
    OutlinePen,
    Selection,
    Unit,
    not_named,
)
from millprep.model.job.mistakes import Mistake, UnsettledError, check, known, twice, wrong
from millprep.model.job.nets import ClearArea, NetPlan, Wire, WirePlan

Turn = Annotated[float, Field(ge=-360, le=360)]


@dataclass(frozen=True, slots=True, config=TABLE)
class PlacePlan(JobTable):
    """A place by hand: the first [[board.place]] is for copy 1, the next for copy 2."""

    at: Pair = entry(
        "Lower-left corner of the box around the board as it lies, from the blank's lower-left "
        "corner, [x, y]",
        "two plain numbers in mm, [x, y]",
        unit="mm",
    )
    turn: float = number("Turn counter-clockwise", "degrees", default=0.0, least=-360, most=360)
    blank: int = number("Number of the blank", "", default=1, least=1, most=1000, whole=True)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class LayoutTable(JobTable):
    """Where boards lie, when that is stored."""

    file: FilePath | None = entry(
        "A layout that `millprep layout` wrote: its places are kept, and what is new is added",
        "the path of a layout file",
        default=None,
        words="none: places are chosen for you",
    )


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class BoardPlan(JobTable):
    """One circuit board."""

    name: Name = entry(
        "What the reports call the board",
        NAME_ALLOWED,
        otherwise=lambda _, board: PurePath(board.drawing.copper.name).stem,
        words="the drawing's name",
    )
    drawing: DrawingPlan = entry(
        "The drawing: one DXF file, or a table of files by what they draw, as seen from the job "
        "file's folder",
        FILE_ALLOWED
        + ', or a table such as { copper = "a.gbr", outline = "b.gbr", holes = ["c"] }',
    )
    netlist: FilePath | None = entry(
        "The netlist that the copper must agree with: IPC-D-356, or a table net,x,y,part,pin",
        "the path of a netlist file",
        default=None,
        words="none: the copper is not compared with a circuit",
    )
    netlist_offset: Pair | None = entry(
        "What is added to the netlist's coordinates, [x, y], where its holes do not show it",
        "two plain numbers in mm, [x, y]",
        unit="mm",
        default=None,
        words="found from the holes",
    )
    netlist_mirrored: bool = flag(
        "With `netlist_offset`: whether the netlist is seen from the other side than the drawing, "
        "so that its x is turned about first",
        default=False,
    )
    ignore_nets: tuple[Words, ...] = entry(
        "Nets of the netlist that may be open or shorted: they are not compared",
        "a list of names of nets",
        default=(),
        words="none",
    )
    count: int = number("Copies to make", "", default=1, least=1, most=1000, whole=True)
    turns: Annotated[tuple[Turn, ...], Field(min_length=1)] = entry(
        "Turns that a copy may have on its blank, counter-clockwise",
        "a list of plain numbers in degrees, such as [0, 90, 180, 270]",
        unit="degrees",
        default=(0.0,),
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
    places: tuple[PlacePlan, ...] = entry(
        "Places by hand, one [[board.place]] for each of the first copies",
        "tables headed [[board.place]]",
        key="place",
        default=(),
        words="none: places are chosen for you",
    )
    drawn_from: DrawnFrom = choice(
        "The side the drawing is seen from: the component side (the copper is then mirrored) or "
        "the copper side",
        DrawnFrom,
    )
    unit: Unit | None = choice(
        "Unit of the drawing, for files that give none or a wrong one",
        Unit,
        default=None,
        words="what the drawing gives",
    )
    outline_unit: Unit | None = choice(
        "Unit of `drawing.outline`, for a file that gives none or a wrong one",
        Unit,
        default=None,
        words="what the file gives, else `unit`",
    )
    holes_unit: Unit | None = choice(
        "Unit of `drawing.holes`, for files that give none or a wrong one",
        Unit,
        default=None,
        words="what the file gives, else `unit`",
    )
    layers: LayersTable = entry(
        "Layers of DXF files by role",
        "a table of layer names by role",
        default=LayersTable(),
        words="none, where no file is DXF",
    )
    outline_box: Corners | None = entry(
        "The board as a rectangle, where no layer draws its outline; drawing coordinates",
        CORNERS_ALLOWED,
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
    outline_pen: OutlinePen | None = choice(
        "Which line is the edge, of an outline that is drawn as the two rims of a pen's line, or "
        "that only the width of its lines closes",
        OutlinePen,
        default=None,
        words="none: such an outline is refused",
    )
    selections: tuple[Selection, ...] = entry(
        "Shapes that get a layer name of their own, one [[board.selection]] each",
        "tables headed [[board.selection]]",
        key="selection",
        default=(),
        words="none",
    )
    accepted: tuple[Words, ...] = entry(
        "Changes to shapes in use that --repair may make, by the names it lists",
        "a list of the names that --repair lists",
        key="accept_repairs",
        default=(),
        words="none",
    )
    clear: tuple[ClearArea, ...] = entry(
        "Areas cleared of floating copper, one [[board.clear]] each",
        "tables headed [[board.clear]]",
        default=(),
        words="none",
    )
    links: tuple[tuple[Pair, Pair], ...] = entry(
        "Jumper wires between two points of the copper, drawing coordinates in mm, whose voltage "
        "drop does not count",
        "a list of point pairs in mm, [[[x, y], [x, y]], …]",
        unit="mm",
        default=(),
        words="none",
    )
    wires: tuple[WirePlan, ...] = entry(
        "Jumper wires whose voltage drop counts, one [[board.wire]] each",
        "tables headed [[board.wire]]",
        key="wire",
        default=(),
        words="none",
    )
    nets: tuple[NetPlan, ...] = entry(
        "Nets with what they carry, one [[board.net]] each",
        "tables headed [[board.net]]",
        key="net",
        default=(),
        words="none: no voltage and no current is checked",
    )

    @property
    def files(self) -> tuple[NamedFile, ...]:
        """Every drawing, and the netlist."""
        return (*self.drawing.files, *(() if self.netlist is None else (self.netlist,)))

    @property
    def roles(self) -> LayerRoles:
        """Which layers have which role, and how they are read."""
        layers = self.layers
        return LayerRoles(
            copper=layers.copper or (),
            outline=layers.outline,
            holes=layers.holes or (),
            other=layers.other,
            parts=layers.parts,
            legend=layers.legend,
            copper_modes=tuple((la, mode) for la, modes in layers.modes.items() for mode in modes),
            line_widths=tuple(layers.widths.items()),
            close_gaps=self.close_gaps,
            outline_pen=self.outline_pen,
            outline_box=self.outline_box,
            outline_margin=self.outline_margin,
            selections=self.selections,
            outline_unit=self.outline_unit,
            holes_unit=self.holes_unit,
        )

    @property
    def jumper_ends(self) -> tuple[tuple[Point, Point], ...]:
        """Start and end of every wire that the maker solders, drawing frame."""
        return (*self.links, *((wire.start, wire.end) for wire in self.wires))

    def jumper_wires(self, celsius: float) -> tuple[Wire, ...]:
        """All wires that the maker solders, with copper at a temperature."""
        return (
            *(Wire(start, end) for start, end in self.links),
            *(wire.wire(celsius) for wire in self.wires),
        )

    @check
    def _outline_once(self) -> Iterator[Mistake]:
        """A board's edge is drawn on a layer or given as a size, one of them and once."""
        box, margin = self.outline_box, self.outline_margin
        drawn = bool(self.layers.outline or self.drawing.outline)
        ways = [drawn, box is not None, margin is not None]
        if not any(ways):
            words = (
                "names no outline: give its layers as layers.outline, its file as drawing.outline, "
                "or outline_box = [x0, y0, x1, y1], or outline_margin around the copper"
            )
            yield Mistake("job-missing-key", ("layers",), words)
        elif sum(ways) > 1:
            key = "outline_margin" if margin is not None else "outline_box"
            others = "drawing.outline" if self.drawing.outline else "layers.outline"
            others = "outline_box" if margin is not None and box is not None else others
            yield wrong((key,), f"gives the outline that {others} gives too; keep one of them")

    @check
    def _layers_of_a_single_file(self) -> Iterator[Mistake]:
        """One file that draws all has layers, and the job says which."""
        if self.drawing.outline is None and self.drawing.holes is None:
            yield from not_named(self.layers)

    @check
    def _units_of_files(self) -> Iterator[Mistake]:
        for role in ("outline", "holes"):
            if getattr(self, f"{role}_unit") and not getattr(self.drawing, role):
                yield wrong((f"{role}_unit",), f"is for drawing.{role}, which is not given")

    @check
    def _netlist_is_given(self) -> Iterator[Mistake]:
        if self.netlist is None:
            for key in ("netlist_offset", "netlist_mirrored", "ignore_nets"):
                if getattr(self, key):
                    yield wrong((key,), "is for a netlist, and the board has none")
        elif self.netlist_mirrored and self.netlist_offset is None:
            words = "needs netlist_offset; without it the side is found from the holes"
            yield wrong(("netlist_mirrored",), words)

    @check
    def _selections_have_names(self) -> Iterator[Mistake]:
        yield from twice(
            (("selection", j, "name"), known(selection, "name"))
            for j, selection in enumerate(self.selections)
        )

    @check
    def _nets_have_names(self) -> Iterator[Mistake]:
        yield from twice(
            (("net", j, "name"), known(net, "name")) for j, net in enumerate(self.nets)
        )

    @check
    def _nets_have_places(self) -> Iterator[Mistake]:
        for j, net in enumerate(self.nets if self.netlist is None else ()):
            with contextlib.suppress(UnsettledError):  # a place that is wrong is one
                if net.at is not None or net.text is not None:
                    continue
                words = "names no place: give at = [x, y] on its copper, or text that is on it"
                yield Mistake("job-missing-key", ("net", j), words)

    @check
    def _wires_lead_somewhere(self) -> Iterator[Mistake]:
        for j, (start, end) in enumerate(self.links):
            if start == end:
                yield wrong(("links", j), "must lead from one point to another")

    @check
    def _places_for_copies(self) -> Iterator[Mistake]:
        if len(self.places) > self.count:
            words = f"gives {len(self.places)} places and count is {self.count}; raise the count"
            yield wrong(("place",), words)
