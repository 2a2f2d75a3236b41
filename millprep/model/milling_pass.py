"""A pass: all that is cut between two placings of the blank; its registration and its joins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.program import Program
from millprep.model.surface_map import Levelling, Uncorrected

Role = Literal["locate", "key", "witness"]
Measured = Literal["x", "y"]


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
    """

    id: str
    blank: Point
    machine: Point
    diameter: float
    role: Role
    drilled_in: int
    used_in: int


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
