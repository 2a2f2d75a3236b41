"""Which pass cuts which stretch of a lap: the cheapest joins around it.

A lap that fits one window is cut whole. Any other is walked in small steps; at every
step each pass whose window holds the place is a state, staying costs nothing, changing
costs what a join there would cost. The cheapest cyclic walk is found by dynamic
programming (Viterbi), once for every pass the lap may start in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray, Path, Point
from millprep.passes.error_budget import HoleErrors
from millprep.passes.shift import ShiftPlan

STEP = 0.5
"""Joins are tried at steps of this along a lap, mm."""
STRAIGHT = 1.5
"""A join wants this much straight path to either side, mm."""
NEAR_PAD = 1.5
"""A join wants to be this far from the copper around a hole, mm."""


@dataclass(frozen=True, slots=True)
class PlannedJoin:
    """A place on a lap where another pass takes over.

    Attributes:
        distance: along the lap.
        at: the place, blank frame.
        before, after: passes (from 0) that cut what lies before and behind.
        across: unit vector across the lap.
    """

    distance: float
    at: Point
    before: int
    after: int
    across: Point


@dataclass(frozen=True)
class SplitLap:
    """A lap and the passes that cut it; `first` cuts from the start to the first join."""

    path: Path
    first: int
    joins: tuple[PlannedJoin, ...]

    @cached_property
    def line(self) -> shapely.LineString:
        """The path flattened."""
        return self.path.line()

    def pass_at(self, distance: float) -> int:
        """The pass (from 0) that cuts the lap this far along."""
        now = self.first
        for join in self.joins:
            if join.distance <= distance:
                now = join.after
        return now


@dataclass(frozen=True, slots=True)
class JoinCosts:
    """What a join should stay away from.

    Attributes:
        pads: (n, 3) x, y and radius of the copper around holes, the lap's own and others'.
        foreign: the first laps of all pieces, and the piece (as a number) each belongs to.
        own: number of the lap's own piece.
        reach: distance within which a foreign lap counts: joins next to it are crowded.
        hole_errors: how far any two passes miss each other.
    """

    pads: FloatArray
    foreign: tuple[shapely.STRtree, NDArray[np.int_]]
    own: int
    reach: float
    hole_errors: HoleErrors

    def near_pads(self, points: FloatArray) -> FloatArray:
        """1 at a pad's rim or inside, 0 from `NEAR_PAD` away."""
        if not len(self.pads):
            return np.zeros(len(points))
        distances = np.hypot(
            points[:, None, 0] - self.pads[None, :, 0], points[:, None, 1] - self.pads[None, :, 1]
        )
        gap: FloatArray = (distances - self.pads[None, :, 2]).min(axis=1)
        near: FloatArray = np.clip((NEAR_PAD - gap) / NEAR_PAD, 0.0, 1.0)
        return near

    def near_foreign(self, points: FloatArray) -> FloatArray:
        """1 where other copper is within reach, else 0."""
        tree, owner = self.foreign
        hit, line = tree.query(
            np.asarray(shapely.points(points)), predicate="dwithin", distance=self.reach
        )
        hits = np.zeros(len(points))
        hits[np.unique(hit[owner[line] != self.own])] = 1.0
        return hits


def plan(path: Path, shift: ShiftPlan, margin: float, join_costs: JoinCosts) -> SplitLap | None:
    """The cheapest way to split one lap, or None where no pass reaches some place of it.

    Args:
        path: the first lap around a piece, closed or open.
        shift: windows.
        margin: a pass may cut only what lies this far inside its window, so that overruns fit.
        join_costs: what joins stay away from.
    """
    total = path.length
    count = max(8, math.ceil(total / STEP))
    distance = np.linspace(0.0, total, count, endpoint=not path.closed)
    points, turning = _samples(path, distance)
    allowed = _allowed(points, shift, margin)
    if not allowed.any(axis=1).all():
        return None
    whole = np.flatnonzero(allowed.all(axis=0))
    if len(whole):
        middle = points.mean(axis=0)
        centre = [np.array(shift.polygon(int(k)).centroid.coords[0]) for k in whole]
        nearest = min(range(len(whole)), key=lambda n: (math.dist(centre[n], middle), n))
        return SplitLap(path, int(whole[nearest]), ())
    turns = _turns(allowed)
    spots, normals = points[turns], _normals(points, path.closed)[turns]
    cost = (
        1.0
        + 2.0 * np.clip(turning[turns] / 0.2, 0.0, 1.0)
        + 2.0 * join_costs.near_pads(spots)
        + 0.5 * join_costs.near_foreign(spots)
    )
    changes = {
        pair: cost + join_costs.hole_errors.across(*pair, spots, normals) for pair in shift.pairs
    }
    states = _walk(allowed[turns], changes, path.closed)
    states = np.repeat(states, np.diff(turns, append=count))
    joins = []
    for n in range(len(states)):
        before = states[n - 1]
        if (n > 0 or path.closed) and states[n] != before:
            joins.append(_planned_join(path, float(distance[n]), int(before), int(states[n])))
    # a lap that changes at its very start begins in the later pass
    return SplitLap(path, int(states[0]), tuple(sorted(joins, key=lambda c: c.distance)))


