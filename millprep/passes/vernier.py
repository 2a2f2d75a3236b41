"""Verniers: which lines they have, and what their readings say.

The first comb is cut by the earlier pass, its lines i · p from the middle. The second is cut
by the later pass, its lines i · (p - δ), so that lines coincide where i = s / δ when the later
pass cuts s too far along the direction that is measured. A person reads i with a lens.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.vernier import Measured, Vernier
from millprep.passes.fit import quantile_99

SIZES: dict[Measured, tuple[float, float, int]] = {"x": (1.0, 0.02, 10), "y": (0.6, 0.02, 6)}
"""Pitch, step and reach. Along x ±0.2 mm are shown, along y ±0.12 mm, so that the second kind
fits a margin of ten millimetres."""
LINE = 1.2
"""Length of a line from the common edge outward, mm."""
LONGER = 0.5
"""Every fifth line is longer by this at its outer end, the middle one by twice as much."""
SIGN = 0.8
"""Size of the plus sign at the positive end, mm."""
READING_ERROR = 0.01
"""Standard deviation of a reading, half a step, mm: assumed, nobody measured it."""
BASE = 25.0
"""Two verniers of a kind tell a turn when they stand this far apart across what they measure, mm:
common practice, no source."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What readings say of the later pass.

    Attributes:
        shift: how far it cuts too far, blank frame, at `about`.
        turn: by which what it cuts is turned, radians counter-clockwise.
        about: middle of the verniers that were read.
        residuals: reading less fit of every vernier, mm.
        turn_told: whether the readings tell a turn; without, it is 0.
    """

    shift: Point
    turn: float
    about: Point
    residuals: tuple[float, ...]
    turn_told: bool = True

    @property
    def spare(self) -> int:
        """Readings beyond those that shift and turn need."""
        return len(self.residuals) - (3 if self.turn_told else 2)

    @property
    def doubtful(self) -> bool:
        """Whether the residuals are larger than 99 % of honest readings leave: a χ² test."""
        if self.spare < 1:
            return False
        size = sum(left**2 for left in self.residuals) / READING_ERROR**2
        return size > quantile_99(self.spare)

    @property
    def error(self) -> Pose:
        """The motion of what the pass cuts, blank frame."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        (x, y), (dx, dy) = self.about, self.shift
        return Pose(cos, -sin, x + dx - cos * x + sin * y, sin, cos, y + dy - sin * x - cos * y)


def combs(one: Vernier) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Lines of the first comb with its plus sign, and of the second, blank frame."""
    first, second = [], []
    for i in range(-one.reach, one.reach + 1):
        length = LINE + LONGER * (2 if i == 0 else int(i % 5 == 0))
        first.append(_path(one, [(i * one.pitch, 0.0), (i * one.pitch, -length)]))
        place = i * (one.pitch - one.step)
        second.append(_path(one, [(place, 0.0), (place, length)]))
    # beyond the last line's outer end: so it takes no room along the measured direction
    x, y, half = one.reach * one.pitch - SIGN / 2, -(LINE + LONGER + SIGN), SIGN / 2
    first.append(_path(one, [(x - half, y), (x + half, y)]))
    first.append(_path(one, [(x, y - half), (x, y + half)]))
    return tuple(first), tuple(second)


def _path(one: Vernier, points: Sequence[Point]) -> Path:
    """Points (along the measured direction, across it) as a path in the blank frame."""
    x, y = one.at
    if one.measures == "x":
        return Path.lines([(x + u, y + v) for u, v in points])
    # turned a quarter to the left: the first comb stands to the right
    return Path.lines([(x - v, y + u) for u, v in points])


def area(one: Vernier) -> Box:
    """The box of both combs, blank frame."""
    first, second = combs(one)
    xy = np.vstack([path.xy for path in (*first, *second)])
    (x0, y0), (x1, y1) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
    return Box(x0, y0, x1, y1)


def correction(read: Sequence[tuple[Vernier, float]]) -> Correction:
    """What readings say, by least squares; a turn only where two verniers of a kind tell it.

    Without such a pair shift and turn cannot be parted: a shift would be taken for a turn.

    Args:
        read: verniers with the number of the line that runs through, between lines in part.

    Raises:
        ValueError: when no vernier of one of the kinds was read, or a reading is out of reach.
    """
    for one, line in read:
        if not abs(line) <= one.reach:
            raise ValueError(f"{one.id} has lines from -{one.reach} to {one.reach}, got {line:g}")
    kinds = [one.measures for one, _ in read]
    if not {"x", "y"} <= set(kinds):
        raise ValueError("one vernier along x and one along y at least must be read")
    places = np.array([one.at for one, _ in read])
    values = np.array([line * one.step for one, line in read])
    x, y = places.mean(axis=0).tolist()
    rows = []
    for one, (px, py) in zip((v for v, _ in read), places.tolist(), strict=True):
        along_x = one.measures == "x"
        # a small turn t moves (px, py) by t · (-(py - y), px - x)
        rows.append([float(along_x), float(not along_x), -(py - y) if along_x else px - x])
    matrix = np.array(rows)
    told = any(
        np.ptp([one.at[across] for one, _ in read if one.measures == kind]) >= BASE
        for kind, across in (("x", 1), ("y", 0))
    )
    if not told:
        matrix[:, 2] = 0.0
    found = np.linalg.lstsq(matrix, values, rcond=None)[0]
    left = values - matrix @ found
    return Correction(
        (float(found[0]), float(found[1])), float(found[2]), (x, y), tuple(left.tolist()), told
    )
