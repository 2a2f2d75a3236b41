"""What the job asks for, as values: every default already filled in, every name resolved."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path as File
from typing import Literal, NamedTuple

from millprep.values.blank import Clamp, Grade
from millprep.values.cutter import Cutter, EndMill
from millprep.values.machine import Machine
from millprep.values.net import Load
from millprep.values.path import Point

Direction = Literal["climb", "conventional"]
Course = Literal["copper", "middle"]
"""Where isolation runs: along the copper, or along the middle of the gaps."""
Floating = Literal["areas", "all"]
"""What copper that belongs to no piece is cleared: that of stated areas, or all."""
DrawnFrom = Literal["components", "copper"]
Unit = Literal["mm", "inch", "mil", "cm", "m", "point"]


CopperMode = Literal["strokes", "fills", "nested outlines", "overlapping outlines"]
"""What draws copper on a layer: lines with a width; filled areas; closed lines of no width,
read even-odd; closed lines of no width, each of them filled."""


@dataclass(frozen=True, slots=True)
class Selection:
    """Shapes of a drawing picked out by more than their layer, and named like a layer.

    What meets every stated condition counts as drawn on a layer called `name`, and no longer
    on its own; of several selections that it meets the first has it.

    Attributes:
        name: unlike any layer of the drawing.
        layer: name of the layer it is drawn on.
        colour: number of the colour in the drawing's index (1 to 255), as shown: a colour "by
            layer" or "by block" is followed.
        line_type: name of the line type, as shown.
        block: name of the block that it is drawn in, at any depth.
        shape: whether its line closes on itself.
        region: (x0, y0, x1, y1) that holds it wholly, drawing frame, mm.

    Raises:
        ValueError: for a colour outside the index or a region without an area.
    """

    name: str
    layer: str | None = None
    colour: int | None = None
    line_type: str | None = None
    block: str | None = None
    shape: Literal["closed", "open"] | None = None
    region: tuple[float, float, float, float] | None = None

    def __post_init__(self) -> None:
        if not self.name:
            raise ValueError("a selection needs a name")
        if self.colour is not None and not 1 <= self.colour <= 255:
            raise ValueError(f"selection {self.name}: colours go from 1 to 255")
        if self.region is not None:
            x0, y0, x1, y1 = self.region
            if not (x0 < x1 and y0 < y1 and all(map(math.isfinite, self.region))):
                raise ValueError(f"selection {self.name}: its region has no area")


@dataclass(frozen=True, slots=True)
class LayerRoles:
    """Which layers of a drawing play which role; a layer may play several.

    Attributes:
        copper_modes: (layer, mode) pairs, several for one layer if it is mixed: only what they
            name is read as copper there. A layer without any is read by what is drawn on it.
        line_widths: (layer, mm): width of the tracks that the drawing gives as bare centre lines.
        close_gaps: gaps in the outline up to this are closed, mm.
        outline_box: (x0, y0, x1, y1) of a board whose outline is not drawn, drawing frame, mm.
        outline_margin: the board is the copper's box and this much around it, mm.
        selections: shapes that are named apart from their layer; the other fields may name them.
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


@dataclass(frozen=True, slots=True)
class WireLink:
    """A wire the maker solders between two points on the copper, drawing coordinates in mm."""

    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class NetPlan:
    """A net as the job names it: by a point on its copper, or by text that stands on it.

    Attributes:
        at: drawing frame, mm; None when `text` names the net.
        volts, amperes, loads: as in `NetFacts`.

    Raises:
        ValueError: for a point and text at once, or neither.
    """

    name: str
    at: Point | None
    text: str | None
    volts: tuple[float, float] | None = None
    amperes: float = 0.0
    loads: tuple[Load, ...] = ()

    def __post_init__(self) -> None:
        if (self.at is None) == (self.text is None):
            raise ValueError(f"net {self.name} needs a point or text, one of them")


class FurtherDrawing(NamedTuple):
    """A further file that the job names: absolute, and as the job wrote it."""

    file: File
    name: str


