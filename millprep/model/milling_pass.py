"""A pass: all that is cut between two placings of the blank; its registration and its joins."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely

from millprep.geometry.letters import strokes
from millprep.geometry.path import FloatArray, Point, spine
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.cut import Work
from millprep.model.program import Program
from millprep.model.surface_map import Levelling, Uncorrected

Role = Literal["locate", "key", "witness"]
Measured = Literal["x", "y"]
SupportKind = Literal["clamp", "tape"]


@dataclass(frozen=True, slots=True)
class RegistrationHole:
    """A hole that finds the blank again.

    Attributes:
        id: "r1", …
        blank: place in the blank frame.
        machine: its place on the machine in the pass that uses it.
        diameter: as drilled in the blank.
        role: `locate` positions the blank, `key` makes a turned or flipped blank impossible.
        drilled_in, used_in: pass numbers.
        free: unit vector, blank frame, along which the hole does not locate the blank: the hole is
            a slot, or its pin is relieved. None for a round hole on a round pin.
        slot: length of the slot's centre line, along `free`; 0 for a round hole.
        pin: name of its pin on the spoilboard, "p1", …; empty where no pins are used.
    """

    id: str
    blank: Point
    machine: Point
    diameter: float
    role: Role
    drilled_in: int
    used_in: int
    free: Point | None = None
    slot: float = 0.0
    pin: str = ""

    def __post_init__(self) -> None:
        if self.slot and self.free is None:
            raise ValueError(f"slot {self.id} has no direction")

    @property
    def ends(self) -> tuple[Point, Point | None]:
        """Both ends of a slot's centre line, blank frame; of a round hole its centre, and None."""
        if self.free is None or not self.slot:
            return self.blank, None
        (x, y), dx, dy = self.blank, *(part * self.slot / 2 for part in self.free)
        return (x - dx, y - dy), (x + dx, y + dy)

    @property
    def spine(self) -> shapely.Point | shapely.LineString:
        """The hole is all that lies within its radius of this, blank frame."""
        return spine(*self.ends)


@dataclass(frozen=True, slots=True)
class EdgeCheck:
    """A second point on an edge of the blank, that shows its angle where pins or holes do not.

    Attributes:
        at: where the edge is as planned, machine frame.
        axis: along which that edge runs, 0 for x, 1 for y.
        within: how far off it may be there, either way, while the corner is where it should be.
        limit: what would leave the laminate first.
    """

    at: Point
    axis: int
    within: float
    limit: str


@dataclass(frozen=True, slots=True)
class ExtraSupport:
    """A clamp or a strip of tape that would hold a blank better, machine frame.

    Attributes:
        kind: what it is.
        box: where.
        lift: how far the blank then lifts at its worst place.
        share: of the cuts that then lift more than is allowed, 0 to 1.
    """

    kind: SupportKind
    box: Box
    lift: float
    share: float


@dataclass(frozen=True, slots=True)
class Holding:
    """How a blank is held in a pass against a pull upwards at every cut.

    Attributes:
        force: the pull, N.
        lift: how far the worst place lifts, which is where the most of what is allowed is used.
        allowed: how far that place may lift.
        at: that place, machine frame.
        share: of the cuts, those that lift more than is allowed, 0 to 1.
        room: where clamps would be in nobody's way, machine frame.
        better: what would help most, the best first; empty where all cuts are held.
        places: (n, 4) x, y, lift and what is allowed, one for each square of `CELL`.
    """

    force: float
    lift: float
    allowed: float
    at: Point
    share: float
    room: tuple[Box, ...] = ()
    better: tuple[ExtraSupport, ...] = ()
    places: FloatArray = field(default_factory=lambda: np.empty((0, 4)), compare=False)


CELL = 4.0
"""Side of the squares in which the lift of a blank is worked out once, mm."""


@dataclass(frozen=True, slots=True)
class MarginText:
    """A text engraved outside the boards, to be read from the copper side.

    Attributes:
        text: in the letters there are.
        at: low left corner of its first letter, blank frame.
        turn: of the text about that corner, degrees counter-clockwise: 0, or 90 for upwards.
        height: of its letters, mm.
        board, copy: the copy that it names; None for the id of the set.
        seconds: that it takes.
    """

    text: str
    at: Point
    turn: int
    height: float
    board: str | None
    copy: int | None
    seconds: float

    def __post_init__(self) -> None:
        if self.turn not in (0, 90) or not strokes(self.text, self.height):
            raise ValueError(f"text {self.text} lies at 0 or 90 degrees, and has letters")
        if (self.board is None) != (self.copy is None):
            raise ValueError(f"text {self.text} names a board and its copy, or neither")


