"""Affine maps of the plane, and where one frame lies in another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple, Self, TypeVar

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
G = TypeVar("G", bound=shapely.Geometry)


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
        out = np.empty_like(xy)  # stacking columns takes twice as long for short lines
        out[:, 0] = self.a * x + self.b * y + self.c
        out[:, 1] = self.d * x + self.e * y + self.f
        return out

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


@dataclass(frozen=True, slots=True)
class Pose:
    """A rigid motion of the plane, mirrored or not: x' = a·x + b·y + c, y' = d·x + e·y + f.

    Raises:
        ValueError: when the linear part stretches or shears by more than 1e-9.
    """

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 1.0
    f: float = 0.0

    def __post_init__(self) -> None:
        columns = (
            math.hypot(self.a, self.d) - 1,
            math.hypot(self.b, self.e) - 1,
            self.a * self.b + self.d * self.e,
        )
        if any(not abs(error) <= 1e-9 for error in columns):
            raise ValueError(f"not a rigid motion: {self}")

    @classmethod
    def shift(cls, x: float, y: float) -> Self:
        """Move by (x, y) mm."""
        return cls(c=x, f=y)

    @classmethod
    def turn(cls, degrees: float) -> Self:
        """Turn about the origin, counter-clockwise; quarter turns are exact."""
        quarter = {0: (1.0, 0.0), 90: (0.0, 1.0), 180: (-1.0, 0.0), 270: (0.0, -1.0)}
        angle = math.radians(degrees)
        cos, sin = quarter.get(degrees % 360, (math.cos(angle), math.sin(angle)))  # type: ignore[call-overload]
        return cls(cos, -sin, 0.0, sin, cos, 0.0)

    @classmethod
    def mirror_y(cls, height: float) -> Self:
        """Mirror about the long axis of a board of this height: y' = height - y."""
        return cls(e=-1.0, f=height)

    @property
    def mirrored(self) -> bool:
        """Whether the motion turns the plane over (determinant -1)."""
        return self.a * self.e - self.b * self.d < 0

    def then(self, after: Pose) -> Pose:
        """The motion first, `after` second."""
        return Pose(*after.affine.after(self.affine))

    @property
    def affine(self) -> Affine:
        """The motion as a map among all affine ones."""
        return Affine(self.a, self.b, self.c, self.d, self.e, self.f)

    def inverse(self) -> Pose:
        """The motion that undoes this one."""
        return Pose(
            self.a,
            self.d,
            -(self.a * self.c + self.d * self.f),
            self.b,
            self.e,
            -(self.b * self.c + self.e * self.f),
        )

    def point(self, at: tuple[float, float]) -> tuple[float, float]:
        """Move one point."""
        x, y = at
        return (self.a * x + self.b * y + self.c, self.d * x + self.e * y + self.f)

    def points(self, xy: ArrayLike) -> FloatArray:
        """Move an (n, 2) array of points."""
        return self.affine.points(xy)

    def shape(self, geometry: G) -> G:
        """Move a shapely geometry, or an array of them."""
        placed: G = shapely.transform(geometry, self.points)
        return placed

    def as_list(self) -> list[float]:
        """[a, b, c, d, e, f], as the report holds it."""
        return [*self.affine]
