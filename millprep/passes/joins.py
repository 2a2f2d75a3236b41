"""Which pass cuts what of every band, and where passes meet.

A band is all laps around one piece. A band that fits one window is cut whole. Of any other
the first lap is given the cheapest course through the passes (`course.py`), and the other
laps change over beside it, so that the band is joined as one and no slivers are left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.model.cut import Lap
from millprep.passes import changeovers, neighbours, spurs
from millprep.passes.changeovers import JoinCosts, PlannedJoin, SplitLap
from millprep.passes.machine_errors import ErrorBudget
from millprep.passes.misalignment import QUANTILE
from millprep.passes.shift import ShiftPlan
from millprep.passes.survey import LapSurvey, PieceKey, around, extent

SLACK = 1.0
"""Joins stay this far from the end of a window besides their overrun, mm."""


def least_overlap(overrun: float, gap: float) -> float:
    """What two windows must share so that every band has a place to change over, mm."""
    return 2 * _margin(overrun, gap) + 2 * changeovers.STRAIGHT


def _margin(overrun: float, gap: float) -> float:
    """How far inside its window a pass takes over; outer laps lie beside by up to the gap."""
    return overrun + gap + SLACK


@dataclass(frozen=True, slots=True)
class JoinPlan:
    """How the rings of a blank are shared among its passes.

    Attributes:
        whole: the pass (from 0) of every band that is cut whole.
        courses: the first laps of every other band, each with its change-overs.
    """

    whole: Mapping[PieceKey, int]
    split_laps: Mapping[PieceKey, tuple[SplitLap, ...]]

    def pass_at(self, key: PieceKey, at: Point) -> int | None:
        """The pass (from 0) that cuts a band near a place; None for a band that is not cut."""
        if key in self.whole:
            return self.whole[key]
        found = self.split_laps.get(key)
        if not found:
            return None
        point = shapely.Point(at)
        lines = [one.line for one in found]
        n = int(np.argmin([line.distance(point) for line in lines]))
        along = lines[n].project(point, normalized=True) * found[n].path.length
        return found[n].pass_at(along)

    def cuts(self, lap: Lap, reach: float) -> list[tuple[float, PlannedJoin]]:
        """Where a lap of a split band changes over: distance along it, and the change-over."""
        key = (lap.placement, lap.piece)
        split_laps = self.split_laps[key]
        line = lap.path.line()
        found = []
        for one in split_laps:
            if one.path is lap.path:
                return [(c.distance, c) for c in one.joins]
            for join in one.joins:
                point = shapely.Point(join.at)
                if line.distance(point) <= reach:
                    along = line.project(point, normalized=True) * lap.path.length
                    found.append((along, join))
        return sorted(found, key=lambda item: item[0])


def plan(seen: LapSurvey, errors: ErrorBudget, overrun: float, gap: float) -> JoinPlan:
    """The cheapest sharing: whole bands where they fit, the others joined where it harms least.

    Args:
        seen: the rings.
        errors: how far any two passes miss each other.
        overrun: of each side past a join.
        gap: of the isolation; a band is about as wide.
    """
    shift = seen.shift
    reach = 2 * gap + _ticks(shift, errors, gap)
    split_laps = {}
    for number, (key, first) in enumerate(seen.first.items()):
        if key in seen.meant:
            continue
        join_costs = JoinCosts(
            _beside(first, seen.pads), (seen.tree, seen.owner), number, reach, errors.hole_errors
        )
        made = [changeovers.plan(r.path, shift, _margin(overrun, gap), join_costs) for r in first]
        split_laps[key] = tuple(one for one in made if one is not None)
    joined = JoinPlan({}, split_laps)
    whole = neighbours.settle(seen.meant, seen.fits, seen.pairs, joined.pass_at, errors.most)
    return JoinPlan(whole, split_laps)


def _ticks(shift: ShiftPlan, errors: ErrorBudget, gap: float) -> float:
    """How long ticks will have to be about the middle of the overlaps, so that room is sought."""
    longest = 0.0
    for a, b in shift.pairs:
        shared = shift.shared(a, b)
        assert shared is not None
        middle = np.array([((shared.x0 + shared.x1) / 2, (shared.y0 + shared.y1) / 2)])
        most = QUANTILE * errors.sigma * float(errors.hole_errors.spread(a, b, middle)[0])
        longest = max(longest, spurs.wanted(gap, most))
    return longest


def _beside(mine: Sequence[Lap], pads: FloatArray) -> FloatArray:
    """The pads near a band: its own and its neighbours'."""
    x0, y0, x1, y1 = around([extent(lap.path) for lap in mine])
    reach = pads[:, 2] + changeovers.NEAR_PAD
    near = (pads[:, 0] >= x0 - reach) & (pads[:, 0] <= x1 + reach)
    near &= (pads[:, 1] >= y0 - reach) & (pads[:, 1] <= y1 + reach)
    found: FloatArray = pads[near]
    return found
