"""Whether the copper around a place stays isolated and whole while one pass is misaligned.

A groove shifted by any vector of at most e covers the groove eroded by e on every edge, and lies
within the groove dilated by e. So one test with the moving pass's groove shifted by d and eroded
(or dilated) by e covers every misalignment within e of d. Only grooves are eroded or dilated, never
copper, and the sides of the copper are distinguished by marks: a mark that no cut of the moving
pass ever reaches stays, one that no other cut ever reaches moves with that pass.

All copper outside of the place, which is where both come within the largest misalignment, can bear
a mark of either kind. Copper that leads into the place is marked at its rim; copper that lies all
within it and touches nothing marked joins nothing either.

A gap between edges that both move stays as wide as it is, but loses twice e to that erosion. So a
gap in doubt is tested once more, as seen from the pass that moves: the others' grooves shift by -d
and are eroded, and a gap between edges that stay loses twice e instead. Two sides come nearer than
the gap only where both tests show them nearer, in places within e of each other: only a gap between
an edge that moves and one that stays is in doubt for long.

The shortest misalignment that does harm comes from a quadtree over all of them: the plane of
misalignments is covered by squares, the nearest to zero first. A square that its test does not
clear is split, until one of the tolerance's size stays in doubt: its nearest point is the answer.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.verify.sweep import Shapes

TOLERANCE = 0.002
"""The answer is at most this far below the true one, mm."""
RIM = 0.15
"""Marks are within so much of the place's edge, mm."""
DEEP = 2 * RIM
"""So far from the place marks that move may be, mm."""
INSCRIBED = 3e-4
"""A polygon of the sweep lies at most this far inside the round groove, mm: grooves that must
not be too narrow are grown by it."""
CRUMB = 1e-6
"""Crumbs of copper on an edge of the sweep, mm², bear no mark."""
_SEGMENTS = 16
Mask = NDArray[np.bool_]
Pair = tuple[float, float]
Labels = Callable[[Shapes], NDArray[np.int64]]
"""Which piece each part of the copper belongs to; 0 for floating copper."""
FLOATING = 0
NOBODY = -1


class MisalignmentTest(Protocol):
    """What can say whether it tolerates a misalignment."""

    def holds(self, middle: tuple[float, float], near: tuple[float, float], reach: float) -> bool:
        """Whether it tolerates every misalignment of a square, all within `reach` of its middle.

        `near` is the square's nearest point to no misalignment at all.
        """
        ...


def least_misalignment(place: MisalignmentTest, most: float) -> float:
    """Length of the shortest misalignment that the place is not known to tolerate, or `most`."""
    squares = [(0.0, 0.0, 0.0, most)]
    while squares:
        away, x, y, half = heapq.heappop(squares)
        if away >= most:
            break
        reach = half * math.sqrt(2)
        near = (_toward(x, half), _toward(y, half))
        if place.holds((x, y), near, reach):
            continue
        # The square's nearest point is at most two of its reaches from its farthest.
        if 2 * reach <= TOLERANCE:
            return away
        quarter = half / 2
        for sx in (-quarter, quarter):
            for sy in (-quarter, quarter):
                cx, cy = x + sx, y + sy
                ax, ay = max(abs(cx) - quarter, 0.0), max(abs(cy) - quarter, 0.0)
                heapq.heappush(squares, (math.hypot(ax, ay), cx, cy, quarter))
    return most


def _toward(middle: float, half: float) -> float:
    """The number nearest to 0 of all within `half` of a middle."""
    return math.copysign(max(abs(middle) - half, 0.0), middle)


