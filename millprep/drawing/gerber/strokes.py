"""Lines and arcs of a Gerber file: where an arc's centre is, contours and what pens draw."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from millprep.drawing.gerber.statements import Statement
from millprep.geometry.path import FloatArray, Point

MISS = 0.05
"""An arc's start and end may be at distances from its centre that differ by this, mm, or by a
hundredth of its radius: files round both."""


@dataclass(slots=True)
class PenRun:
    """A run of lines and arcs, each from the end of the one before.

    Attributes:
        line: of the file, where it begins.
        points: its corners, mm.
        bulges: of the segment after each of them but the last.
    """

    line: int
    points: list[Point]
    bulges: list[float] = field(default_factory=list)

    def add(self, steps: Sequence[tuple[Point, float]]) -> None:
        """Go on through points, each with the bulge of the way to it; no way is no step."""
        for point, bulge in steps:
            if math.dist(point, self.points[-1]) > 1e-9:
                self.points.append(point)
                self.bulges.append(bulge)

    @property
    def closed(self) -> bool:
        """Whether it ends where it began."""
        return len(self.points) > 2 and math.dist(self.points[0], self.points[-1]) <= 1e-9

    def arrays(self) -> tuple[FloatArray, FloatArray]:
        """Corners and bulges; a closed one has its first corner at the end too."""
        return np.array(self.points, dtype=float), np.array(self.bulges, dtype=float)


def arc(
    start: Point, end: Point, offset: Point, clockwise: bool, single: bool, where: Statement
) -> list[tuple[Point, float]]:
    """The steps of an arc: points, each with the bulge of the way to it.

    Args:
        start: where it begins, mm.
        end: where it ends, mm.
        offset: of its centre from the start; in single quadrant mode without signs.
        clockwise: which way round it goes.
        single: whether it is at most a quarter of a circle.
        where: the statement, for faults.

    Raises:
        UnreadableError: when no arc fits.
    """
    same = math.dist(start, end) <= 1e-9
    if single and same:
        return []
    best: tuple[float, Point, float] | None = None
    for centre in _centres(start, offset, single):
        r0, r1 = math.dist(centre, start), math.dist(centre, end)
        if not min(r0, r1) > 0:
            continue
        first = math.atan2(start[1] - centre[1], start[0] - centre[0])
        last = math.atan2(end[1] - centre[1], end[0] - centre[0])
        sweep = (first - last if clockwise else last - first) % (2 * math.pi)
        if same:
            sweep = 2 * math.pi
        elif single and sweep > math.pi / 2 + 0.02:
            continue
        if best is None or abs(r0 - r1) < best[0]:
            best = (abs(r0 - r1), centre, sweep)
    if best is None:
        words = "a quarter circle" if single else "an arc"
        raise where.fault(f"no centre of {words} fits I and J")
    miss, centre, sweep = best
    radius = math.dist(centre, start)
    if miss > max(MISS, 0.01 * radius):
        raise where.fault(
            f"start and end of the arc are {miss:.4f} mm differently far from its centre"
        )
    count = 2 if sweep > math.pi * 0.75 else 1
    bulge = math.tan(sweep / count / 4) * (-1 if clockwise else 1)
    steps = [(end, bulge)]
    if count == 2:
        half = -sweep / 2 if clockwise else sweep / 2
        x, y = start[0] - centre[0], start[1] - centre[1]
        cos, sin = math.cos(half), math.sin(half)
        middle = (centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos)
        if same:  # a circle: the far end of its diameter is exact
            middle, bulge = (centre[0] - x, centre[1] - y), math.copysign(1.0, bulge)
            steps = [(end, bulge)]
        steps.insert(0, (middle, bulge))
    return steps


def _centres(start: Point, offset: Point, single: bool) -> Iterator[Point]:
    signs = ((1, 1), (-1, 1), (1, -1), (-1, -1)) if single else ((1, 1),)
    for x, y in signs:
        yield (start[0] + x * offset[0], start[1] + y * offset[1])
