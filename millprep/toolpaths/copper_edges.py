"""Samples of the edges of copper, each with the widest groove that fits there.

That is the largest disc that touches the edge at the sample and reaches no other copper. Lengths of
laps follow from sums over samples, without a path being made.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.geometry.path import ComplexArray, FloatArray, in_plane
from millprep.model.board import Board
from millprep.toolpaths.isolation import GOUGE

Numbers = NDArray[np.int_]
Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]

SAMPLE = 0.8
"""Distance of samples along the edges of copper, mm."""
SHARP = 0.3
"""An edge that turns away from its copper's outside by more than this has a corner, radians; the
vertices of an arc turn by less."""
NEIGHBOUR = 0.1
"""Distance of the places on other copper that samples are compared with, mm."""
MOST_AT_ONCE = 1000
"""Samples that are compared at once, each with some thirty places: more leave the cache."""


class CopperEdges:
    """Samples of the edges of all copper that is isolated.

    Attributes:
        weights: length of edge that each sample counts for, mm, all copies counted.
        turns: angle by which the edge turns there, radians; convex is positive.
        radii: of the largest disc that touches the edge there from outside and reaches no other
            copper, mm, up to the largest one needed.
        own: whether it is the same piece that the disc meets.
        pieces: how many are isolated.
        corners: per mm of edge, how many there are into which a lap turns sharply.
        narrowest: the narrowest gap between two pieces, mm; infinite where none is narrower than
            twice the largest disc.
    """

    def __init__(self, boards: Sequence[tuple[Board, int]], largest: float) -> None:
        made = [(_edges(board, largest), count) for board, count in boards]
        self.weights = np.concatenate([e.weights * count for e, count in made])
        self.turns = np.concatenate([e.turns * count for e, count in made])
        self.radii = np.concatenate([e.radii for e, _ in made])
        self.own = np.concatenate([e.own for e, _ in made])
        # a disc between two pieces is no smaller than half their gap
        free = float(self.radii[~self.own].min(initial=largest))
        self.narrowest = min((_narrowest(b, 2 * free + GOUGE) for b, _ in boards), default=math.inf)
        self.pieces = sum(len(board.pieces) * count for board, count in boards)
        sharp = sum(e.corners * count for e, count in made)
        self.corners = sharp / float(self.weights.sum())
        # a stretch of narrow places begins where the sample before it is no narrow place
        radii = [np.where(e.own, math.inf, e.radii) for e, _ in made]
        before = [
            np.maximum(r, np.where(e.first, math.inf, np.roll(r, 1)))
            for r, (e, _) in zip(radii, made, strict=True)
        ]
        self._narrow = [
            (np.sort(here), np.sort(both), count)
            for here, both, (_, count) in zip(radii, before, made, strict=True)
        ]

    def stretches(self, radius: float) -> int:
        """How many stretches of edge there are where a disc does not fit next to other copper."""
        return sum(
            count * int(np.searchsorted(here, radius) - np.searchsorted(both, radius))
            for here, both, count in self._narrow
        )

    @cached_property
    def _others(self) -> _Totals:
        return _Totals(self, ~self.own)

    @cached_property
    def _self(self) -> _Totals:
        return _Totals(self, self.own)

    def lap(self, distance: float, zone: float, within: float = math.inf) -> float:
        """Length of a lap at a distance from the copper, mm.

        Args:
            distance: of its axis from the edge.
            zone: twice the radius that must be free of other copper at the edge.
            within: only where a disc of this radius does not fit next to other copper.
        """
        if within == math.inf:
            whole = float(self.weights.sum() + distance * self.turns.sum())
            near = self._others.length(zone / 2, distance) + self._self.length(distance, distance)
            return max(whole - near, 0.0)
        free = self._others.length(within, distance) - self._others.length(zone / 2, distance)
        return max(free, 0.0)


class _Totals:
    """Cumulative lengths and turns of samples by the radius of their disc."""

    def __init__(self, edges: CopperEdges, chosen: Flags) -> None:
        order = np.argsort(edges.radii[chosen], kind="stable")
        self.radii = edges.radii[chosen][order]
        self.weights = np.concatenate(([0.0], np.cumsum(edges.weights[chosen][order])))
        self.turns = np.concatenate(([0.0], np.cumsum(edges.turns[chosen][order])))

    def length(self, radius: float, distance: float) -> float:
        """Length of a parallel curve at a distance from edges with smaller discs, mm."""
        n = int(np.searchsorted(self.radii, radius))
        return max(float(self.weights[n] + distance * self.turns[n]), 0.0)


@dataclass(frozen=True, slots=True)
class _BoardEdges:
    weights: FloatArray
    turns: FloatArray
    radii: FloatArray
    own: Flags
    first: Flags
    corners: int


@cached
def _edges(board: Board, largest: float) -> _BoardEdges:
    """The samples of one copy of a board."""
    areas = shapely.orient_polygons([piece.shape for piece in board.pieces])
    # boundaries have their copper on the left
    rings, owners = shapely.get_rings(areas, return_index=True)
    places, of_ring = shapely.get_coordinates(
        shapely.segmentize(rings, NEIGHBOUR), return_index=True
    )
    xy, ring = shapely.get_coordinates(shapely.segmentize(rings, SAMPLE), return_index=True)
    step = np.diff(xy, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    kept = (ring[1:] == ring[:-1]) & (length > 0)
    xy, ring, step, length = xy[:-1][kept], ring[:-1][kept], step[kept], length[kept]
    first = np.diff(ring, prepend=-1) > 0
    starts = np.flatnonzero(first)
    # the last sample of a ring comes before its first
    before = np.arange(-1, len(ring) - 1)
    before[starts] = np.append(starts[1:], len(ring)) - 1
    heading = np.arctan2(step[:, 1], step[:, 0])
    # by how much the edge turns where each sample begins, and where it ends
    turn = np.remainder(heading - heading[before] + np.pi, 2 * np.pi) - np.pi
    turn_after = np.empty_like(turn)
    turn_after[before] = turn
    radii, own = _free_radii(
        xy + step / 2,
        np.column_stack((step[:, 1], -step[:, 0])) / length[:, None],
        owners[ring],
        (places, owners[of_ring]),
        largest,
    )
    # around any other corner a lap is an arc
    corners = int((turn < -SHARP).sum())
    return _BoardEdges(length, (turn + turn_after) / 2, radii, own, first, corners)


@cached
def _narrowest(board: Board, within: float) -> float:
    """The narrowest gap between two pieces, mm; infinite where none is within a distance."""
    shapes = np.array([piece.shape for piece in board.pieces], dtype=object)
    pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=within)
    i, j = pairs[:, pairs[0] < pairs[1]]
    shapely.prepare(shapes)
    return float(shapely.distance(shapes[i], shapes[j]).min(initial=math.inf))


def _free_radii(
    at: FloatArray,
    normals: FloatArray,
    pieces: Numbers,
    others: tuple[FloatArray, Numbers],
    largest: float,
) -> tuple[FloatArray, Flags]:
    """Radius of the largest free disc that touches the edge at each sample, and who limits it.

    It is free where no place lies deeper in it than half of what may be gouged, t: of a place p,
    seen from the sample, and the normal n, where its radius is (p² - t²) / (2·(p·n - t)) at most.
    """
    squares = _Squares(in_plane(others[0]), largest)
    owners = others[1][squares.order]
    radii = np.full(len(at), largest)
    own = np.zeros(len(at), dtype=bool)
    for some in np.array_split(np.arange(len(at)), len(at) // MOST_AT_ONCE + 1):
        start, normal = in_plane(at[some]), in_plane(normals[some])
        sample, place = squares.around(start + largest * normal)
        reach = squares.places[place] - start[sample]
        ahead = (reach * normal[sample].conj()).real - GOUGE / 2
        square = reach.real**2 + reach.imag**2 - (GOUGE / 2) ** 2
        kept = np.flatnonzero(square < 2 * largest * ahead)
        sample, place, radius = some[sample[kept]], place[kept], square[kept] / (2 * ahead[kept])
        if not len(kept):
            continue
        first = np.flatnonzero(np.diff(sample, prepend=-1))
        radii[sample[first]] = np.minimum.reduceat(radius, first)
        limits = radius == radii[sample]
        own[sample[limits]] = owners[place[limits]] == pieces[sample[limits]]
    return radii, own


class _Squares:
    """Places sorted into squares row by row, so that those near another lie in a few runs.

    Attributes:
        places: as they are sorted.
        order: of the places as they were given.
        reach: from a centre to the places that are sought around it, mm.
        side: of a square, mm.
    """

    def __init__(self, places: ComplexArray, reach: float) -> None:
        self.reach = reach
        self.low = complex(places.real.min(), places.imag.min())
        far = complex(places.real.max(), places.imag.max()) - self.low
        # no more squares than places
        self.side = max(reach / 2, math.sqrt(far.real * far.imag / len(places)))
        x, y = self._of(places)
        self.width, self.height = int(x.max()) + 1, int(y.max()) + 1
        self.order = np.argsort(y * self.width + x, kind="stable")
        self.places = places[self.order]
        count = np.bincount(y * self.width + x, minlength=self.width * self.height)
        self.starts = np.concatenate(([0], np.cumsum(count)))

    def _of(self, places: ComplexArray) -> tuple[Numbers, Numbers]:
        """Column and row of the squares that places lie in."""
        away = (places - self.low) / self.side
        return np.floor(away.real).astype(np.int_), np.floor(away.imag).astype(np.int_)

    def around(self, centres: ComplexArray) -> tuple[Numbers, Numbers]:
        """Every centre with each place within reach of it, and with others; in order of centres.

        Both as numbers, those of places in their sorted order.
        """
        x0, y0 = self._of(centres - self.reach * (1 + 1j))
        x1, y1 = self._of(centres + self.reach * (1 + 1j))
        x0, x1 = np.clip((x0, x1), 0, self.width - 1)
        rows = y0[:, None] + np.arange(int((y1 - y0).max()) + 1)
        rows, outside = np.clip(rows, 0, self.height - 1), (rows < 0) | (rows >= self.height)
        first = self.starts[rows * self.width + x0[:, None]]
        count = self.starts[rows * self.width + x1[:, None] + 1] - first
        count[outside] = 0
        before = np.cumsum(count).reshape(count.shape) - count
        nth = np.arange(count.sum()) + np.repeat(first - before, count.ravel())
        return np.repeat(np.arange(len(centres)), count.sum(axis=1)), nth
