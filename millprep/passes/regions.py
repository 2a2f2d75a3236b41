"""Which pass frees what of a blank: the last one that reaches it; paths are split between regions.

So pass k cuts through only what no later pass reaches, and the frame that carries the
registration holes stays whole until the last. A board that lies in one region is cut in one pass,
with all its copper and holes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Path, Point, Segment
from millprep.model.blank import Box
from millprep.passes.shift import ShiftPlan

NO_SOLE_PASS: Mapping[int, int] = MappingProxyType({})
"""No board has a pass of its own."""
SLACK = 1e-6
"""Rounding that a board may reach over the end of a region, mm."""


def crowded(overrun: float) -> float:
    """Stretches shorter than this are not split; half of it lies within a line's margin."""
    return min(4 * overrun, 2 * (overrun + 1.0))


def least_overlap(radius: float) -> float:
    """What two windows must share so that profiles can be handed on, also in a grid."""
    return 2 * profile_slack(profile_overrun(radius), grid=True)


def profile_slack(overrun: float, *, grid: bool) -> float:
    """How far inside its window a pass takes over profiles; half of what windows must share."""
    return overrun + (crowded(overrun) if grid else 1.0)


def profile_overrun(radius: float) -> float:
    """How far both sides of a join in a profile are cut past it."""
    return radius + 0.5


@dataclass(frozen=True, slots=True)
class Regions:
    """The regions of all passes.

    Attributes:
        inner: windows, less what overruns need on the sides that face other passes.
    """

    inner: tuple[Box, ...]

    @classmethod
    def of(cls, shift: ShiftPlan, overrun: float) -> Regions:
        """The regions of a plan."""
        slack = profile_slack(overrun, grid=bool(shift.cells))
        return cls(tuple(shift.inner(k, slack) for k in range(len(shift.windows))))

    @property
    def lines(self) -> list[tuple[int, float]]:
        """Everything that may bound a region: (axis, value)."""
        return sorted(
            {
                line
                for box in self.inner
                for line in ((0, box.x0), (0, box.x1), (1, box.y0), (1, box.y1))
            }
        )

    def owner(self, at: Point) -> int:
        """The pass (from 0) that cuts here; the nearest one where none reaches."""
        reached = [k for k, box in enumerate(self.inner) if box.contains(*at)]
        if reached:
            return reached[-1]
        x, y = at
        off = [max(box.x0 - x, x - box.x1, box.y0 - y, y - box.y1, 0.0) for box in self.inner]
        return min(range(len(off)), key=off.__getitem__)

    def areas(self) -> tuple[BaseGeometry, ...]:
        """What every pass cuts through, blank frame."""
        boxes = [b.shape for b in self.inner]
        return tuple(
            box.difference(shapely.union_all(boxes[k + 1 :])) for k, box in enumerate(boxes)
        )

    def join_lines(self) -> tuple[shapely.LineString, ...]:
        """Straight lines along which two regions meet, blank frame."""
        lines: list[shapely.LineString] = []
        for area, other in itertools.combinations(self.areas(), 2):
            common = shapely.line_merge(area.boundary.intersection(other.boundary))
            for part in shapely.get_parts(common):
                if part.length > SLACK:
                    corners = list(part.coords)
                    lines += [shapely.LineString(pair) for pair in itertools.pairwise(corners)]
        return tuple(lines)

    def whole(self, outlines: Mapping[int, BaseGeometry], reach: float) -> dict[int, int]:
        """The pass (from 0) that alone cuts a board, for every board that lies in one region.

        Empty for a single pass.

        Args:
            outlines: of boards, by any number; blank frame.
            reach: how far from its outline the cutter's axis frees a board.
        """
        if len(self.inner) < 2:
            return {}
        areas = [area.buffer(SLACK, join_style="mitre") for area in self.areas()]
        owners = {}
        for number, outline in outlines.items():
            x0, y0, x1, y1 = outline.bounds
            swept = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
            k = next((k for k, area in enumerate(areas) if area.covers(swept)), None)
            if k is not None:
                owners[number] = k
        return owners

    def across(
        self, outlines: Mapping[int, BaseGeometry], reach: float, size: tuple[float, float]
    ) -> tuple[int, ...]:
        """Boards that several passes cut, though one could cut them whole as they are turned.

        Args:
            outlines: of boards, by any number; blank frame.
            reach: how far from its outline the cutter's axis frees a board.
            size: of the blank.
        """
        if len(self.inner) < 2:
            return ()
        blank = shapely.box(0.0, 0.0, *size)
        rooms = [area.intersection(blank).bounds for area in self.areas()]
        whole = self.whole(outlines, reach)
        numbers = []
        for number, outline in outlines.items():
            x0, y0, x1, y1 = outline.bounds
            w, h = x1 - x0 + 2 * reach, y1 - y0 + 2 * reach
            short = any(u1 - u0 >= w and v1 - v0 >= h for u0, v0, u1, v1 in rooms)
            if short and number not in whole:
                numbers.append(number)
        return tuple(numbers)


