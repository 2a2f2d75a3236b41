"""Gaps between areas of copper, and the shortest ways over them."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.verify.narrowest import outlines
from millprep.verify.rules.mesh import IntArray
from millprep.verify.sweep import Shapes

CHUNK = 16
"""Edges of an outline that are measured together."""


TOUCHING = 1e-3
"""Nearer than this is together, mm."""
ROUNDING = 1e-9
"""Bounds of a length are as sure as this, mm."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The narrowest place between two areas, by their numbers, and its ends."""

    area: int
    other: int
    width: float
    ends: tuple[Point, Point]

    @property
    def at(self) -> Point:
        """Its middle."""
        (x0, y0), (x1, y1) = self.ends
        return ((x0 + x1) / 2, (y0 + y1) / 2)


@dataclass(frozen=True, slots=True)
class WayOver:
    """A way from one area to another over gaps, the areas between them as stepping stones.

    Attributes:
        start, end: areas.
        length: sum of the gaps that count.
        gaps: all of them, in order; empty when start and end are one area.
    """

    start: int
    end: int
    length: float
    gaps: tuple[Gap, ...]

    @property
    def narrowest(self) -> Gap | None:
        """Its narrowest gap; where areas touch is no gap, unless there is no other."""
        return min(self.gaps, key=lambda gap: (gap.width < TOUCHING, gap.width), default=None)


def gaps(areas: Sequence[shapely.Geometry], reach: float) -> tuple[Gap, ...]:
    """The gap between every two areas that come within `reach` mm of each other.

    Areas may touch but not overlap. Outlines are measured in pieces of `CHUNK` edges: boxes
    are cheaper to compare than outlines are to measure.
    """
    owner, lines = outlines(areas, CHUNK)
    if not len(lines):
        return ()
    left, right = _candidates(owner, lines, reach)
    width = shapely.distance(lines[left], lines[right])
    near = width <= reach
    left, right, width = left[near], right[near], width[near]
    order = np.lexsort((width, owner[right], owner[left]))
    left, right, width = left[order], right[order], width[order]
    pair = owner[left] * (len(areas) + 1) + owner[right]
    first = np.flatnonzero(np.diff(pair, prepend=-1))
    nearest = shapely.shortest_line(lines[left[first]], lines[right[first]])
    ends = shapely.get_coordinates(nearest).reshape(-1, 2, 2)
    return tuple(
        Gap(a, b, w, ((x0, y0), (x1, y1)))
        for a, b, w, ((x0, y0), (x1, y1)) in zip(
            owner[left[first]].tolist(),
            owner[right[first]].tolist(),
            width[first].tolist(),
            ends.tolist(),
            strict=True,
        )
    )


def _candidates(owner: IntArray, lines: Shapes, reach: float) -> tuple[IntArray, IntArray]:
    """Pairs of lines among which are the nearest two of every two areas within `reach`.

    No two lines are nearer than their boxes, or farther from each other than their first points.
    Those whose boxes are farther than the first points of two others of the same areas drop out.
    """
    box = shapely.bounds(lines)
    around = shapely.box(*(box + np.array([-reach, -reach, reach, reach])).T)
    left, right = shapely.STRtree(lines).query(around)
    forward = owner[left] < owner[right]
    left, right = left[forward], right[forward]
    between = np.maximum(box[left, :2] - box[right, 2:], box[right, :2] - box[left, 2:])
    least = np.hypot(*np.maximum(between, 0.0).T)
    ends = shapely.get_coordinates(shapely.get_point(lines, 0))
    most = np.hypot(*(ends[left] - ends[right]).T)
    _, pair = np.unique(owner[left] * (int(owner[-1]) + 1) + owner[right], return_inverse=True)
    enough = np.full(int(pair.max(initial=-1)) + 1, reach)
    np.minimum.at(enough, pair, most)
    chosen = least <= enough[pair] + ROUNDING
    return left[chosen], right[chosen]


def gaps_to(
    areas: Sequence[shapely.Geometry], further: Sequence[shapely.Geometry], reach: float
) -> tuple[Gap, ...]:
    """The gaps from areas to few further shapes, numbered on from them; these may overlap."""
    if not len(areas) or not len(further):
        return ()
    shapes = np.array(list(further), dtype=object)
    copper = np.array(list(areas), dtype=object)
    which, near = shapely.STRtree(copper).query(shapes, predicate="dwithin", distance=reach)
    line = shapely.shortest_line(copper[near], shapes[which])
    ends = shapely.get_coordinates(line).reshape(-1, 2, 2)
    return tuple(
        Gap(a, len(areas) + b, w, ((x0, y0), (x1, y1)))
        for a, b, w, ((x0, y0), (x1, y1)) in zip(
            near.tolist(), which.tolist(), shapely.length(line).tolist(), ends.tolist(),
            strict=True,
        )
    )  # fmt: skip


class Ways:
    """Shortest ways over a set of gaps.

    `least_counted` mm: narrower gaps count as nothing, dirt and solder bridge them.
    """

    def __init__(self, between: Iterable[Gap], least_counted: float = 0.0) -> None:
        self._from: dict[int, list[tuple[int, float, Gap]]] = {}
        for gap in between:
            counts = gap.width if gap.width >= least_counted else 0.0
            self._from.setdefault(gap.area, []).append((gap.other, counts, gap))
            self._from.setdefault(gap.other, []).append((gap.area, counts, gap))

    def shortest(self, starts: Iterable[int], stones: set[int], reach: float) -> dict[int, WayOver]:
        """The shortest way from any of `starts` to every area within `reach`.

        It leads over `stones` only (E. W. Dijkstra, Numer. Math. 1, 1959, from memory).
        """
        ways: dict[int, WayOver] = {}
        first = set(starts)
        turn = itertools.count()
        # The turn parts ways of one length, so that the outcome never hangs on chance.
        ahead: list[tuple[float, int, int, int, tuple[Gap, ...]]] = [
            (0.0, next(turn), start, start, ()) for start in sorted(first)
        ]
        while ahead:
            length, _, here, start, over = heapq.heappop(ahead)
            if here in ways:
                continue
            ways[here] = WayOver(start, here, length, over)
            if here not in stones and here not in first:
                continue
            for there, more, gap in self._from.get(here, ()):
                if there not in ways and length + more <= reach:
                    heapq.heappush(ahead, (length + more, next(turn), there, start, (*over, gap)))
        return ways