def _samples(path: Path, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points along the path, and how much it turns within `STRAIGHT` of each, radians."""
    flat = path.flattened(0.005)
    chords = np.diff(flat, axis=0)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*chords.T))))
    along *= path.length / along[-1]
    points = np.column_stack(
        (np.interp(distance, along, flat[:, 0]), np.interp(distance, along, flat[:, 1]))
    )
    heading = np.arctan2(chords[:, 1], chords[:, 0])
    corner = np.abs((np.diff(heading) + math.pi) % (2 * math.pi) - math.pi)
    where = along[1:-1]
    if path.closed:
        closing = abs((heading[0] - heading[-1] + math.pi) % (2 * math.pi) - math.pi)
        corner = np.concatenate(([closing], corner, [closing]))
        where = np.concatenate(([0.0], where, [path.length]))
        # what turns just before the start is near it as well
        corner = np.concatenate((corner, corner, corner))
        where = np.concatenate((where - path.length, where, where + path.length))
    turned = np.concatenate(([0.0], np.cumsum(corner)))
    low = np.searchsorted(where, distance - STRAIGHT)
    high = np.searchsorted(where, distance + STRAIGHT)
    return points, turned[high] - turned[low]


def _allowed(points: FloatArray, shift: ShiftPlan, margin: float) -> NDArray[np.bool_]:
    """(n, passes) whether a pass reaches a place with the margin to spare."""
    columns = []
    x, y = points[:, 0], points[:, 1]
    for k in range(len(shift.windows)):
        # a margin is for overruns, so only a side that faces another pass has one
        box = shift.inner(k, margin).grown(1e-9)
        columns.append((x >= box.x0) & (x <= box.x1) & (y >= box.y0) & (y <= box.y1))
    return np.column_stack(columns)


def _normals(points: FloatArray, closed: bool) -> FloatArray:
    """(n, 2) unit vectors across the way through the points."""
    if closed:
        run = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    else:
        run = np.gradient(points, axis=0)
    length = np.hypot(*run.T)
    length[length == 0] = 1.0
    normals: FloatArray = np.column_stack((-run[:, 1], run[:, 0])) / length[:, None]
    return normals


def _turns(allowed: NDArray[np.bool_]) -> NDArray[np.int_]:
    """The first sample, and all others that may have another state than the one before."""
    only = np.where(allowed.sum(axis=1) == 1, allowed.argmax(axis=1), -1)
    stays = (only[1:] >= 0) & (only[1:] == only[:-1])
    return np.flatnonzero(np.concatenate(([True], ~stays)))


def _walk(
    allowed: NDArray[np.bool_], changes: Mapping[tuple[int, int], FloatArray], closed: bool
) -> NDArray[np.int_]:
    """The state of every sample on the cheapest walk."""
    n, passes = allowed.shape
    change = np.full((n, passes, passes), np.inf)
    change[:, range(passes), range(passes)] = 0.0
    for (a, b), cost in changes.items():
        change[:, a, b] = change[:, b, a] = cost
    states = [[k for k, may in enumerate(row) if may] for row in allowed.tolist()]
    costs = change.tolist()
    best: tuple[float, list[int]] | None = None
    for start in states[0] if closed else [None]:
        value, track = _viterbi(states, costs, start)
        if best is None or value < best[0] - 1e-12:
            best = (value, track)
    assert best is not None
    return np.array(best[1])


def _viterbi(
    states: Sequence[Sequence[int]], change: Sequence[list[list[float]]], start: int | None
) -> tuple[float, list[int]]:
    """Cost and states of the cheapest walk; with `start`, one that begins and ends there.

    Args:
        states: that every sample may have.
        change: for every sample, what it costs there to change from a state to another.
        start: the first state.
    """
    # few states at a time: arrays would take three times as long
    best = {state: (0.0, state) for state in states[0] if start is None or state == start}
    walk = [best]
    for after, cost in zip(states[1:], change[1:], strict=True):
        before = best
        best = {b: min((value + cost[a][b], a) for a, (value, _) in before.items()) for b in after}
        walk.append(best)
    total, last = min(
        (value + (0.0 if start is None else change[0][state][start]), state)
        for state, (value, _) in best.items()
    )
    track = [last]
    for best in walk[:0:-1]:
        track.append(best[track[-1]][1])
    return total, track[::-1]


def _planned_join(path: Path, distance: float, before: int, after: int) -> PlannedJoin:
    a = path.point_at(max(distance - 0.01, 0.0))
    b = path.point_at(min(distance + 0.01, path.length))
    run = math.hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    across = (-(b[1] - a[1]) / run, (b[0] - a[0]) / run)
    return PlannedJoin(distance, path.point_at(distance), before, after, across)
