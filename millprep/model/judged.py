"""What is judged of a copy as cut: what the rules find, and checks with a meter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from millprep.geometry.path import FloatArray, Point
from millprep.model.job.nets import Load, NetFacts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from millprep.model.job.rules import Column, RulesPlan


@dataclass(frozen=True, slots=True)
class Spacing:
    """Two neighbours and what lies between them.

    Attributes:
        net, other: names of nets; `other` may be "the board's edge" or a hole.
        volts: between them, at most.
        required: mm.
        measured: mm, the sum of the gaps that count on the shortest way.
        direct: mm, from copper to copper through the air; None when it is beyond the search
            and the pair is not too near.
        stones: number of floating areas on the way.
        at: middle of the narrowest gap on the way, blank frame.
        column: of the table.
        way: both ends of every gap on the shortest way, in order, blank frame.
    """

    net: str
    other: str
    volts: float
    required: float
    measured: float
    direct: float | None
    stones: int
    at: Point
    column: Column
    way: tuple[tuple[Point, Point], ...] = ()

    @property
    def margin(self) -> float:
        """What is over, mm; below 0 when too narrow."""
        return self.measured - self.required


@dataclass(frozen=True, slots=True)
class CurrentNeck:
    """A section across copper: its width in mm, where its middle lies, and its current."""

    width: float
    at: Point
    amperes: float


@dataclass(frozen=True, slots=True)
class AtNeck:
    """The section of a net that is nearest to its limit.

    Attributes:
        carries: A that warm copper of this width by the required rise.
    """

    net: str
    neck: CurrentNeck
    carries: float

    @property
    def share(self) -> float:
        """Current as a share of what the section carries."""
        return self.neck.amperes / self.carries


@dataclass(frozen=True, slots=True)
class AtLoad:
    """What one load gets.

    Attributes:
        at: blank frame.
        lost: V between the feed and here, all loads drawing; below 0 where it is higher.
        ohms: between the feed and here, for a current between these two alone.
    """

    load: Load
    at: Point
    lost: float
    ohms: float


@dataclass(frozen=True, slots=True)
class AtWire:
    """A wire whose resistance counts, soldered between two places.

    Attributes:
        start, end: blank frame.
        ohms: of the wire.
        amperes: through it, all loads drawing.
    """

    start: Point
    end: Point
    ohms: float
    amperes: float


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Potential and current density on triangles, blank frame.

    Attributes:
        points: (n, 2) mm.
        triangles: (m, 3) indices into `points`.
        potential: (n,) V against the feed.
        density: (m,) A for each mm of width.
    """

    points: FloatArray
    triangles: NDArray[np.int64]
    potential: FloatArray
    density: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class NetJudged:
    """One net as cut.

    Attributes:
        neck: the section nearest to its limit; None without a current, or beyond the curves.
        feed: name of the load that volts are lost against; None without a solved sheet.
        loads: what each load gets, without those that no copper reaches.
        hottest: the section with the most amperes for each mm of width; None when not solved.
        error: estimated share of the largest drop by which volts are off; None when not solved.
        field: for a picture; None when not solved.
        wires: those that resist, when solved.
    """

    net: NetFacts
    neck: AtNeck | None = None
    feed: str | None = None
    loads: tuple[AtLoad, ...] = ()
    hottest: CurrentNeck | None = None
    error: float | None = None
    field: Field | None = None
    wires: tuple[AtWire, ...] = ()


@dataclass(frozen=True, slots=True)
class Across:
    """What lies between two nets at a load that both name, one giving what the other takes.

    Attributes:
        given: volts between the feeds of both nets; None when one has none, or a range.
        lost: V on the way there and back.
    """

    load: str
    net: str
    other: str
    amperes: float
    given: float | None
    lost: float

    @property
    def volts(self) -> float | None:
        """V that the load gets."""
        return None if self.given is None else self.given - self.lost


@dataclass(frozen=True, slots=True)
class BaseFit:
    """Holes that lie like the pins of a valve base.

    Attributes:
        base: name of the base that they resemble.
        circle, true: diameter of the circle through them, and of the base's own, mm.
        error: largest distance of a hole from its place on the true base, mm.
        at: centre, blank frame.
        pins: ids of the holes of pin 1, 2, …, as the board is milled.
        keyed: whether the pattern itself shows which pin is the first.
        wrong: whether the base would not fit.
        hole, pad: the narrowest of its holes as made, and of its pads as drawn, mm; None where
            no hole has a pad.
        required_hole, required_pad: what the pin needs, by the job's level or its socket's pins.
    """

    base: str
    circle: float
    true: float
    error: float
    at: Point
    pins: tuple[str, ...]
    keyed: bool
    wrong: bool
    hole: float
    pad: float | None
    required_hole: float
    required_pad: float


@dataclass(frozen=True, slots=True)
class AnnularRing:
    """Narrowest copper around a hole after isolation and drilling.

    Attributes:
        ring: with everything at its nominal place, mm.
        worst: with hole and grooves as far off as they may lie, mm; below 0 when the hole breaks
            out.
        at: on the copper's edge, blank frame.
    """

    hole: str
    ring: float
    worst: float
    at: Point


@dataclass(frozen=True, slots=True, eq=False)
class BoardJudged:
    """A copy of a board by the rules of the trade.

    Attributes:
        rules: what is required.
        copper: thickness of the copper, mm.
        nets: those the job names, in its order.
        spacings: pairs of neighbours with volts, the least margin first.
        across: loads between two nets.
        bases: valve bases among the holes.
        rings: one for each hole on copper, the least in the worst case first.
    """

    placement: int
    rules: RulesPlan
    copper: float
    nets: tuple[NetJudged, ...]
    spacings: tuple[Spacing, ...]
    across: tuple[Across, ...]
    bases: tuple[BaseFit, ...]
    rings: tuple[AnnularRing, ...]


Expect = Literal["continuity", "isolation"]
When = Literal["any time", "after soldering", "before soldering"]
"""When a check is due, as seen from the soldering of the jumper wires."""


@dataclass(frozen=True, slots=True)
class Touch:
    """A place to touch.

    Attributes:
        piece: id of the copper piece, None for copper that carries none.
        net: the piece's net, None for such copper.
        pad: id of the hole there, None next to one.
        at: on the board with its copper up, as it lies on the mill: mm from the low corner of
            the board's extent.
        pin: part and pin that netlist or text put there, None where none does.
    """

    piece: str | None
    net: str | None
    pad: str | None
    at: Point
    pin: str | None = None


@dataclass(frozen=True, slots=True)
class NetReason:
    """The two are the pads of a net that are farthest apart."""

    net: str


@dataclass(frozen=True, slots=True)
class GapReason:
    """The gap between the two is one of the narrowest.

    Attributes:
        gap: between the two at their narrowest, mm.
    """

    gap: float


@dataclass(frozen=True, slots=True)
class JoinReason:
    """Two passes meet between the two.

    Attributes:
        at: where, on the board like a `Touch`.
    """

    passes: tuple[int, int]
    at: Point


Reason = NetReason | GapReason | JoinReason


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one copy."""

    placement: int
    expect: Expect
    first: Touch
    second: Touch
    when: When
    reason: Reason

    @property
    def gap(self) -> float | None:
        """Between the two at their narrowest, mm, if that is the reason."""
        return self.reason.gap if isinstance(self.reason, GapReason) else None