Reading = Literal["holes", "touches", "verniers", "surface"]
"""What was read of a blank on the machine."""


@dataclass(frozen=True, slots=True)
class MillingPass:
    """One position of a blank on the machine.

    Attributes:
        blank: the blank's number.
        number: from 1, per blank.
        window: what the machine reaches, in the blank frame.
        pose: blank to machine.
        registration: the holes this pass is found by.
        touch: where the cutter is zeroed in z, machine frame.
        verniers: those whose second combs this pass cuts.
        programs: in the order in which they run.
        levelling: the surface map that its programs follow once they are written.
        uncorrected: the grooves that they would have made without it.
        holding: how the blank is held; None before that is worked out, and where tape or vacuum
            holds all of it.
        drop_on: probability that the blank drops onto its pins; None where it is not put on pins.
        edge: where to check the angle of the blank; None where holes show it, or no edge does.
        read: what was read of the blank as it lies for this pass; empty before it lies there.
        texts: those that this pass engraves.
    """

    blank: int
    number: int
    window: shapely.Polygon
    pose: Pose
    registration: tuple[RegistrationHole, ...]
    touch: Point
    verniers: tuple[Vernier, ...] = ()
    programs: tuple[Program, ...] = ()
    levelling: Levelling | None = None
    uncorrected: tuple[Uncorrected, ...] = ()
    holding: Holding | None = None
    drop_on: float | None = None
    edge: EdgeCheck | None = None
    read: tuple[Reading, ...] = ()
    texts: tuple[MarginText, ...] = ()

    @property
    def ran(self) -> int:
        """How many of its programs have run already: those whose cuts or touches were read."""
        marks: dict[Reading, tuple[Work, ...]] = {"verniers": ("engrave",), "touches": ("probe",)}
        works = [program.works for program in self.programs]
        # the first of its kind: what is engraved later is for later passes
        read = [marks[reading] for reading in self.read if reading in marks]
        return max((works.index(mark) + 1 for mark in read if mark in works), default=0)


@dataclass(frozen=True, slots=True)
class Join:
    """Where two passes meet on one path, in the blank frame.

    Attributes:
        placement: index of the copy.
        piece: id of the copper piece, None on a profile.
        overrun: how far each side is cut past `at`.
        across: unit vector across the path.
        predicted: misalignment across the path that 99.7 % of blanks stay below.
        tolerance_electrical: misalignment across the path at which the gap first shorts.
        tolerance_gap: misalignment at which less than the required gap is left.
        predicted_rms: root mean square of the misalignment across the path.
        tick: length of the ticks at both ends, outward into floating copper; 0 for none.
    """

    blank: int
    placement: int
    piece: str | None
    at: Point
    passes: tuple[int, int]
    overrun: float
    across: Point
    predicted: float | None = None
    tolerance_electrical: float | None = None
    tolerance_gap: float | None = None
    predicted_rms: float | None = None
    tick: float = 0.0


@dataclass(frozen=True, slots=True)
class Vernier:
    """Two combs whose lines meet end to end along a common edge.

    Line i of the first comb is at i · pitch from the centre, line i of the second at
    i · (pitch - step). Where a second pass lies off by s along `measures`, the lines numbered
    s / step run through.

    Attributes:
        id: "v1", …
        blank: number of the blank.
        at: the centre of the common edge, blank frame.
        measures: the direction, blank frame.
        passes: the one that cuts the first comb, and the one that cuts the second.
        pitch: between lines of the first comb.
        step: misalignment for one line.
        reach: lines on either side of the central one.
    """

    id: str
    blank: int
    at: Point
    measures: Measured
    passes: tuple[int, int]
    pitch: float
    step: float
    reach: int

    def __post_init__(self) -> None:
        if not 0 < self.step < self.pitch:
            raise ValueError(f"vernier {self.id}: the step must be less than the pitch")
        if self.reach < 1:
            raise ValueError(f"vernier {self.id} needs lines on both sides of the centre")

    @property
    def largest(self) -> float:
        """The largest misalignment that it shows."""
        return self.step * self.reach
