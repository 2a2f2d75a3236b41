"""The order of cuts, so that the cutter travels little between them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.cache import cached
from millprep.geometry import tour
from millprep.geometry.path import FloatArray, Path, Point
from millprep.geometry.pose import Pose

DIGITS = 3
"""Distances are compared to this many decimals, mm."""
ROUNDS = 5
"""Ways are sought so many times at most."""
ENTRIES = 24
"""A closed path may be entered at about this many of its vertices."""


@cached
def paths(candidates: Sequence[Path], start: Point) -> list[tuple[int, int]]:
    """(index, vertex to enter at) of every path in visiting order.

    Open paths keep their direction, since it decides on which side the cutter pulls. Closed ones
    may be entered at any vertex. The first order is always on to the nearest, each path with the
    entry that suits it best; then short ways through the places that the last order enters at, as
    long as they get shorter.
    """
    if not candidates:
        return []
    frame = _frame(candidates[0])
    here = frame.point(start)
    loops = [_Loop.of(path.transformed(frame), here) for path in candidates]
    last = _nearest_next(loops)
    visits, length = _entered([k for k, _ in last], loops)
    for _ in range(ROUNDS if len(loops) > 2 else 0):
        at = {k: loops[k].enter[n] for k, n in last}
        places = [(float(at[k][0]), float(at[k][1])) for k in range(len(loops))]
        last, shorter = _entered(tour.way(places, (0.0, 0.0)), loops)
        if shorter >= length - 10.0**-DIGITS:
            break
        visits, length = last, shorter
    return [(k, int(loops[k].vertices[n])) for k, n in visits]


@cached
def round_trip(places: Sequence[Point], start: Point) -> list[int]:
    """Indices of the places in the order of a short way from a start to all of them and back."""
    order = tour.way(places, start)
    if len(places) < 3:
        return order
    closed = tour.closed_tour([*places, start], math.ceil(tour.KICKS * len(places)))
    k = closed.index(len(places))
    around = [*closed[k + 1 :], *closed[:k]]

    def length(some: Sequence[int]) -> float:
        way = [start, *(places[n] for n in some), start]
        return sum(math.dist(a, b) for a, b in itertools.pairwise(way))

    return min(order, around, key=lambda some: round(length(some), DIGITS))


def _frame(first: Path) -> Pose:
    """A frame that lies with the first path: a board is cut the same way wherever it lies."""
    (x0, y0), (x1, y1) = first.mean_point, first.start
    back = Pose.turn(-math.degrees(math.atan2(y1 - y0, x1 - x0)))
    return Pose.shift(-x0, -y0).then(back)


@dataclass(frozen=True, slots=True)
class _Loop:
    """Where a path may be entered and where it is left then, seen from the start, (n, 2) each."""

    vertices: np.ndarray[tuple[int], np.dtype[np.intp]]
    enter: FloatArray
    leave: FloatArray

    @classmethod
    def of(cls, path: Path, start: Point) -> _Loop:
        vertices = np.arange(0, len(path) if path.closed else 1, max(1, len(path) // ENTRIES))
        enter = np.round(path.xy[vertices] - np.array(start), DIGITS)
        leave = enter if path.closed else np.round(path.xy[-1:] - np.array(start), DIGITS)
        return cls(vertices, enter, leave)


def _nearest_next(loops: Sequence[_Loop]) -> list[tuple[int, int]]:
    """(index, entry) from the start always on to the nearest path that is left."""
    xy = np.vstack([loop.enter for loop in loops])
    counts = [len(loop.enter) for loop in loops]
    owner = np.repeat(np.arange(len(loops)), counts)
    first = np.concatenate(([0], np.cumsum(counts)))
    left = np.ones(len(xy), dtype=bool)
    here = np.zeros(2)
    visits: list[tuple[int, int]] = []
    for _ in loops:
        away = np.where(left, np.hypot(*(xy - here).T), np.inf)
        # of places as near the first listed, whatever rounding says
        n = int(np.argmin(np.round(away, DIGITS)))
        k = int(owner[n])
        entry = n - int(first[k])
        visits.append((k, entry))
        left[first[k] : first[k + 1]] = False
        here = loops[k].leave[entry if len(loops[k].leave) > 1 else 0]
    return visits


def _entered(order: Sequence[int], loops: Sequence[_Loop]) -> tuple[list[tuple[int, int]], float]:
    """The entries that make an order of paths shortest, by dynamic programming; its length, mm."""
    here, cost = np.zeros((1, 2)), np.zeros(1)
    came: list[np.ndarray[tuple[int], np.dtype[np.intp]]] = []
    for k in order:
        enter = loops[k].enter
        ways = cost[:, None] + np.hypot(
            here[:, None, 0] - enter[None, :, 0], here[:, None, 1] - enter[None, :, 1]
        )
        before = np.argmin(np.round(ways, DIGITS), axis=0)
        came.append(before)
        cost, here = ways[before, np.arange(len(enter))], loops[k].leave
    last = int(np.argmin(np.round(cost, DIGITS)))
    length, n = float(cost[last]), last
    visits: list[tuple[int, int]] = []
    for k, before in zip(reversed(order), reversed(came), strict=True):
        visits.append((k, n))
        n = int(before[n])
    return visits[::-1], length
