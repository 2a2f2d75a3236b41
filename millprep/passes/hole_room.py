"""Where on a blank registration holes may stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank
from millprep.model.plan import RegistrationPlan
from millprep.passes.shift import ShiftPlan

GRID = 3.0
"""Distance between places that are tried along the longer side of a strip, mm; across it 1."""
MOST = 160
"""Outermost places that are tried in pairs."""


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Free places.

    Attributes:
        at: (n, 2) blank frame.
        source: (n,) the pass (from 0) that would drill there.
    """

    at: FloatArray
    source: NDArray[np.int_]

    def outer(self) -> NDArray[np.int_]:
        """Indices of the places that are outermost in their row or column: only these can be best.

        Of more than `MOST` every so manieth is taken.
        """
        kept: set[int] = set()
        for q in np.unique(self.source).tolist():
            mine = np.flatnonzero(self.source == q)
            for axis in (0, 1):
                along = np.round(self.at[mine, axis], 6)
                order = np.lexsort((self.at[mine, 1 - axis], along))
                ends = np.flatnonzero(np.diff(along[order])) + 1
                kept.update(mine[order[np.concatenate(([0], ends))]].tolist())
                kept.update(mine[order[np.concatenate((ends - 1, [len(order) - 1]))]].tolist())
        found = np.array(sorted(kept, key=lambda n: tuple(self.at[n])), dtype=int)
        if len(found) > MOST:
            found = found[np.unique(np.linspace(0, len(found) - 1, MOST).round().astype(int))]
        return found


@dataclass(frozen=True, slots=True, eq=False)
class HoleRoom:
    """What a hole must respect: windows, edges, cuts, clamps.

    Attributes:
        denied: no hole's centre may lie there, blank frame.
        clamped: per pass what clamps deny, machine frame.
    """

    shift: ShiftPlan
    blank: Blank
    plan: RegistrationPlan
    denied: BaseGeometry
    clamped: tuple[BaseGeometry, ...]

    @classmethod
    def of(
        cls,
        shift: ShiftPlan,
        blank: Blank,
        plan: RegistrationPlan,
        keep_out: BaseGeometry,
        clamped: Sequence[BaseGeometry],
    ) -> HoleRoom:
        """The ground of a blank, on which `keep_out` is cut."""
        # a place on the very rim is free, whatever its last digit says
        denied = keep_out.buffer(plan.key / 2 + plan.wall - 1e-6, quad_segs=4)
        shapely.prepare(denied)
        return cls(shift, blank, plan, denied, tuple(clamped))

    def clamped_by(self, clamped: Sequence[BaseGeometry]) -> HoleRoom:
        """The same with other clamps."""
        return replace(self, clamped=tuple(clamped))

    @property
    def edge(self) -> float:
        """Distance of a hole's centre from an edge, at least."""
        return self.plan.key / 2 + self.plan.wall

    def place(self, k: int, other: int, at: FloatArray | Point) -> Point:
        """Where on the blank the bed's place below `at` lies in another pass."""
        x, y = float(at[0]), float(at[1])
        if k == other:
            return (x, y)
        x, y = self.shift.poses[other].inverse().point(self.shift.poses[k].point((x, y)))
        # sums of shifts carry rounding, places are meant to a thousandth
        return (round(x, 9), round(y, 9))

    def source(self, k: int, other: int, q: int) -> int:
        """The pass that lies to `other` as pass q lies to pass k."""
        dx, dy = self.shift.step(k, q)
        i, j = self.shift.cell(other)
        cells = [self.shift.cell(n) for n in range(len(self.shift.poses))]
        return cells.index((i + dx, j + dy))

    def without_cuts(self) -> HoleRoom:
        """The same as if nothing were cut on the blank."""
        return replace(self, denied=shapely.Polygon())

    def spots(self, members: Sequence[int], *, ends: bool = False) -> Spots:
        """Free places for all of some passes whose earlier neighbours lie alike.

        In the frame of the first of them. `ends` adds to whole millimetres the very ends of
        what an edge allows.
        """
        lead = members[0]
        places, sources = [], []
        for q, k in self.shift.pairs:
            if k != lead:
                continue
            grid = self._grid(q, lead, ends=ends)
            free = np.ones(len(grid), dtype=bool)
            for member in members:
                there = grid
                if member != lead:
                    pose = self.shift.poses[lead].then(self.shift.poses[member].inverse())
                    there = pose.points(grid)
                free &= self._free(there, self.source(lead, member, q), member)
            places.append(grid[free])
            sources.append(np.full(int(free.sum()), q))
        return Spots(np.vstack(places), np.concatenate(sources).astype(int))

    def _grid(self, q: int, k: int, *, ends: bool) -> FloatArray:
        """Places to try in what windows q and k share."""
        shared = self.shift.shared(q, k)
        assert shared is not None
        # an end mill winds within the hole, so the whole hole lies in both windows
        wide, edge = self.plan.key / 2, self.edge
        x0, x1 = max(shared.x0 + wide, edge), min(shared.x1 - wide, self.blank.size[0] - edge)
        y0, y1 = max(shared.y0 + wide, edge), min(shared.y1 - wide, self.blank.size[1] - edge)
        coarse_x = x1 - x0 >= y1 - y0 if self.shift.cells else self.shift.axis == 0
        xs = _whole(x0, x1, GRID if coarse_x else 1.0, ends=ends)
        ys = _whole(y0, y1, 1.0 if coarse_x else GRID, ends=ends)
        return np.array([(x, y) for x in xs for y in ys], dtype=float).reshape(-1, 2)

    def _free(self, places: FloatArray, q: int, k: int) -> NDArray[np.bool_]:
        x, y = places[:, 0], places[:, 1]
        edge, slack = self.edge, 1e-9
        free = (x >= edge - slack) & (x <= self.blank.size[0] - edge + slack)
        free &= (y >= edge - slack) & (y <= self.blank.size[1] - edge + slack)
        free &= ~shapely.contains_xy(self.denied, places)
        for number in (q, k):
            w = self.shift.windows[number].grown(slack - self.plan.key / 2)
            free &= (x >= w.x0) & (x <= w.x1) & (y >= w.y0) & (y <= w.y1)
            at = self.shift.poses[number].points(places)
            free &= ~shapely.contains_xy(self.clamped[number], at)
        return free


def _whole(low: float, high: float, step: float, *, ends: bool) -> list[float]:
    """Whole millimetres within a range: they are easier to read off and to bore."""
    if high < low - 1e-9:
        return []
    inside = np.arange(np.ceil(low - 1e-9), np.floor(high + 1e-9) + 1e-9, step)
    extremes = {round(low, 9), round(high, 9)} if ends else set()
    return sorted({*(round(v, 9) for v in inside.tolist()), *extremes})
