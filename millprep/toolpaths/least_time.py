"""Cutters and depths that isolate all boards of a job in the least time.

The time of any choice follows from sums over samples of the edges of all copper
(`copper_edges.py`), so that all choices of a grid are compared, not some of them. The grid: one
groove, or a wide one and a narrower one where the wide one does not fit; of an end mill the least
depth that cuts through; of a vee every `DEPTH_STEP` from there to the deepest that its tip bears,
and the least depth for every number of laps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from millprep.model.board import Board
from millprep.model.cutter import Vee
from millprep.model.job.isolation import CutterUse, IsolationPlan
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.model.machine_time import ACCELERATION
from millprep.toolpaths.copper_edges import CopperEdges
from millprep.toolpaths.isolation import GOUGE, LapSpacing
from millprep.toolpaths.linking import PAST

DEPTH_STEP = 0.01
"""Depths of a vee are tried in steps of this, mm."""
THROUGH = 0.02
"""Every groove goes this far below the copper where the surface is lowest, mm (common practice,
no source)."""
ROUND = 0.001
"""Depths are rounded up to this, mm."""
ACROSS = 0.4
"""Seconds across from the end of a path to where the next one begins, at full speed: measured on
the examples."""


@dataclass(frozen=True, slots=True)
class Way:
    """One choice of cutters and depths, with what it takes.

    Attributes:
        uses: the widest groove first.
        laps: of each use, around a piece.
        lengths: of each use, mm of groove on all boards.
        running: minutes of isolation, with acceleration.
        by_hand: minutes of a person for a change of cutters.
        fits: whether the narrowest groove fits between all pieces.
    """

    uses: tuple[CutterUse, ...]
    laps: tuple[int, ...]
    lengths: tuple[float, ...]
    running: float
    by_hand: float
    fits: bool

    @property
    def minutes(self) -> float:
        """All minutes that it takes."""
        return self.running + self.by_hand


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

    Ways whose narrowest groove does not fit everywhere come after all others.

    Args:
        plan: gap, cutters, flatness and overlap.
        copper: thickness of the thickest foil, mm.
        edges: of all boards.
        machine: its limits of feed, its acceleration, and a person's minutes.
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
        if rest.spacing.surface < wide.spacing.surface and not wide.fits
    ]
    # where none fits everywhere the narrowest leaves least
    return sorted(made, key=lambda way: (0.0 if way.fits else way.uses[-1].surface, way.minutes))


class _Costs:
    """One use, with the time that it takes."""

    def __init__(
        self, use: CutterUse, spacing: LapSpacing, edges: CopperEdges, machine: Machine
    ) -> None:
        self.use, self.spacing, self.edges = use, spacing, edges
        self.feed = min(use.cutter.feed, machine.max_feed)
        plunge = min(use.cutter.plunge, machine.max_plunge)
        acceleration = machine.acceleration or ACCELERATION
        # a stop takes v / a longer than the same way at full speed
        lost, lost_across = (v / 60 / acceleration for v in (self.feed, machine.rapid))
        self.corner = lost / 60 if machine.path_mode == "exact path" else 0.0
        # up and down are often too short to reach full speed
        peak = min(machine.rapid / 60, math.sqrt(acceleration * machine.hop_height))
        lift = machine.hop_height / peak + peak / acceleration
        self.down = (machine.approach + use.depth) / plunge
        self.down += (ACROSS + lost + lost_across + 2 * lift) / 60
        # over and back, with a corner at every end
        self.link = 2 * (spacing.pitch + PAST) / self.feed + 4 * self.corner
        self.change = machine.time.minutes[0]
        self.first = spacing.surface - GOUGE
        # what a neighbour's own first lap clears needs no later lap
        self.later = max(
            spacing.surface / 2 - GOUGE, spacing.surface / 2 + spacing.foot - spacing.pitch
        )
        # the samples may miss the narrowest place, so the pieces themselves decide
        self.fits = self.first <= edges.narrowest

    def lengths(self, within: float = math.inf) -> float:
        """Length of all laps, mm."""
        return sum(
            self.edges.lap(distance, self.first if k == 0 else distance + self.later, within)
            for k, distance in enumerate(self.spacing.distances)
        )

    def minutes(self, length: float, paths: float) -> float:
        """Minutes for a length of groove in so many paths, corners and stops included."""
        return length * (1 / self.feed + self.edges.corners * self.corner) + paths * self.down

    @property
    def alone(self) -> Way:
        """The way that needs no other use."""
        length, laps = self.lengths(), len(self.spacing.distances)
        # from lap to lap around a piece the cutter stays down
        links = (laps - 1) * self.edges.pieces
        return Way(
            (self.use,),
            (laps,),
            (length,),
            self.minutes(length, self.edges.pieces) + links * self.link,
            0.0,
            self.fits,
        )

    def with_rest(self, rest: _Costs) -> Way:
        """The way with a narrower use where this one does not fit."""
        mine, its = self.alone, len(rest.spacing.distances)
        # each stretch that is cut again begins and ends a groove's width from it
        stretches = self.edges.stretches(self.first / 2)
        around = 2 * self.spacing.surface * stretches
        length = rest.lengths(self.first / 2) + around * its
        changed = rest.use.cutter.name != self.use.cutter.name
        return replace(
            mine,
            uses=(self.use, rest.use),
            laps=(*mine.laps, its),
            lengths=(*mine.lengths, length),
            running=mine.running + rest.minutes(length, its * stretches),
            by_hand=self.change if changed else 0.0,
            fits=rest.fits,
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