def crossings(path: Path, axis: int, value: float) -> list[float]:
    """Distances along the path at which it crosses the line x = value (or y = value).

    A point on the line counts as below it, so a path that only touches the line from
    below does not cross it, and a vertex on the line is met once.
    """
    distances: list[float] = []
    at = 0.0
    for segment, length in zip(path.segments(), path.lengths.tolist(), strict=True):
        a, b = segment.start[axis] - value, segment.end[axis] - value
        if segment.centre is not None:
            distances += [
                at + length * t for t in _arc_crossings(segment, segment.centre, axis, value)
            ]
        elif (a > 0) != (b > 0):
            distances.append(at + length * a / (a - b))
        at += length
    return distances


def _arc_crossings(segment: Segment, centre: Point, axis: int, value: float) -> list[float]:
    """Fractions of an arc's sweep at which it crosses the line.

    Between its turning points an arc only rises or only falls, so the signs at the two ends
    of such a stretch say whether it crosses; no crossing at a vertex is lost or met twice.
    """
    start, sweep = segment.start, segment.sweep
    rx, ry = start[0] - centre[0], start[1] - centre[1]
    radius = math.hypot(rx, ry)
    height = value - centre[axis]
    # the angle from the axis' own direction, counted the way the arc runs
    sign = 1.0 if sweep > 0 else -1.0
    begin = (math.atan2(ry, rx) - axis * math.pi / 2) * sign % (2 * math.pi)
    end = begin + abs(sweep)
    turns = [k * math.pi for k in range(math.floor(begin / math.pi) + 1, math.ceil(end / math.pi))]
    bounds = [begin, *turns, end]
    highs = [
        segment.start[axis] - value,
        *(radius * (1 if round(turn / math.pi) % 2 == 0 else -1) - height for turn in turns),
        segment.end[axis] - value,
    ]
    fractions = []
    for (a, b), (high_a, high_b) in zip(
        itertools.pairwise(bounds), itertools.pairwise(highs), strict=True
    ):
        if (high_a > 0) == (high_b > 0):
            continue
        reach = math.acos(min(max(height / radius, -1.0), 1.0))
        # falling in even half turns, rising in odd ones
        half = math.floor((a + b) / 2 / math.pi)
        angle = half * math.pi + (reach if half % 2 == 0 else math.pi - reach)
        fractions.append((min(max(angle, a), b) - begin) / abs(sweep))
    return fractions


def stretches_by_region(
    path: Path,
    lines: Iterable[tuple[int, float]],
    owner: Callable[[Point], int],
    shortest: float,
) -> list[tuple[float, float, int]]:
    """The stretches of a path in regions that lines x = … (axis 0) and y = … (axis 1) bound.

    Start, end and the region's number, as `owner` gives it for a place between the lines. On a
    closed path a stretch may run over the start, with an end beyond the path's length. A
    stretch shorter than `shortest` stays with the one before it, since two joins would crowd
    there; past one line it reaches by at most half its length, past a corner by all of it. The
    end of an open path does not come back, so there half of that counts as short.
    """
    total = path.length
    cuts = sorted({s for axis, line in lines for s in crossings(path, axis, line)})
    if path.closed:
        bounds = [*cuts, cuts[0] + total] if cuts else [0.0, total]
    else:
        bounds = sorted({0.0, *cuts, total})
    raw: list[tuple[float, float, int]] = []
    for start, end in itertools.pairwise(bounds):
        middle = (start + end) / 2
        place = path.point_at(middle - total if middle > total else middle)
        side = owner(place)
        if raw and raw[-1][2] == side:
            # a line that divides other regions only
            raw[-1] = (raw[-1][0], end, side)
        else:
            raw.append((start, end, side))
    if path.closed and len(raw) > 1 and raw[0][2] == raw[-1][2]:
        start, _, side = raw.pop()
        raw[0] = (start - total, raw[0][1], side)
    if path.closed:
        # the longest first, so that a short one always has a long one before it
        n = max(range(len(raw)), key=lambda k: raw[k][1] - raw[k][0])
        raw = [*raw[n:], *((a + total, b + total, side) for a, b, side in raw[:n])]
    stretches: list[tuple[float, float, int]] = []
    for k, (start, end, side) in enumerate(raw):
        last = not path.closed and k == len(raw) - 1
        short = shortest / 2 if last else shortest
        if stretches and (stretches[-1][2] == side or end - start < short):
            stretches[-1] = (stretches[-1][0], end, stretches[-1][2])
        else:
            stretches.append((start, end, side))
    if len(stretches) > 1 and not path.closed and stretches[0][1] - stretches[0][0] < shortest / 2:
        stretches[:2] = [(stretches[0][0], stretches[1][1], stretches[1][2])]
    if len(stretches) > 1 and path.closed and stretches[0][2] == stretches[-1][2]:
        start, _, side = stretches.pop()
        stretches[0] = (start, stretches[0][1] + total, side)
    if path.closed and len(stretches) > 1:
        return [(a % total, a % total + b - a, side) for a, b, side in stretches]
    return stretches
