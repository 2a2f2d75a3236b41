"""The error budget: how far two passes miss each other, from the holes and from the machine.

Holes. A pass is found by holes that passes before it drilled, so it inherits their errors. To first
order every error is linear in the errors of single holes: a pass that is off by (tx, ty, θ)
cuts a place r off by A(r)·(tx, ty, θ) with A = [[1, 0, -y], [0, 1, x]], and a pass found by
holes h has the least-squares fit to what they are off,

    e = M⁺ · [A(h)·e(drilled in) + error of the hole],   M = all W(h)·A(h) one above the other.

W is the identity for a hole that fixes its place. A slot, or a hole over a relieved pin, leaves the
blank free along a unit vector f and fixes it across only: W = I - f·fᵀ. A hole and a slot along the
line through both fix shift and turn with nothing to spare; found by such a pair, distance B, a pass
misses the one that drilled both, at r from their middle, with the covariance

    σ²·(f·fᵀ + (I - f·fᵀ)/2 + 2·r⊥r⊥ᵀ/B²),

whichever of the two is the slot.

Every pass is therefore a matrix L from the errors of all holes (each σ in x and in y, drilling
and finding it together) to (tx, ty, θ), and two passes miss each other at r by A(r)·(La - Lb),
with covariance σ²·A(La - Lb)(La - Lb)ᵀAᵀ: what both inherit cancels. For one pass found by
holes of the pass before, this is the 2-D form after Fitzpatrick, West and Maurer, IEEE
Transactions on Medical Imaging 17(5), 1998.

Machine. A machine that is sent to (X, Y) goes to (X, Y) + E(X, Y): too far by its scale, leaning by
its squareness, to and fro with every turn of a screw. A pass p with the pose T = (R, t) cuts a
place r of the blank off by E_p(r) = R⁻¹·E(T·r). It is found by holes h that pass o(h) drilled and
that sit on pins (or are measured) at places which the same machine goes to, so its pose is off by

    e_p = M⁺·[A(h)·e_o + E_o(h) - E_p(h)],

and passes a and b miss each other at r by E_b(r) + A·e_b - E_a(r) - A·e_a. All of it is linear in
E. A shift of the blank takes scale and squareness out exactly, and the periodic error as well when
it is a whole number of turns; where in its turn the screw starts is not known, so a sine is carried
as a phasor and its amplitude is the worst case.

Backlash: an axis that comes from the other side is half the play off, to either side. Two passes
that run along a path the same way agree in every axis that moves there. An axis at rest stays where
it was left, so all of its play counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.machine import Machine
from millprep.model.milling_pass import RegistrationHole

QUANTILE = 2.97
"""99.7 % of a normal error in one direction stay within this many standard deviations."""


@dataclass(frozen=True, slots=True, eq=False)
class HoleErrors:
    """Errors of all passes, per unit of the error of a hole.

    Attributes:
        errors: one (3, 2·holes) matrix per pass; the first is zero.
        centre: origin of the linear form, blank frame, near the holes for the sake of digits.
    """

    errors: tuple[FloatArray, ...]
    centre: Point

    @classmethod
    def of(cls, holes: Sequence[RegistrationHole], count: int, *, keys: bool) -> HoleErrors:
        """The hole errors of some passes.

        Args:
            holes: registration holes of one blank.
            count: number of passes.
            keys: whether key holes locate as well, as they do when holes are measured; on pins
                they only prevent turning.
        """
        kept = [h for h in holes if h.role == "locate" or (keys and h.role == "key")]
        centre = (0.0, 0.0)
        if kept:
            centre = (
                float(np.mean([h.blank[0] for h in kept])),
                float(np.mean([h.blank[1] for h in kept])),
            )
        errors = [np.zeros((3, 2 * len(kept)))]
        for number in range(2, count + 1):
            mine = [n for n, hole in enumerate(kept) if hole.used_in == number]
            places = arms([kept[n].blank for n in mine], centre)
            fit = np.linalg.pinv(_fixed([kept[n].free for n in mine], places))
            off = np.zeros((2 * len(mine), 2 * len(kept)))
            for row, n in enumerate(mine):
                off[2 * row : 2 * row + 2] = places[row] @ errors[kept[n].drilled_in - 1]
                off[2 * row, 2 * n] += 1.0
                off[2 * row + 1, 2 * n + 1] += 1.0
            errors.append(fit @ off)
        return cls(tuple(errors), centre)

    def covariance(self, a: int, b: int, at: Point) -> FloatArray:
        """(2, 2) of the misalignment of passes a and b (from 0) at a place, per σ²."""
        difference = arms([at], self.centre)[0] @ (self.errors[a] - self.errors[b])
        covariance: FloatArray = difference @ difference.T
        return covariance

    def sigma_across(self, a: int, b: int, at: Point, across: Point, sigma: float) -> float:
        """Standard deviation of the misalignment in the direction of a unit vector, mm."""
        u = np.array(across)
        return sigma * float(np.sqrt(max(u @ self.covariance(a, b, at) @ u, 0.0)))

    def across(self, a: int, b: int, points: FloatArray, normals: FloatArray) -> FloatArray:
        """(n,) standard deviation at (n, 2) places along (n, 2) unit vectors, per unit σ."""
        difference = arms(points, self.centre) @ (self.errors[a] - self.errors[b])
        sigmas: FloatArray = np.sqrt(
            (np.einsum("ni,nij->nj", normals, difference) ** 2).sum(axis=1)
        )
        return sigmas

    def spread(self, a: int, b: int, points: FloatArray) -> FloatArray:
        """(n,) standard deviation in the worst direction at (n, 2) places, per unit σ."""
        difference = arms(points, self.centre) @ (self.errors[a] - self.errors[b])
        return largest(difference @ np.swapaxes(difference, 1, 2))


def arms(points: Sequence[Point] | FloatArray, centre: Point) -> FloatArray:
    """(n, 2, 3) what (tx, ty, θ) moves every point by."""
    xy = np.asarray(points, dtype=float).reshape(-1, 2) - np.asarray(centre)
    matrices = np.zeros((len(xy), 2, 3))
    matrices[:, 0, 0] = matrices[:, 1, 1] = 1.0
    matrices[:, 0, 2], matrices[:, 1, 2] = -xy[:, 1], xy[:, 0]
    return matrices


def _fixed(free: Sequence[Point | None], places: FloatArray) -> FloatArray:
    """(2n, 3) what n holes fix: rows of their (n, 2, 3) arms, less what lies along `free`."""
    rows = places.copy()
    for n, along in enumerate(free):
        if along is not None:
            rows[n] -= np.outer(along, along) @ places[n]
    return rows.reshape(-1, 3)


def largest(covariance: FloatArray) -> FloatArray:
    """(n,) standard deviation along the longest axis of (n, 2, 2) covariances."""
    xx, yy, xy = covariance[:, 0, 0], covariance[:, 1, 1], covariance[:, 0, 1]
    sigmas: FloatArray = np.sqrt((xx + yy) / 2 + np.hypot((xx - yy) / 2, xy))
    return sigmas


AT_REST = 1e-3
"""An axis with a smaller part of the motion along a path counts as at rest."""

Values = NDArray[np.complex128]
Field = Callable[[FloatArray], Values]
"""(n, 2) machine places to the (n, 2) errors there, as phasors."""


class Misalignment(NamedTuple):
    """How far two passes miss each other across a path, mm: rms, and what 99.7 % stay below."""

    rms: float
    most: float


@dataclass(frozen=True, slots=True, eq=False)
class MachineErrors:
    """The machine's errors in all passes of a blank.

    Attributes:
        poses: blank to machine, one per pass.
        fields: every error by itself.
        errors: for every field the (passes, 3) error of each pass's pose.
        centre: origin of the turns.
        backlash: play of an axis, mm.
    """

    poses: tuple[Pose, ...]
    fields: tuple[Field, ...]
    errors: tuple[Values, ...]
    centre: Point
    backlash: float

    @classmethod
    def of(
        cls,
        machine: Machine,
        poses: Sequence[Pose],
        holes: Sequence[RegistrationHole],
        *,
        keys: bool,
    ) -> MachineErrors:
        """The machine errors of some passes.

        Args:
            machine: what it states of its errors; what it does not state counts as none.
            poses: planned, one per pass.
            holes: registration holes of the blank.
            keys: whether key holes locate as well (measured) or not (pins).
        """
        kept = [h for h in holes if h.role == "locate" or (keys and h.role == "key")]
        centre = (0.0, 0.0)
        if kept:
            x, y = np.mean([h.blank for h in kept], axis=0).tolist()
            centre = (x, y)
        fields = _fields(machine)
        errors = tuple(_pose_errors(field, poses, kept, centre) for field in fields)
        return cls(tuple(poses), fields, errors, centre, machine.backlash or 0.0)

    def across(self, a: int, b: int, at: Point, across: Point) -> float:
        """What the machine's errors add to the misalignment of passes a and b, worst case, mm.

        Passes count from 0. Both are taken to run along the path the same way; `across` is a unit
        vector.
        """
        n = np.array(across)
        place = np.array([at])
        arm = arms(place, self.centre)[0]
        total = 0.0
        for field, errors in zip(self.fields, self.errors, strict=True):
            off = (
                _on_blank(field, self.poses[b], place)[0]
                - _on_blank(field, self.poses[a], place)[0]
            )
            off = off + arm @ (errors[b] - errors[a])
            total += abs(complex(n @ off))
        return total + self._play(a, b, n)

    def _play(self, a: int, b: int, n: FloatArray) -> float:
        """What backlash adds across a path whose normal is n."""
        if not self.backlash:
            return 0.0
        along = np.array([n[1], -n[0]])
        turns = [_linear(self.poses[k]) for k in (a, b)]
        total = 0.0
        for axis in (0, 1):
            runs = [float((turn @ along)[axis]) for turn in turns]
            # where the error of this axis points to on the blank
            shares = [float(n @ turn.T[:, axis]) for turn in turns]
            if min(map(abs, runs)) > AT_REST:
                signs = [math.copysign(1.0, run) for run in runs]
                total += abs(signs[1] * shares[1] - signs[0] * shares[0]) / 2
            else:
                total += sum(map(abs, shares)) / 2
        return self.backlash * total


@dataclass(frozen=True, slots=True, eq=False)
class ErrorBudget:
    """Both together: the holes' errors are random, the machine's add to them in full.

    99.7 % stay below 2.97 σ + s, where s is the machine's worst case; rms √(σ² + s²).

    Attributes:
        hole_errors: of the registration holes.
        machine_errors: None for a machine that states none.
        sigma: error of one hole per axis, mm.
    """

    hole_errors: HoleErrors
    machine_errors: MachineErrors | None
    sigma: float

    def misalignment(self, a: int, b: int, at: Point, across: Point) -> Misalignment:
        """Of passes a and b (from 0) at a place, in the direction of a unit vector."""
        random = self.hole_errors.sigma_across(a, b, at, across, self.sigma)
        steady = (
            0.0 if self.machine_errors is None else self.machine_errors.across(a, b, at, across)
        )
        return Misalignment(math.hypot(random, steady), QUANTILE * random + steady)

    def most(self, a: int, b: int, at: Point, across: Point) -> float:
        """What 99.7 % of all blanks stay below, mm."""
        return self.misalignment(a, b, at, across).most


def _fields(machine: Machine) -> tuple[Field, ...]:
    """Every stated error as a field of its own."""
    fields: list[Field] = []
    if machine.scale_error:
        scale = machine.scale_error / 1000
        fields.append(lambda xy: (scale * xy).astype(complex))
    if machine.squareness:
        lean = math.tan(math.radians(machine.squareness))
        fields.append(
            lambda xy: np.column_stack((-lean * xy[:, 1], np.zeros(len(xy)))).astype(complex)
        )
    if machine.periodic_error and machine.screw_lead:
        wave, lead = machine.periodic_error, machine.screw_lead
        fields += [_wave(wave, lead, axis) for axis in (0, 1)]
    return tuple(fields)


def _wave(amplitude: float, lead: float, axis: int) -> Field:
    def field(xy: FloatArray) -> Values:
        errors = np.zeros(xy.shape, dtype=complex)
        errors[:, axis] = amplitude * np.exp(2j * math.pi * xy[:, axis] / lead)
        return errors

    return field


def _linear(pose: Pose) -> FloatArray:
    return np.array([[pose.a, pose.b], [pose.d, pose.e]])


def _on_blank(field: Field, pose: Pose, places: FloatArray) -> Values:
    """(n, 2) by how much a pass cuts blank places off."""
    # the inverse of a turn is its transpose, and rows are multiplied from the right
    errors: Values = field(pose.points(places)) @ _linear(pose)
    return errors


def _pose_errors(
    field: Field, poses: Sequence[Pose], kept: Sequence[RegistrationHole], centre: Point
) -> Values:
    errors = np.zeros((len(poses), 3), dtype=complex)
    for k in range(1, len(poses)):
        mine = [hole for hole in kept if hole.used_in == k + 1]
        places = np.array([hole.blank for hole in mine])
        arm = arms(places, centre)
        off = -_on_blank(field, poses[k], places)
        for n, hole in enumerate(mine):
            o = hole.drilled_in - 1
            off[n] += _on_blank(field, poses[o], places[n : n + 1])[0] + arm[n] @ errors[o]
        errors[k] = np.linalg.pinv(_fixed([hole.free for hole in mine], arm)) @ off.reshape(-1)
    return errors