@dataclass(frozen=True, slots=True)
class PlacePlan:
    """A place by hand for one copy of a board.

    Attributes:
        at: low corner of the box around the board as it lies, blank frame.
        turn: degrees counter-clockwise.
        blank: number of the blank, from 1.
    """

    at: Point
    turn: float = 0.0
    blank: int = 1


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """One board of the job.

    Attributes:
        drawing: the DXF file, made absolute from the job file's folder.
        drawing_name: as the job wrote it.
        unit: of the drawing, None to take what the file says.
        outline_drawing, holes_drawing: further DXF files, where outline or holes have their own.
        accepted: names of changes that a repair may make to shapes in use.
        turns: degrees by which a copy may be turned on its blank.
        priority: boards of a higher number get their places first.
        clear: corners of areas to be cleared of copper that belongs to no piece, drawing frame.
        places: by hand, of the first copies.
    """

    name: str
    drawing: File
    drawing_name: str
    count: int
    drawn_from: DrawnFrom
    layers: LayerRoles
    unit: Unit | None
    links: tuple[WireLink, ...]
    outline_drawing: FurtherDrawing | None = None
    holes_drawing: FurtherDrawing | None = None
    accepted: tuple[str, ...] = ()
    turns: tuple[float, ...] = (0.0,)
    priority: int = 0
    nets: tuple[NetPlan, ...] = ()
    clear: tuple[tuple[Point, ...], ...] = ()
    places: tuple[PlacePlan, ...] = ()

    @property
    def files(self) -> tuple[tuple[File, str], ...]:
        """Every drawing, absolute and as the job wrote it."""
        further = (self.outline_drawing, self.holes_drawing)
        return ((self.drawing, self.drawing_name), *(f for f in further if f is not None))


@dataclass(frozen=True, slots=True)
class BlankPlan:
    """One size of laminate.

    Attributes:
        size: (x, y) as it lies on the machine.
        margin: strip along every edge that no board may enter.
        spacing: between neighbouring boards, at least; the profile cutter fits in it.
        count: how many there are.
        outline: corners of an offcut in the blank frame; None for the whole rectangle.
        grade: of the laminate; None where the job does not say.
    """

    size: tuple[float, float]
    thickness: float
    copper: float
    margin: float
    spacing: float
    count: int
    outline: tuple[Point, ...] | None = None
    grade: Grade | None = None


@dataclass(frozen=True, slots=True)
class IsolationPlan:
    """How copper pieces are set apart.

    Attributes:
        gap: asked distance between piece and whatever is beyond, at the foot of the copper.
        depth: of the tip; `flatness` is how far the surface may lie off, up or down.
        cutters: vees or end mills, in the order listed; the tool tries the widest first.
        overlap: share of the foot width by which neighbouring laps overlap, 0 to under 1.
        by_voltage: whether floating copper is taken away beyond `gap` where volts ask for it.
        course: where laps run.
        pad_gap: the same as `gap` around lands, where it is wider; None for `gap`.
    """

    gap: float
    depth: float
    flatness: float
    cutters: tuple[Cutter, ...]
    overlap: float
    direction: Direction
    by_voltage: bool = False
    course: Course = "copper"
    pad_gap: float | None = None


@dataclass(frozen=True, slots=True)
class ClearingPlan:
    """How copper that belongs to no piece is taken away.

    Attributes:
        cutters: vees or end mills; each does what the wider ones left.
        copper: what is cleared besides what voltages ask for.
        depth: of the tip.
        overlap: share of the foot width by which neighbouring laps overlap, 0 to under 1.
    """

    cutters: tuple[Cutter, ...]
    copper: Floating
    depth: float
    overlap: float


@dataclass(frozen=True, slots=True)
class DrillingPlan:
    """How holes are made.

    Attributes:
        cutters: drills; a hole takes the nearest within `tolerance` of its diameter.
        borer: end mill for holes that no drill serves, or None.
        breakthrough: how far the full diameter goes below the blank.
        spoilboard: thickness of the board beneath, which no cutter may pass.
    """

    cutters: tuple[Cutter, ...]
    tolerance: float
    borer: Cutter | None
    breakthrough: float
    spoilboard: float


