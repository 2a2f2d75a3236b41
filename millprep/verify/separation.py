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

Many misalignments are tested at once, each with all around it: most of the time went into calls.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.verify.sweep import Shapes

RIM = 0.15
"""Marks are within so much of the place's edge, mm."""
DEEP = 2 * RIM
"""So far from the place marks that move may be, mm."""
INSCRIBED = 3e-4
"""A polygon of the sweep lies at most this far inside the round groove, mm: grooves that must
not be too narrow are grown by it."""
THICK = 0.04
"""A mark is as far from the edge of what it marks, mm, or in the middle of the largest disc."""
CRUMB = 1e-6
"""Crumbs of copper on an edge of the sweep, mm², bear no mark."""
ROUGH = 1 / math.cos(math.pi / 32)
"""A polygon of 32 corners holds a disc where it is larger by this factor. With 8 corners a sliver
was left next to a groove, and its mark required 69 341 squares instead of 1 153."""
_SEGMENTS = 16
Mask = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Labels = Callable[[Shapes], IntArray]
"""Which piece each part of the copper belongs to; 0 for floating copper."""
FLOATING = 0
NOBODY = -1


def eroded(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    """A shape worn by no less than `by`: the polygon of a disc lies inside the round one."""
    return shapely.buffer(shape, -by / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)


def dilated(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    """A shape grown by no less than `by`."""
    return shapely.buffer(shape, by / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)


def shifted(shapes: Sequence[shapely.Geometry], by: FloatArray) -> Shapes:
    """Shapes, each shifted by its row."""
    far = np.repeat(by, shapely.get_num_coordinates(shapes), axis=0)
    return np.asarray(shapely.transform(np.array(shapes, dtype=object), lambda xy: xy + far))


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
        near_first, near_second = shapely.buffer([first, self.second], ROUGH * most, quad_segs=8)
        zone = shapely.intersection_all([near_first, near_second, around])
        self.empty = shapely.get_dimensions(zone) < 2 or shapely.is_empty(zone)
        self.marks: FloatArray = np.zeros((0, 2))
        self.still: Mask = np.zeros(0, dtype=bool)
        self.of = np.zeros(0, dtype=np.int64)
        if self.empty:
            return
        self.left = shapely.difference(zone.buffer(most + DEEP, quad_segs=2), first)
        parts, _ = areas(shapely.difference([self.left], self.second))
        of = label(parts)
        if not (of > FLOATING).any():
            # floating copper alone: of that nothing is kept apart or together
            return
        rim = shapely.difference(zone.buffer(RIM, quad_segs=2), zone)
        deep = zone.buffer(DEEP, quad_segs=2)
        stay, of_part = areas(shapely.intersection(parts, shapely.difference(rim, near_second)))
        move, of_mover = areas(shapely.intersection(parts, shapely.difference(deep, near_first)))
        # What moves as one needs one mark, in its thick, which is not only within the rim: a rim
        # that grazes copper would mark a sliver, and a mark so near to its groove asks for squares
        # as small.
        leads = shapely.area(shapely.intersection(move, rim)) > CRUMB
        thick = shapely.area(stay) > CRUMB
        marked = np.concatenate((stay[thick], move[leads]))
        self.marks = deep_points(marked)
        self.still = np.arange(len(marked)) < np.count_nonzero(thick)
        self.of = of[np.concatenate((of_part[thick], of_mover[leads]))]

    def shifted(self, by: FloatArray) -> FloatArray:
        """(n, marks, 2) the marks under each of n misalignments."""
        return self.marks + np.where(self.still[:, None], 0.0, by[:, None])


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
            none = np.zeros((1, 2))
            parts, _, whose, joined = self._still(none, none, np.zeros(1))
            self.narrow = set() if joined.any() else set(self._close(parts, whose).close)

    @property
    def seen(self) -> bool:
        """Whether there are two sides to keep isolated."""
        return len(np.unique(self.around.of)) > 1

    def holds(self, middle: FloatArray, near: FloatArray, reach: FloatArray) -> Mask:
        """Which squares of misalignments leave all sides isolated, and by the gap."""
        parts, square, whose, joined = self._still(middle, near, reach)
        held: Mask = np.bincount(square[joined], minlength=len(reach)) == 0
        if self.gap > 0:
            for i in np.flatnonzero(held).tolist():
                still = self._close(parts[square == i], whose[square == i])
                held[i] = self._keeps(still, middle[[i]], near[[i]], float(reach[i]))
        return held

    def _keeps(
        self, still: _CloseSides, middle: FloatArray, near: FloatArray, reach: float
    ) -> bool:
        """Whether all sides keep the gap for every misalignment of a square."""
        doubtful = still.close.keys() - self.narrow
        if not doubtful:
            return True
        # seen from the pass that moves, where the middle of the square has it
        copper = shapely.difference(self._left(reach), shifted([self.around.second], middle))
        spots = self.around.shifted(near) + np.subtract(middle, near)
        parts, _, whose, joined = self._sides(copper, spots)
        if joined.any():
            return False
        moving = self._close(parts, whose)
        return not any(
            self._both(still, moving, sides, reach) for sides in doubtful & moving.close.keys()
        )

    @lru_cache(maxsize=64)  # noqa: B019 - lives as long as the place, which is short
    def _worn(self, by: float) -> shapely.Geometry:
        return eroded(self.around.second, by)

    @lru_cache(maxsize=32)  # noqa: B019
    def _left(self, by: float) -> shapely.Geometry:
        return dilated(self.around.left, by)

    def _still(
        self, middle: FloatArray, near: FloatArray, reach: FloatArray
    ) -> tuple[Shapes, IntArray, IntArray, Mask]:
        """All copper that misalignments of squares leave, as seen from the passes that stay."""
        grooves = shifted([self._worn(by) for by in reach.tolist()], middle)
        copper = np.asarray(shapely.difference(self.around.left, grooves))
        return self._sides(copper, self.around.shifted(near))

    def _sides(self, copper: Shapes, spots: FloatArray) -> tuple[Shapes, IntArray, IntArray, Mask]:
        """The parts of several coppers: of which each is, whose, and whether it joins two sides.

        Each copper has its row of places of the marks.
        """
        parts, which = areas(copper)
        on = shapely.intersects_xy(parts[:, None], spots[which, :, 0], spots[which, :, 1])
        whose = np.where(on, self.around.of, NOBODY).max(axis=1, initial=NOBODY)
        joined: Mask = (on & (self.around.of != whose[:, None])).any(axis=1)
        return parts, which, whose, joined

    def _close(self, parts: Shapes, whose: IntArray) -> _CloseSides:
        """The sides that may come nearer than the gap."""
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
        around.left = shapely.MultiPolygon(areas([around.left])[0].tolist())
        (self.together,) = self._together(np.zeros((1, 2)), np.zeros(1))

    @lru_cache(maxsize=32)  # noqa: B019
    def _grown(self, by: float) -> shapely.Geometry:
        return dilated(self.around.second, by + INSCRIBED)

    def _together(self, middle: FloatArray, reach: FloatArray) -> Mask:
        """Which marks hang together in each square of misalignments, as a square table.

        A mark that moves is anywhere in the square. Where it is off the groove at the middle of
        the square, it is farther from it than the reach, and so is all the way to where it is.
        """
        grooves = shifted([self._grown(by) for by in reach.tolist()], middle)
        parts, which = areas(shapely.difference(self.around.left, grooves))
        spots = self.around.shifted(middle)[which]
        on = shapely.intersects_xy(parts[:, None], spots[..., 0], spots[..., 1])
        marks = len(self.around.marks)
        together: Mask = np.zeros((len(reach), marks, marks), dtype=bool)
        np.logical_or.at(together, which, on[:, :, None] & on[:, None])
        return together

    @property
    def seen(self) -> bool:
        """Whether there is copper that must hang together."""
        return not self.around.empty and bool(self.together.any())

    def holds(self, middle: FloatArray, near: FloatArray, reach: FloatArray) -> Mask:  # noqa: ARG002
        """Which squares of misalignments leave all together that was."""
        return np.asarray(self._together(middle, reach)[:, self.together].all(axis=1))


def deep_points(shapes: Shapes) -> FloatArray:
    """(n, 2) a place in the thick of each area.

    The middle of the largest disc takes long to find, so one is only looked for where the first
    place at hand is close to the edge.
    """
    points = np.asarray(shapely.point_on_surface(shapes))
    close = shapely.distance(points, shapely.boundary(shapes)) < THICK
    discs = shapely.maximum_inscribed_circle(shapes[close], tolerance=THICK / 2)
    points[close] = shapely.get_point(discs, 0)
    return shapely.get_coordinates(points)


def areas(shapes: Shapes | list[shapely.Geometry]) -> tuple[Shapes, IntArray]:
    """The areas of geometries, and which geometry each is of."""
    parts, which = shapely.get_parts(shapes, return_index=True)
    real = (shapely.get_dimensions(parts) == 2) & ~shapely.is_empty(parts)
    return parts[real], which[real]
