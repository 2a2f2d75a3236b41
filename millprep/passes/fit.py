"""The blank's true place from readings of its registration holes.

The rigid motion that brings the holes, as they were drilled, nearest to the readings is
θ = atan2(Σ p × q, Σ p · q), t = m̄ - R·h̄ with p, q counted from their means: Arun, Huang and
Blostein, IEEE PAMI 9(5), 1987, in the plane; it can turn but never mirror.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose

CHI_SQUARED_99 = {
    1: 6.635, 3: 11.345, 5: 15.086, 7: 18.475, 9: 21.666, 11: 24.725, 13: 27.688, 15: 30.578,
    17: 33.409,
}  # fmt: skip
"""99 % quantile of χ² by degrees of freedom; any handbook's table."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A rigid fit of readings.

    Attributes:
        pose: hole frame to reading frame.
        residuals: (n, 2) reading less fitted place of every hole, mm.
        scale: of the readings' size to the holes', a diagnostic: the same machine drilled the
            holes, so it cannot see its own scale error.
    """

    pose: Pose
    residuals: FloatArray
    scale: float

    @property
    def turn(self) -> float:
        """Degrees by which the blank is turned, counter-clockwise."""
        return math.degrees(math.atan2(self.pose.d, self.pose.a))


def fit(holes: Sequence[Point], readings: Sequence[Point]) -> Fit:
    """The rigid motion that brings two or more holes nearest to their readings.

    Raises:
        ValueError: for fewer than two holes, unequal counts, or holes all in one place.
    """
    p, q = np.asarray(holes, dtype=float), np.asarray(readings, dtype=float)
    if p.shape != q.shape or p.ndim != 2 or len(p) < 2:
        raise ValueError(f"a fit needs two or more pairs, got {p.shape} and {q.shape}")
    p_mean, q_mean = p.mean(axis=0), q.mean(axis=0)
    a, b = p - p_mean, q - q_mean
    size = float((a**2).sum())
    if size == 0:
        raise ValueError("all holes are in one place")
    cross = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    dot = float((a * b).sum())
    angle = math.atan2(cross, dot)
    cos, sin = math.cos(angle), math.sin(angle)
    tx = float(q_mean[0] - cos * p_mean[0] + sin * p_mean[1])
    ty = float(q_mean[1] - sin * p_mean[0] - cos * p_mean[1])
    pose = Pose(cos, -sin, tx, sin, cos, ty)
    scale = math.sqrt(float((b**2).sum()) / size)
    return Fit(pose, q - pose.points(p), scale)


def suspicious(found: Fit, sigma: float) -> bool:
    """Whether the residuals are larger than 99 % of honest readings with this error give.

    Σ|residual|² / σ² is χ² distributed with 2N - 3 degrees of freedom.
    """
    n = len(found.residuals)
    limit = quantile_99(2 * n - 3)
    return float((found.residuals**2).sum()) / sigma**2 > limit


def bad_hole(holes: Sequence[Point], readings: Sequence[Point], sigma: float) -> int | None:
    """The one hole whose leaving out makes the rest agree; needs four or more holes."""
    if len(holes) < 4:
        return None
    good = []
    for n in range(len(holes)):
        rest = fit(
            [*holes[:n], *holes[n + 1 :]],
            [*readings[:n], *readings[n + 1 :]],
        )
        if not suspicious(rest, sigma):
            good.append((float((rest.residuals**2).sum()), n))
    return min(good)[1] if good else None


def quantile_99(freedom: int) -> float:
    """99 % quantile of χ², by Wilson and Hilferty's cube (PNAS 17, 1931) beyond the table."""
    if freedom in CHI_SQUARED_99:
        return CHI_SQUARED_99[freedom]
    h = 2 / (9 * freedom)
    return freedom * (1 - h + 2.3263 * math.sqrt(h)) ** 3