@dataclass(frozen=True, slots=True)
class ProfilePlan:
    """How boards are cut out.

    Attributes:
        breakthrough: depth below the blank.
        tab_width: of the bridge that is left, at its narrowest; tab_height: thickness left;
        tab_every: largest distance between tabs along the edge.
        ramp: angle of entry in degrees.
    """

    cutter: Cutter
    breakthrough: float
    tab_width: float
    tab_height: float
    tab_every: float
    ramp: float
    direction: Direction


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """How holes are measured by touching their copper rims; contact closes a circuit.

    Attributes:
        cutter: the tip, a cylinder: a plain pin, or an end mill that stands still.
        depth: of the tip below the copper surface, deeper than the copper, less than the laminate.
        feed: of every touch, mm/min.
        error: standard deviation of one touch; the middle of two is off by error / √2.
    """

    cutter: EndMill
    depth: float
    feed: float
    error: float


@dataclass(frozen=True, slots=True)
class RegistrationPlan:
    """How a blank is found again after it was moved.

    Attributes:
        method: `pins` in the bed, or `measure` the holes and type the readings in.
        hole: diameter of locating holes as cut in the blank (slip fit on the pins).
        key: diameter of the key hole, larger than `hole`.
        wall: laminate left around every hole, at least.
        cutters: drills or end mills that may make the holes.
        pin: diameter of the bed's holes (press fit); pin_depth: how deep they are bored.
        overrun: how far each side of a join is cut past it.
        sigma: error of one hole per axis, from drilling it and finding it again.
        assumed: True when the job states no error and the default stands.
        verniers: whether passes engrave verniers where the margins have room.
        probe: how holes are touched by a program; None when a person measures them.
    """

    method: Literal["pins", "measure"]
    hole: float
    key: float
    wall: float
    cutters: tuple[Cutter, ...]
    pin: float
    pin_depth: float
    overrun: float
    sigma: float = 0.03
    assumed: bool = True
    verniers: bool = True
    probe: ProbePlan | None = None


Column = Literal["B1", "B2", "B3", "B4", "A5", "A6", "A7"]
"""A column of IPC-2221 table 6-1; `millprep.trade.spacing` says what each is for."""
Level = Literal["A", "B", "C"]
"""Ease of making by IPC-2221: A general, B moderate, C tight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RulesPlan:
    """What the rules of the trade are asked.

    Attributes:
        spacing: column for gaps between nets.
        lands: column for the gap between two lands; None for `spacing` there too.
        least_counted_gap: narrower gaps count as nothing, mm.
        edge: whether board's edge and fixing holes count as metal at 0 V.
        fixing_metal: diameter of what a screw covers around a fixing hole, mm; None for the
            usual washer.
        temperature_rise: of copper that carries current, K.
        celsius: of the copper, for its resistance.
        most_lost: V that any load may lose; None for no limit.
        level: of IPC-2222, for holes of leads.
        drill_wander: how far a hole may stand from where it is asked, mm.
    """

    spacing: Column = "B2"
    lands: Column | None = None
    least_counted_gap: float = 0.0
    edge: bool = True
    fixing_metal: float | None = None
    temperature_rise: float = 10.0
    celsius: float = 20.0
    most_lost: float | None = None
    level: Level = "A"
    drill_wander: float = 0.05


@dataclass(frozen=True, slots=True)
class JobPlan:
    """The whole job.

    Attributes:
        file: the job file, as given.
        origin: machine coordinates of the blank's low corner in its first pass.
        touch: where z is zeroed, machine coordinates; None lets the tool choose.
        clamps: in machine coordinates.
        tape: True when the blank is held by tape and no clamps are needed.
        turn: whether a blank too long for the travel is turned by half a turn, not moved along.
        layout: a stored layout whose places are kept.
    """

    file: File
    name: str
    boards: tuple[BoardPlan, ...]
    blanks: tuple[BlankPlan, ...]
    machine: Machine
    origin: Point
    touch: Point | None
    clamps: tuple[Clamp, ...]
    tape: bool
    isolation: IsolationPlan
    drilling: DrillingPlan
    profile: ProfilePlan
    registration: RegistrationPlan
    cutters: tuple[Cutter, ...]
    turn: bool = False
    rules: RulesPlan = RulesPlan()
    clearing: ClearingPlan | None = None
    layout: FurtherDrawing | None = None
