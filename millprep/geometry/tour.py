"""Short ways through places: Lin-Kernighan moves, and kicks out of what they get stuck in.

S. Lin, B. W. Kernighan: An effective heuristic algorithm for the traveling-salesman problem, 1973;
neighbour lists and local kicks after D. S. Johnson, L. A. McGeoch: The traveling salesman problem,
a case study in local optimization, 1997 (both from memory).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from random import Random

import numpy as np

from millprep.geometry.path import ComplexArray, FloatArray, Point, in_plane

NEAREST = 10
"""So many neighbours of a place may come next to it."""
DEEPEST = 8
"""Edges exchanged in one move at most."""
KICK = 50
"""A kick exchanges two stretches of at most this many places."""
GAIN = 1e-7
"""Shorter by less is no gain, mm."""
KICKS = 0.15
"""Kicks for every place of a way: what more of them gain is not worth the wait."""
Exchange = tuple[int, int, int]
"""Two places whose edge goes, and how many places before them are turned around."""


def way(
    places: Sequence[Point], start: Point, order: Sequence[int] = (), kicks: float = KICKS
) -> list[int]:
    """Indices of the places in the order of a short way from a fixed start; it may end anywhere.

    It is sought from an `order` of all places on, or else from always on to the nearest, with so
    many `kicks` for every place.
    """
    if len(places) < 2:
        return list(range(len(places)))
    begun = [len(places), *order] if order else order
    tour = _Tour([*places, start], begun, ends=True)
    tour.improve(math.ceil(kicks * len(places)))
    return tour.way()


def closed_tour(places: Sequence[Point], kicks: int, order: Sequence[int] = ()) -> list[int]:
    """Indices of four places or more in the order of a short closed tour.

    It is no longer than a given `order` of all places.
    """
    tour = _Tour(places, order, ends=False)
    tour.improve(kicks)
    return tour.order


class _Gap(complex):
    """Where a tour is cut open: no place is any way from it."""

    def __sub__(self, other: complex) -> complex:
        return 0j

    __rsub__ = __sub__


class _Tour:
    """A closed tour.

    One with ends holds the start of a way as its last place but one, and as its last a gap that is
    near every place. The edge between these two is fixed.
    """

    def __init__(self, places: Sequence[Point], order: Sequence[int], *, ends: bool) -> None:
        points = np.array(places, dtype=float)
        count = len(points)
        self.gap = count if ends else -1
        self.start = count - 1 if ends else -1
        xy = in_plane(points)
        self.xy: list[complex] = xy.tolist()
        self.near = _nearest(xy)
        self.order = list(order) or _nearest_next(points, self.near, max(self.start, 0))
        self.fixed: set[tuple[int, int]] = set()
        if ends:
            self.near = [
                row if i == self.start else [(0.0, self.gap), *row]
                for i, row in enumerate(self.near)
            ]
            self.near.append([])
            self.order.append(self.gap)
            self.xy.append(_Gap())
            self.fixed = {(self.gap, self.start), (self.start, self.gap)}
        self.at = [0] * len(self.order)
        for k, place in enumerate(self.order):
            self.at[place] = k
        self.flips: list[tuple[int, int]] = []

    def way(self) -> list[int]:
        """The places from the start on, without start and gap."""
        n, k = len(self.order), self.at[self.start]
        forward = [*self.order[k + 1 :], *self.order[:k]]
        if self.order[(k + 1) % n] == self.gap:
            forward.reverse()
        return [i for i in forward if i != self.gap]

    def improve(self, kicks: int) -> None:
        """Lin-Kernighan moves from every place, then kicks; the same every time."""
        self._settle(deque(self.order))
        self.flips.clear()
        random, n = Random(1), len(self.order)
        if n < 8:
            return
        for _ in range(kicks):
            ends, longer = self._kick(random)
            gain = self._settle(deque(ends)) - longer
            if gain < -GAIN:
                for i, j in reversed(self.flips):
                    self._reverse(i, j)
            self.flips.clear()

    def _kick(self, random: Random) -> tuple[list[int], float]:
        """Exchange two neighbouring stretches; the ends of the new edges, and what they cost."""
        n, order = len(self.order), self.order
        most = min(KICK, (n - 2) // 4)
        first, second = random.randint(1, most), random.randint(1, most)
        k = random.randrange(n)
        a, b = order[k], order[(k + 1) % n]
        c, d = order[(k + first) % n], order[(k + first + 1) % n]
        e, f = order[(k + first + second) % n], order[(k + first + second + 1) % n]
        if not self.fixed.isdisjoint([(a, b), (c, d), (e, f)]):
            return [], 0.0
        # reversed as a whole and each by itself, two stretches change places
        self._flip(k + 1, k + first + second)
        self._flip(k + 1, k + second)
        self._flip(k + second + 1, k + first + second)
        xy = self.xy
        before = abs(xy[a] - xy[b]) + abs(xy[c] - xy[d]) + abs(xy[e] - xy[f])
        after = abs(xy[a] - xy[d]) + abs(xy[e] - xy[b]) + abs(xy[c] - xy[f])
        return [a, b, c, d, e, f], after - before

    def _settle(self, waiting: deque[int]) -> float:
        """Moves from the waiting places until none shortens the tour; by how much it is shorter."""
        queued = set(waiting)
        gained = 0.0
        while waiting:
            i = waiting.popleft()
            queued.discard(i)
            for step in (1, -1):
                gain, exchanges = self._move(i, step)
                if not exchanges:
                    continue
                gained += gain
                touched = [i, self.order[(self.at[i] + step) % len(self.order)]]
                self._exchange(i, step, exchanges)
                for other, end, _ in exchanges:
                    touched += (other, end)
                for j in touched:
                    if j not in queued:
                        queued.add(j)
                        waiting.append(j)
                break
        return gained

    def _move(self, base: int, step: int) -> tuple[float, list[Exchange]]:
        """The best chain of exchanged edges that begins with the one after (or before) a place.

        Each exchange turns places around, counted from the one next to the base. Nothing is turned
        yet: where a place would be then follows from the counts.
        """
        order, at, xy, n = self.order, self.at, self.xy, len(self.order)
        origin = at[base]
        # an index below 0 counts from the end
        zero = origin - n if step == 1 else origin
        free = order[zero + step]
        if (base, free) in self.fixed:
            return 0.0, []
        removed = abs(xy[base] - xy[free])
        best, kept = GAIN, list[Exchange]()
        chain, turned = list[Exchange](), list[int]()
        used = set(self.fixed)
        while len(chain) < DEEPEST:
            most = 0.0
            for away, other in self.near[free]:
                gain = removed - away
                if gain <= GAIN:
                    break
                if other == base:
                    continue
                k = (at[other] - origin) * step % n
                for count in turned:
                    if k <= count:
                        k = count + 1 - k
                # the edge to the next place is there already
                if k == 2:
                    continue
                k -= 1
                here = k
                for count in reversed(turned):
                    if here <= count:
                        here = count + 1 - here
                end = order[zero + step * here]
                if (end, other) in used:
                    continue
                value = gain + abs(xy[end] - xy[other])
                closed = value - abs(xy[base] - xy[end])
                if closed > best:
                    best, kept = closed, [*chain, (other, end, k)]
                if value > most:
                    choice, most = (other, end, k), value
            if not most:
                break
            chain.append(choice)
            turned.append(choice[2])
            used |= {(free, choice[0]), (choice[0], free)}
            removed, free = most, choice[1]
        return best, kept

    def _exchange(self, base: int, step: int, exchanges: Sequence[Exchange]) -> None:
        """Carry out a chain of exchanges that begins at a place."""
        n = len(self.order)
        for _, end, count in exchanges:
            k = self.at[base]
            self._flip(*(k + step, k + step * count)[::step])
            # where all the rest was turned around the tour runs the other way
            if self.order[(self.at[base] + step) % n] != end:
                step = -step

    def _flip(self, i: int, j: int) -> None:
        self.flips.append((i, j))
        self._reverse(i, j)

    def _reverse(self, i: int, j: int) -> None:
        """Turn the stretch from a position to another around, or all the rest: the same tour."""
        n, order, at = len(self.order), self.order, self.at
        i, j = i % n, j % n
        count = (j - i) % n + 1
        if 2 * count > n:
            i, j, count = (j + 1) % n, (i - 1) % n, n - count
        if i + count <= n:
            turned = order[i : i + count][::-1]
            order[i : i + count] = turned
            for k, place in enumerate(turned, i):
                at[place] = k
            return
        for _ in range(count // 2):
            order[i], order[j] = order[j], order[i]
            at[order[i]], at[order[j]] = i, j
            i, j = (i + 1) % n, (j - 1) % n


def _nearest(places: ComplexArray) -> list[list[tuple[float, int]]]:
    """The nearest others of every place and how far they are, the nearest first."""
    count = min(NEAREST, len(places) - 1)
    rows: list[list[tuple[float, int]]] = []
    for some in np.array_split(np.arange(len(places)), len(places) ** 2 // 1_000_000 + 1):
        away = np.abs(places[some, None] - places)
        away[np.arange(len(some)), some] = np.inf
        near = np.argpartition(away, count - 1)[:, :count]
        far = np.take_along_axis(away, near, axis=1)
        both = zip(far.tolist(), near.tolist(), strict=True)
        rows += [sorted(zip(*row, strict=True)) for row in both]
    return rows


def _nearest_next(
    points: FloatArray, near: Sequence[Sequence[tuple[float, int]]], start: int
) -> list[int]:
    """From a place always on to the nearest that is left; the start is that place."""
    left = np.ones(len(points), dtype=bool)
    order = [start]
    while len(order) < len(points):
        here = order[-1]
        left[here] = False
        following = next((m for _, m in near[here] if left[m]), None)
        if following is None:
            away = np.where(left, ((points - points[here]) ** 2).sum(axis=1), np.inf)
            following = int(np.argmin(away))
        order.append(following)
    return order
