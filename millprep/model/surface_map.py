"""A surface map: heights of a blank's copper in one pass, and a pass that follows one.

Between its nodes the surface is bilinear: on a cell it is
((x2-x)(y2-y) f11 + (x-x1)(y2-y) f21 + (x2-x)(y-y1) f12 + (x-x1)(y-y1) f22)/((x2-x1)(y2-y1)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from millprep.geometry.path import FloatArray, Point

SLACK = 1e-6
"""A place this far beyond the outermost nodes counts as on them, mm."""
LEAST_NODES = 3
"""Rows, and nodes in a row: fewer cannot be held against each other."""


@dataclass(frozen=True, eq=False, slots=True)
class SurfaceMap:
    """Heights of the copper above Z0 on a grid, machine frame of one pass, mm.

    Attributes:
        x: (n,) of the columns, rising.
        y: (m,) of the rows, rising.
        z: (m, n) heights, z[j, i] at x[i], y[j].

    Raises:
        ValueError: for arrays that do not fit together, fewer than `LEAST_NODES` either way,
            columns or rows that do not rise, or values that are not finite.
    """

    x: FloatArray
    y: FloatArray
    z: FloatArray

    def __post_init__(self) -> None:
        for name in ("x", "y", "z"):
            array = np.array(getattr(self, name), dtype=float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if self.z.shape != (len(self.y), len(self.x)):
            raise ValueError(f"a map of {len(self.x)} × {len(self.y)} nodes has z {self.z.shape}")
        if min(self.z.shape) < LEAST_NODES:
            raise ValueError(f"a map needs {LEAST_NODES} nodes either way, got {self.z.shape}")
        if not all(np.isfinite(array).all() for array in (self.x, self.y, self.z)):
            raise ValueError("a map holds finite numbers only")
        if (np.diff(self.x) <= 0).any() or (np.diff(self.y) <= 0).any():
            raise ValueError("a map's columns and rows must rise")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SurfaceMap) and all(
            np.array_equal(getattr(self, name), getattr(other, name)) for name in ("x", "y", "z")
        )

    def __hash__(self) -> int:
        return hash((self.x.tobytes(), self.y.tobytes(), self.z.tobytes()))

    @property
    def lowest(self) -> float:
        """Height of the lowest node; a bilinear surface is nowhere lower."""
        return float(self.z.min())

    @property
    def highest(self) -> float:
        """Height of the highest node."""
        return float(self.z.max())

    def covers(self, xy: ArrayLike) -> NDArray[np.bool_]:
        """Which of (n, 2) places lie within the outermost nodes."""
        at = np.asarray(xy, dtype=float).reshape(-1, 2)
        low = np.array([self.x[0], self.y[0]]) - SLACK
        high = np.array([self.x[-1], self.y[-1]]) + SLACK
        within = (at >= low) & (at <= high)
        inside: NDArray[np.bool_] = within[:, 0] & within[:, 1]
        return inside

    def heights(self, xy: ArrayLike) -> FloatArray:
        """(n,) heights at (n, 2) places, by the formula above.

        Raises:
            ValueError: for a place outside the nodes: nothing is known there.
        """
        at = np.asarray(xy, dtype=float).reshape(-1, 2)
        if not self.covers(at).all():
            raise ValueError("a place outside the map has no height")
        x = np.clip(at[:, 0], self.x[0], self.x[-1])
        y = np.clip(at[:, 1], self.y[0], self.y[-1])
        i = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.x) - 2)
        j = np.clip(np.searchsorted(self.y, y, side="right") - 1, 0, len(self.y) - 2)
        x1, x2, y1, y2 = self.x[i], self.x[i + 1], self.y[j], self.y[j + 1]
        f11, f21 = self.z[j, i], self.z[j, i + 1]
        f12, f22 = self.z[j + 1, i], self.z[j + 1, i + 1]
        float_array: FloatArray = (
            (x2 - x) * (y2 - y) * f11
            + (x - x1) * (y2 - y) * f21
            + (x2 - x) * (y - y1) * f12
            + (x - x1) * (y - y1) * f22
        ) / ((x2 - x1) * (y2 - y1))
        return float_array


@dataclass(frozen=True, slots=True)
class Levelling:
    """A pass whose programs follow a map.

    Attributes:
        surface: the map, machine frame of the pass.
        file: name of the file it was read from; its hash is among the set's inputs.
        repeatability: standard deviation of one reading.
        assumed: whether nobody stated the repeatability.
        left: how far the copper may still lie off the surface that is followed, up or down.
    """

    blank: int
    mill_pass: int
    surface: SurfaceMap
    file: str
    repeatability: float
    assumed: bool
    left: float

    def __post_init__(self) -> None:
        if not (self.repeatability > 0 and self.left > 0):
            raise ValueError("a reading repeats within more than 0, and so does what is left")


@dataclass(frozen=True, eq=False, slots=True)
class Uncorrected:
    """The grooves that one cutter would have made in a pass, had nobody levelled it.

    Attributes:
        segments: (n, 4) short straight steps x0 y0 x1 y1, machine frame.
        surface, foot: (n,) widths of the groove at the copper's surface and at its foot, in the
            middle of each step; 0 where the cutter does not get there.
        lost: a place on every stretch where nothing would have been isolated, machine frame.
        lost_length: of those stretches together.
    """

    blank: int
    mill_pass: int
    cutter: str
    segments: FloatArray
    surface: FloatArray
    foot: FloatArray
    lost: tuple[Point, ...]
    lost_length: float
