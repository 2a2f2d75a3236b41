"""Cutters and depths that isolate all boards of a job in the least time.

The edges of all copper are sampled. Every sample knows the widest groove that fits there: the
largest disc that touches the edge and reaches no other copper. So the time that any choice of
cutters and depths takes follows from sums over samples, and all choices of a grid are compared,
not some of them. The grid: one groove, or a wide one and a narrower one where the wide one does
not fit; of an end mill the least depth that cuts through; of a vee every `DEPTH_STEP` from there
to the deepest that its tip bears, and the least depth for every number of laps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from scipy.spatial import cKDTree

from millprep.geometry.offset import boundaries_of
from millprep.geometry.path import FloatArray
from millprep.model.board import Board
from millprep.model.cutter import Vee
from millprep.model.job.isolation import CutterUse, IsolationPlan
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.toolpaths.isolation import GOUGE, LapSpacing

Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]

DEPTH_STEP = 0.01
"""Depths of a vee are tried in steps of this, mm."""
THROUGH = 0.02
"""Every groove goes this far below the copper where the surface is lowest, mm (common practice,
no source)."""
ROUND = 0.001
"""Depths are rounded up to this, mm."""
SAMPLE = 0.4
"""Distance of samples along the edges of copper, mm."""
NEIGHBOUR = 0.1
"""Distance of the places on other copper that samples are compared with, mm."""
CHANGE = 3.0
"""Minutes that a person takes to change a cutter and find Z zero (assumed)."""
HOP = 1.0
"""Seconds from the end of a path to where the next one begins, apart from going down (assumed)."""


@dataclass(frozen=True, slots=True)
class Way:
    """One choice of cutters and depths, with what it takes.

    Attributes:
        uses: the widest groove first.
        laps: of each use, around a piece.
        lengths: of each use, mm of groove on all boards.
        minutes: of isolation, a person's change of cutters included.
        lost: length of edge where not even the narrowest groove fits, mm.
    """

    uses: tuple[CutterUse, ...]
    laps: tuple[int, ...]
    lengths: tuple[float, ...]
    minutes: float
    lost: float


class CopperEdges:
    """Samples of the edges of all copper that is isolated.

    Attributes:
        weights: length of edge that each sample stands for, mm, all copies counted.
        turns: angle by which the edge turns there, radians; convex is positive.
        radii: of the largest disc that touches the edge there from outside and reaches no other
            copper, mm, up to the largest one asked for.
        own: whether it is the same piece that the disc meets.
        pieces: how many are isolated.
    """

    def __init__(self, boards: Sequence[tuple[Board, int]], largest: float) -> None:
        made = [(_edges(board, largest), count) for board, count in boards]
        self.weights = np.concatenate([e.weights * count for e, count in made])
        self.turns = np.concatenate([e.turns * count for e, count in made])
        self.radii = np.concatenate([e.radii for e, _ in made])
        self.own = np.concatenate([e.own for e, _ in made])
        self.pieces = sum(len(board.pieces) * count for board, count in boards)
        # a stretch of narrow places begins where the sample before it is no narrow place
        beside = [np.where(e.own, math.inf, e.radii) for e, _ in made]
        before = [
            np.maximum(r, np.where(e.first, math.inf, np.roll(r, 1)))
            for r, (e, _) in zip(beside, made, strict=True)
        ]
        self._narrow = [
            (np.sort(here), np.sort(both), count)
            for here, both, (_, count) in zip(beside, before, made, strict=True)
        ]

    def stretches(self, radius: float) -> int:
        """How many stretches of edge there are where a disc does not fit beside other copper."""
        return sum(
            count * int(np.searchsorted(here, radius) - np.searchsorted(both, radius))
            for here, both, count in self._narrow
        )

    @cached_property
    def _others(self) -> _Sums:
        return _Sums(self, ~self.own)

    @cached_property
    def _self(self) -> _Sums:
        return _Sums(self, self.own)

    def lap(self, distance: float, zone: float, within: float = math.inf) -> float:
        """Length of a lap at a distance from the copper, mm.

        Args:
            distance: of its axis from the edge.
            zone: twice the radius that must be free of other copper at the edge.
            within: only where a disc of this radius does not fit beside other copper.
        """
        if within == math.inf:
            whole = float(self.weights.sum() + distance * self.turns.sum())
            near = self._others.length(zone / 2, distance) + self._self.length(distance, distance)
            return max(whole - near, 0.0)
        free = self._others.length(within, distance) - self._others.length(zone / 2, distance)
        return max(free, 0.0)

    def narrow(self, radius: float) -> float:
        """Length of edge where a disc of a radius does not fit beside other copper, mm."""
        return self._others.length(radius, 0.0)


class _Sums:
    """Cumulative lengths and turns of samples by the radius of their disc."""

    def __init__(self, edges: CopperEdges, chosen: Flags) -> None:
        order = np.argsort(edges.radii[chosen], kind="stable")
        self.radii = edges.radii[chosen][order]
        self.weights = np.concatenate(([0.0], np.cumsum(edges.weights[chosen][order])))
        self.turns = np.concatenate(([0.0], np.cumsum(edges.turns[chosen][order])))

    def length(self, radius: float, distance: float) -> float:
        """Length of a parallel curve at a distance beside edges with smaller discs, mm."""
        n = int(np.searchsorted(self.radii, radius))
        return max(float(self.weights[n] + distance * self.turns[n]), 0.0)


@dataclass(frozen=True, slots=True)
class _BoardEdges:
    weights: FloatArray
    turns: FloatArray
    radii: FloatArray
    own: Flags
    first: Flags


def _edges(board: Board, largest: float) -> _BoardEdges:
    """The samples of one copy of a board."""
    at: list[FloatArray] = []
    normals: list[FloatArray] = []
    weights: list[FloatArray] = []
    turns: list[FloatArray] = []
    pieces: list[FloatArray] = []
    first: list[Flags] = []
    places: list[FloatArray] = []
    owners: list[FloatArray] = []
    for n, piece in enumerate(board.pieces):
        for loop in boundaries_of(piece.shape):
            fine = shapely.get_coordinates(shapely.segmentize(loop, NEIGHBOUR))
            places.append(fine[:-1])
            owners.append(np.full(len(fine) - 1, n))
            xy = shapely.get_coordinates(shapely.segmentize(loop, SAMPLE))
            step = np.diff(xy, axis=0)
            length = np.hypot(*step.T)
            step, xy, length = step[length > 0], xy[:-1][length > 0], length[length > 0]
            heading = np.arctan2(step[:, 1], step[:, 0])
            turn = np.remainder(np.roll(heading, -1) - heading + np.pi, 2 * np.pi) - np.pi
            at.append(xy + step / 2)
            # boundaries have their copper on the left
            normals.append(np.column_stack((step[:, 1], -step[:, 0])) / length[:, None])
            weights.append(length)
            turns.append((turn + np.roll(turn, 1)) / 2)
            pieces.append(np.full(len(xy), n))
            first.append(np.arange(len(xy)) == 0)
    radii, own = _free_radii(
        np.concatenate(at),
        np.concatenate(normals),
        np.concatenate(pieces),
        (np.concatenate(places), np.concatenate(owners)),
        largest,
    )
    return _BoardEdges(
        np.concatenate(weights), np.concatenate(turns), radii, own, np.concatenate(first)
    )


def _free_radii(
    at: FloatArray,
    normals: FloatArray,
    pieces: FloatArray,
    others: tuple[FloatArray, FloatArray],
    largest: float,
) -> tuple[FloatArray, Flags]:
    """Radius of the largest free disc that touches the edge at each sample, and who limits it.

    A disc shrinks onto whatever lies in it until nothing does (J. Ma, S. W. Bae, S. Choi: 3D
    medial axis point approximation using nearest neighbors and the normal field, 2012; reference
    from memory).
    """
    places, owners = others
    tree = cKDTree(places)
    radii = np.full(len(at), largest)
    own = np.zeros(len(at), dtype=bool)
    left = np.arange(len(at))
    for _ in range(12):
        away, which = tree.query(at[left] + radii[left, None] * normals[left], workers=-1)
        inside = away < radii[left] - GOUGE / 2
        left, which = left[inside], which[inside]
        if not len(left):
            break
        reach = places[which] - at[left]
        ahead = (reach * normals[left]).sum(axis=1)
        # rounding may put a place of the edge itself a little behind the sample
        smaller = np.where(ahead > 1e-9, (reach**2).sum(axis=1) / (2 * ahead), radii[left])
        radii[left] = np.minimum(radii[left], smaller)
        own[left] = owners[which] == pieces[left]
    return radii, own


def candidates(plan: IsolationPlan, copper: float) -> tuple[CutterUse, ...]:
    """Every cutter of the job at every depth of the grid."""
    least = math.ceil((copper + plan.flatness + THROUGH) / ROUND - 1e-9) * ROUND
    uses: list[CutterUse] = []
    for given in plan.given_cutters:
        if given.depth is not None:
            depths = [given.depth]
        elif isinstance(given.cutter, Vee):
            depths = [*_depths(given.cutter, plan, copper, least)]
        else:
            depths = [least]
        uses += [CutterUse(given.cutter, round(depth, 6)) for depth in depths]
    return tuple(dict.fromkeys(uses))


def _depths(vee: Vee, plan: IsolationPlan, copper: float, least: float) -> Iterator[float]:
    """Depths at which a vee may isolate, down to the deepest that its tip bears."""
    deepest = max(vee.deepest, least)
    yield from np.arange(least, deepest + 1e-9, DEPTH_STEP).tolist()
    count = 1
    while True:
        # count laps open the gap exactly: foot · (1 + (count − 1) · (1 − overlap)) = gap
        foot = plan.gap / (1 + (count - 1) * (1 - plan.overlap))
        depth = math.ceil((copper + vee.depth_for(foot)) / ROUND - 1e-6) * ROUND
        if depth < least:
            return
        if depth <= deepest:
            yield depth
        count += 1


def ways(plan: IsolationPlan, copper: float, edges: CopperEdges, machine: Machine) -> list[Way]:
    """Every choice of the grid, the one that takes the least time first.

    Ways that cannot isolate all copper come after all others, by what they leave.

    Args:
        plan: gap, cutters, flatness and overlap.
        copper: thickness of the thickest foil, mm.
        edges: of all boards.
        machine: its limits of feed.
    """
    known = [
        _Costs(use, LapSpacing.for_gap(use, plan, copper), edges, machine)
        for use in candidates(plan, copper)
    ]
    made = [costs.alone for costs in known]
    made += [
        wide.with_rest(rest)
        for wide in known
        for rest in known
        if rest.spacing.surface < wide.spacing.surface and wide.broken > 0
    ]
    return sorted(
        made,
        key=lambda way: (way.lost > SAMPLE, way.lost if way.lost > SAMPLE else 0.0, way.minutes),
    )


class _Costs:
    """One use, with the time that it takes."""

    def __init__(
        self, use: CutterUse, spacing: LapSpacing, edges: CopperEdges, machine: Machine
    ) -> None:
        self.use, self.spacing, self.edges = use, spacing, edges
        self.feed = min(use.cutter.feed, machine.max_feed)
        plunge = min(use.cutter.plunge, machine.max_plunge)
        self.down = (0.5 + use.depth) / plunge + HOP / 60
        self.first = spacing.surface - GOUGE
        # what a neighbour's own first lap clears needs no later lap
        self.later = max(
            spacing.surface / 2 - GOUGE, spacing.surface / 2 + spacing.foot - spacing.pitch
        )
        self.broken = edges.narrow(self.first / 2)

    def lengths(self, within: float = math.inf) -> float:
        """Length of all laps, mm."""
        return sum(
            self.edges.lap(distance, self.first if k == 0 else distance + self.later, within)
            for k, distance in enumerate(self.spacing.distances)
        )

    def minutes(self, length: float, paths: float) -> float:
        """Minutes for a length of groove in so many paths."""
        return length / self.feed + paths * self.down

    @property
    def alone(self) -> Way:
        """The way that needs no other use."""
        length, laps = self.lengths(), len(self.spacing.distances)
        return Way(
            (self.use,),
            (laps,),
            (length,),
            self.minutes(length, laps * self.edges.pieces),
            self.broken,
        )

    def with_rest(self, rest: _Costs) -> Way:
        """The way with a narrower use where this one does not fit."""
        mine, its = self.alone, len(rest.spacing.distances)
        # each stretch that is cut again begins and ends a groove's width beside it
        stretches = self.edges.stretches(self.first / 2)
        around = 2 * self.spacing.surface * stretches
        length = rest.lengths(self.first / 2) + around * its
        minutes = mine.minutes + rest.minutes(length, its * stretches)
        if rest.use.cutter.name != self.use.cutter.name:
            minutes += CHANGE
        return replace(
            mine,
            uses=(self.use, rest.use),
            laps=(*mine.laps, its),
            lengths=(*mine.lengths, length),
            minutes=minutes,
            lost=rest.broken,
        )


def chosen(job: JobPlan, boards: Sequence[Board]) -> JobPlan:
    """The job with its depths of isolation chosen; the same job where it states them."""
    if not job.isolation.least_time:
        return job
    best = all_ways(job, boards)[0]
    return replace(job, isolation=job.isolation.with_uses(best.uses))


def all_ways(job: JobPlan, boards: Sequence[Board]) -> list[Way]:
    """Every choice of the grid for a job, the one that takes the least time first."""
    counts = {board.name: board.count for board in job.boards}
    copper = max(blank.copper for blank in job.blanks)
    spacings = [
        LapSpacing.for_gap(use, job.isolation, copper) for use in candidates(job.isolation, copper)
    ]
    # no lap asks whether a larger disc fits
    largest = max(spacing.distances[-1] + spacing.surface for spacing in spacings)
    edges = CopperEdges([(board, counts[board.name]) for board in boards], largest)
    return ways(job.isolation, copper, edges, job.machine)