def eroded(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    """A shape worn by no less than `by`: the polygon of a disc lies inside the round one."""
    return shapely.buffer(shape, -by / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)


def dilated(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    """A shape grown by no less than `by`."""
    return shapely.buffer(shape, by / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)


def shift(shape: shapely.Geometry, by: Pair) -> shapely.Geometry:
    """A shape shifted."""
    return shapely.transform(shape, lambda xy: xy + np.array(by))


def far(most: float) -> float:
    """How far around a place grooves may matter that move by up to `most`, mm."""
    return 2 * most + 2 * DEEP


class Surroundings:
    """A place, the copper around it with no misalignment, and the marks on that copper.

    Attributes:
        second: the groove that moves.
        left: the copper less what stays, to which `second` is the only other groove.
        marks: (n, 2) places; `still` of them stay, all others move.
        of: whose copper each mark is on.
    """

    def __init__(
        self,
        first: shapely.Geometry,
        second: shapely.Geometry,
        around: shapely.Polygon,
        label: Labels,
        most: float,
    ) -> None:
        wide = around.buffer(far(most), quad_segs=1).bounds
        first, self.second = shapely.clip_by_rect([first, second], *wide)
        near_first, near_second = dilated(first, most), dilated(self.second, most)
        zone = shapely.intersection_all([near_first, near_second, around])
        self.empty = shapely.get_dimensions(zone) < 2 or shapely.is_empty(zone)
        self.marks: FloatArray = np.zeros((0, 2))
        self.still: Mask = np.zeros(0, dtype=bool)
        self.of = np.zeros(0, dtype=np.int64)
        if self.empty:
            return
        self.left = shapely.difference(zone.buffer(most + DEEP, quad_segs=2), first)
        rim = shapely.difference(zone.buffer(RIM, quad_segs=2), zone)
        deep = zone.buffer(DEEP, quad_segs=2)
        parts = polygons(shapely.difference(self.left, self.second))
        of = label(parts)
        marks: list[tuple[Shapes, bool, int]] = []
        for whose in np.unique(of).tolist():
            # a part is its own even where another of the same piece lies next to it
            for part in parts[of == whose].tolist():
                edge = shapely.intersection(part, rim)
                marks.append((inner_points(shapely.difference(edge, near_second)), True, whose))
                moving = shapely.difference(shapely.intersection(part, deep), near_first)
                marks.append((_thick(moving, rim), False, whose))
        places = [shapely.get_coordinates(points) for points, _, _ in marks]
        self.marks = np.concatenate([self.marks, *places])
        counts = [len(points) for points, _, _ in marks]
        self.still = np.repeat([stays for _, stays, _ in marks], counts).astype(bool)
        self.of = np.repeat([whose for _, _, whose in marks], counts).astype(np.int64)

    def shifted(self, by: Pair) -> FloatArray:
        """The marks under a misalignment."""
        return self.marks + np.where(self.still[:, None], 0.0, np.array(by))


@dataclass(frozen=True, slots=True)
class _CloseSides:
    """The parts of copper, and by two sides which parts of them are nearer than a gap."""

    parts: Shapes
    close: Mapping[tuple[int, int], Sequence[tuple[int, int]]]

    def nearer(self, sides: tuple[int, int], gap: float) -> tuple[Shapes, Shapes]:
        """The copper of each of two sides that is nearer than a gap to the other, and a little."""
        first, second = self.parts[np.transpose(self.close[sides])]
        return (
            shapely.intersection(first, dilated(second, gap)),
            shapely.intersection(second, dilated(first, gap)),
        )


class IsolationTest:
    """The foot of the copper, where sides must stay isolated."""

    def __init__(self, around: Surroundings, gap: float) -> None:
        self.around = around
        self.gap = gap
        # A gap that is not there with no misalignment is lost to none.
        self.narrow: set[tuple[int, int]] = set()
        if gap > 0 and not around.empty:
            here = self._still((0.0, 0.0), (0.0, 0.0), 0.0)
            self.narrow = set(here.close) if here else set()

    @property
    def seen(self) -> bool:
        """Whether there are two sides to keep isolated."""
        return len(np.unique(self.around.of)) > 1

    def holds(self, middle: Pair, near: Pair, reach: float) -> bool:
        """Whether all sides stay isolated, and by the gap, for every misalignment of a square."""
        still = self._still(middle, near, reach)
        if still is None:
            return False
        doubtful = still.close.keys() - self.narrow
        if not doubtful:
            return True
        moving = self._moving(middle, near, reach)
        return moving is not None and not any(
            self._both(still, moving, sides, reach) for sides in doubtful & moving.close.keys()
        )

    @lru_cache(maxsize=32)  # noqa: B019 - lives as long as the place, which is short
    def _worn(self, by: float) -> shapely.Geometry:
        return eroded(self.around.second, by)

    @lru_cache(maxsize=32)  # noqa: B019
    def _left(self, by: float) -> shapely.Geometry:
        return dilated(self.around.left, by)

    def _still(self, middle: Pair, near: Pair, reach: float) -> _CloseSides | None:
        """All copper that a square's misalignments leave, as seen from the passes that stay."""
        groove = shift(self._worn(reach), middle)
        copper = shapely.difference(self.around.left, groove)
        return self._sides(copper, self.around.shifted(near))

    def _moving(self, middle: Pair, near: Pair, reach: float) -> _CloseSides | None:
        """The same as seen from the pass that moves, where the middle of the square has it."""
        groove = shift(self.around.second, middle)
        copper = shapely.difference(self._left(reach), groove)
        return self._sides(copper, self.around.shifted(near) + np.subtract(middle, near))

    def _sides(self, copper: shapely.Geometry, spots: FloatArray) -> _CloseSides | None:
        """The sides that may come nearer than the gap; None when some are joined."""
        parts = polygons(copper)
        on = shapely.intersects_xy(parts[:, None], spots[:, 0], spots[:, 1])
        whose = np.where(on, self.around.of, NOBODY).max(axis=1, initial=NOBODY)
        if (on & (self.around.of != whose[:, None])).any():
            return None
        if self.gap <= 0:
            return _CloseSides(parts, {})
        parts, whose = parts[order := np.argsort(whose)], whose[order]
        first, second = np.triu_indices(len(parts), 1)
        different = (whose[first] != whose[second]) & (whose[first] > NOBODY)
        first, second = first[different], second[different]
        shapely.prepare(parts)
        close = shapely.dwithin(parts[first], parts[second], self.gap)
        pairs: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for i, j in zip(first[close].tolist(), second[close].tolist(), strict=True):
            pairs.setdefault((int(whose[i]), int(whose[j])), []).append((i, j))
        return _CloseSides(parts, pairs)

    def _both(
        self, still: _CloseSides, moving: _CloseSides, sides: tuple[int, int], reach: float
    ) -> bool:
        """Whether two sides are nearer than the gap in one place, both ways seen.

        What a misalignment leaves lies within `reach` of itself as seen the other way.
        """
        first, second = (
            shapely.intersection(shapely.union_all(here), dilated(shapely.union_all(there), reach))
            for here, there in zip(
                still.nearer(sides, self.gap), moving.nearer(sides, self.gap), strict=True
            )
        )
        return bool(shapely.dwithin(first, second, self.gap))


class ContinuityTest:
    """The surface of the copper, where pieces must stay in one part."""

    def __init__(self, around: Surroundings) -> None:
        self.around = around
        if around.empty:
            return
        own = around.of > FLOATING
        around.marks, around.still, around.of = around.marks[own], around.still[own], around.of[own]
        around.left = polygons_of(around.left)
        self.together = self._together((0.0, 0.0), 0.0)

    @lru_cache(maxsize=32)  # noqa: B019
    def _grown(self, by: float) -> shapely.Geometry:
        return dilated(self.around.second, by + INSCRIBED)

    def _together(self, middle: Pair, reach: float) -> Mask:
        """Which marks hang together, as a square table.

        A mark that moves is anywhere in the square. Where it is off the groove at the middle of
        the square, it is farther from it than the reach, and so is all the way to where it is.
        """
        groove = shift(self._grown(reach), middle)
        parts = polygons(shapely.difference(self.around.left, groove))
        spots = self.around.shifted(middle)
        on = shapely.intersects_xy(parts[:, None], spots[:, 0], spots[:, 1])
        counted = on.astype(int)
        together: Mask = counted.T @ counted > 0
        return together

    @property
    def seen(self) -> bool:
        """Whether there is copper that must hang together."""
        return not self.around.empty and bool(self.together.any())

    def holds(self, middle: Pair, near: Pair, reach: float) -> bool:  # noqa: ARG002
        """Whether all that hung together still does, for every misalignment of a square."""
        return bool(self._together(middle, reach)[self.together].all())


def polygons(shape: shapely.Geometry) -> Shapes:
    """The areas of a geometry."""
    parts = np.asarray(shapely.get_parts(shape), dtype=object)
    areas: Shapes = parts[(shapely.get_dimensions(parts) == 2) & ~shapely.is_empty(parts)]
    return areas


def polygons_of(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """The areas of a geometry as one."""
    return shapely.MultiPolygon(polygons(shape).tolist())


def _thick(shape: shapely.Geometry, rim: shapely.Geometry) -> Shapes:
    """A point in the thick of each part of a shape that leads through a rim.

    What moves as one needs one mark, and its thick is not only within the rim: a rim that grazes
    copper would mark a sliver, and a mark so near to its groove asks for squares as small.
    """
    parts = polygons(shape)
    within = shapely.area(shapely.intersection(parts, rim))
    return inner_points(shapely.MultiPolygon(parts[within > CRUMB].tolist()))


def inner_points(shape: shapely.Geometry) -> Shapes:
    """A point in the thick of each part of a shape: the middle of its largest disc, about."""
    parts = polygons(shape)
    parts = parts[shapely.area(parts) > CRUMB]
    if not len(parts):
        return np.array([], dtype=object)
    lines = shapely.maximum_inscribed_circle(parts, tolerance=0.02)
    points: Shapes = np.asarray(shapely.get_point(lines, 0))
    return points
