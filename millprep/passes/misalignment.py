"""How far any two passes of a blank miss each other, from the holes that tie them together.

A pass is found by holes that earlier passes drilled, so it inherits their errors. To first
order every error is linear in the errors of single holes: a pass that is off by (tx, ty, θ)
cuts a place r off by A(r)·(tx, ty, θ) with A = [[1, 0, -y], [0, 1, x]], and a pass found by
holes h has the least-squares fit to what they are off,

    e = M⁺ · [A(h)·e(drilled in) + error of the hole],   M = all A(h) one above the other.

Every pass is therefore a matrix L from the errors of all holes (each σ in x and in y, drilling
and finding it together) to (tx, ty, θ), and two passes miss each other at r by A(r)·(La - Lb),
with covariance σ²·A(La - Lb)(La - Lb)ᵀAᵀ: what both inherit cancels. For one pass found by
holes of the pass before this is the form of `budget.py` (Fitzpatrick, West, Maurer 1998).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray, Point
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
        """The network of some passes.

        Args:
            holes: registration holes of one blank.
            count: number of passes.
            keys: whether key holes locate as well, as they do when holes are measured; on pins
                they only tell the way round.
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
            fit = np.linalg.pinv(places.reshape(-1, 3))
            off = np.zeros((2 * len(mine), 2 * len(kept)))
            for row, n in enumerate(mine):
                off[2 * row : 2 * row + 2] = places[row] @ errors[kept[n].drilled_in - 1]
                off[2 * row, 2 * n] += 1.0
                off[2 * row + 1, 2 * n + 1] += 1.0
            errors.append(fit @ off)
        return cls(tuple(errors), centre)

    def covariance(self, a: int, b: int, at: Point) -> FloatArray:
        """(2, 2) of the mismatch of passes a and b (from 0) at a place, per σ²."""
        apart = arms([at], self.centre)[0] @ (self.errors[a] - self.errors[b])
        found: FloatArray = apart @ apart.T
        return found

    def sigma_across(self, a: int, b: int, at: Point, across: Point, sigma: float) -> float:
        """Standard deviation of the mismatch in the direction of a unit vector, mm."""
        u = np.array(across)
        return sigma * float(np.sqrt(max(u @ self.covariance(a, b, at) @ u, 0.0)))

    def predicted(self, a: int, b: int, at: Point, across: Point, sigma: float) -> float:
        """The mismatch across a path that 99.7 % of all blanks stay below, mm."""
        return QUANTILE * self.sigma_across(a, b, at, across, sigma)

    def rms(self, a: int, b: int, at: Point, sigma: float) -> float:
        """Root mean square of the mismatch, all directions, mm (the TRE)."""
        return sigma * float(np.sqrt(np.trace(self.covariance(a, b, at))))

    def across(self, a: int, b: int, points: FloatArray, normals: FloatArray) -> FloatArray:
        """(n,) standard deviation at (n, 2) places along (n, 2) unit vectors, per unit σ."""
        apart = arms(points, self.centre) @ (self.errors[a] - self.errors[b])
        found: FloatArray = np.sqrt((np.einsum("ni,nij->nj", normals, apart) ** 2).sum(axis=1))
        return found

    def spread(self, a: int, b: int, points: FloatArray) -> FloatArray:
        """(n,) standard deviation in the worst direction at (n, 2) places, per unit σ."""
        apart = arms(points, self.centre) @ (self.errors[a] - self.errors[b])
        return largest(apart @ np.swapaxes(apart, 1, 2))


def arms(points: Sequence[Point] | FloatArray, centre: Point) -> FloatArray:
    """(n, 2, 3) what (tx, ty, θ) moves every point by."""
    xy = np.asarray(points, dtype=float).reshape(-1, 2) - np.asarray(centre)
    found = np.zeros((len(xy), 2, 3))
    found[:, 0, 0] = found[:, 1, 1] = 1.0
    found[:, 0, 2], found[:, 1, 2] = -xy[:, 1], xy[:, 0]
    return found


def largest(covariance: FloatArray) -> FloatArray:
    """(n,) standard deviation along the longest axis of (n, 2, 2) covariances."""
    xx, yy, xy = covariance[:, 0, 0], covariance[:, 1, 1], covariance[:, 0, 1]
    found: FloatArray = np.sqrt((xx + yy) / 2 + np.hypot((xx - yy) / 2, xy))
    return found
