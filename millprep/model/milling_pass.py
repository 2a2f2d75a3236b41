"""A pass: all that is cut between two placings of the blank."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.program import Program
from millprep.model.surface_map import Levelling, Uncorrected
from millprep.model.vernier import Vernier

Role = Literal["locate", "key", "witness"]


@dataclass(frozen=True, slots=True)
class RegistrationHole:
    """A hole that finds the blank again.

    Attributes:
        id: "r1", …
        blank: place in the blank frame.
        machine: where it stands on the machine in the pass that uses it.
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
        predicted: mismatch across the path that 99.7 % of blanks stay below.
        tolerance_electrical: mismatch across the path at which the band first leaks.
        tolerance_gap: mismatch at which less than the asked gap is left.
        predicted_rms: root mean square of the mismatch across the path.
        tick: length of the ticks at both ends, outward into background copper; 0 for none.
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
