"""Affine maps of the plane."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Affine(NamedTuple):
    """x' = a·x + b·y + c, y' = d·x + e·y + f; may stretch, shear and mirror."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 1.0
    f: float = 0.0

    def points(self, xy: ArrayLike) -> FloatArray:
        """Map an (n, 2) array."""
        xy = np.asarray(xy, dtype=float).reshape(-1, 2)
        x, y = xy[:, 0], xy[:, 1]
        return np.column_stack((self.a * x + self.b * y + self.c, self.d * x + self.e * y + self.f))

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Map one point."""
        return (self.a * x + self.b * y + self.c, self.d * x + self.e * y + self.f)

    @property
    def determinant(self) -> float:
        """Negative when the map mirrors, 0 when it flattens to a line."""
        return self.a * self.e - self.b * self.d

    @property
    def stretch(self) -> tuple[float, float]:
        """Largest and smallest stretch in any direction (singular values)."""
        # closed form for 2 × 2: half sums of the lengths of the two complex parts
        p = math.hypot(self.a + self.e, self.d - self.b) / 2
        q = math.hypot(self.a - self.e, self.d + self.b) / 2
        return (p + q, abs(p - q))

    @property
    def even(self) -> bool:
        """Whether circles stay circles, to one part in 1e9."""
        most, least = self.stretch
        return most - least <= 1e-9 * most

    def after(self, first: Affine) -> Affine:
        """The map that does `first`, then this one."""
        p, q = self, first
        return Affine(
            p.a * q.a + p.b * q.d,
            p.a * q.b + p.b * q.e,
            p.a * q.c + p.b * q.f + p.c,
            p.d * q.a + p.e * q.d,
            p.d * q.b + p.e * q.e,
            p.d * q.c + p.e * q.f + p.f,
        )
