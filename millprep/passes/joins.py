"""Which pass cuts which laps of every piece, and where passes meet.

The laps around a piece that fit one window are cut whole. Of any other piece the first lap is split
among the passes at the least cost (`lap_splitting`), and its other laps change over next to it, so
that the whole groove is joined at one place and no slivers are left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.cut import HoleCut, Lap
from millprep.passes import lap_splitting, neighbours, spurs
from millprep.passes.error_budget import QUANTILE, ErrorBudget
from millprep.passes.lap_splitting import JoinCosts, PlannedJoin, SplitLap
from millprep.passes.neighbours import Pair, PieceKey
from millprep.passes.regions import NO_SOLE_PASS
from millprep.passes.shift import ShiftPlan

Bounds = tuple[float, float, float, float]

FLAT = 0.02
"""Flattening of laps where only their neighbourhood matters, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class LapSurvey:
    """The laps of a blank.

    Attributes:
        shift: windows.
        pieces: all laps, unsplit.
        first: of every piece the laps nearest to its copper.
        meant: the pass (from 0) on whose side every piece lies whose laps fit a window.
        fits: the passes whose windows hold it.
        pairs: grooves near neighbours where windows overlap.
        tree, owner: first laps as lines, and the number of the piece each belongs to.
        pads: (n, 3) x, y and radius of the copper around every hole.
    """

    shift: ShiftPlan
    laps_by_piece: Mapping[PieceKey, Sequence[Lap]]
    first: Mapping[PieceKey, Sequence[Lap]]
    meant: Mapping[PieceKey, int]
    fits: Mapping[PieceKey, tuple[int, ...]]
    pairs: tuple[Pair, ...]
    tree: shapely.STRtree
    owner: NDArray[np.int_]
    pads: FloatArray


def survey_laps(
    shift: ShiftPlan,
    laps: Sequence[Lap],
    holes: Sequence[HoleCut],
    sole_pass: Mapping[int, int] = NO_SOLE_PASS,
) -> LapSurvey:
    """The laps of a blank by piece, and where they may be cut.

    Args:
        shift: windows.
        laps: all laps of the blank, unsplit.
        holes: of the boards; joins keep away from their pads.
        sole_pass: the pass (from 0) that alone cuts a board, by its placement.
    """
    laps_by_piece: dict[PieceKey, list[Lap]] = {}
    for lap in laps:
        laps_by_piece.setdefault((lap.placement, lap.piece), []).append(lap)
    first = {key: _first(mine) for key, mine in laps_by_piece.items()}
    meant: dict[PieceKey, int] = {}
    fits: dict[PieceKey, tuple[int, ...]] = {}
    for key, mine in laps_by_piece.items():
        side, those = _whole(mine, shift)
        if those:
            home = sole_pass.get(key[0], side)
            meant[key], fits[key] = home if home in those else side, those
    first_laps = [lap for mine in first.values() for lap in mine]
    lines = [lap.path.line(FLAT) for lap in first_laps]
    numbers = {key: n for n, key in enumerate(laps_by_piece)}
    joined = len(meant) < len(laps_by_piece)
    return LapSurvey(
        shift,
        laps_by_piece,
        first,
        meant,
        fits,
        _pairs(shift, laps_by_piece, first_laps),
        shapely.STRtree(lines),
        np.array([numbers[lap.placement, lap.piece] for lap in first_laps], dtype=int),
        _pads(first, dict(zip(map(id, first_laps), lines, strict=True)), holes if joined else ()),
    )


def _pairs(
    shift: ShiftPlan, laps_by_piece: Mapping[PieceKey, Sequence[Lap]], first: Sequence[Lap]
) -> tuple[Pair, ...]:
    shared = [shift.shared(a, b) for a, b in shift.pairs]
    return neighbours.near(laps_by_piece, first, [box for box in shared if box is not None])


def _whole(mine: Sequence[Lap], shift: ShiftPlan) -> tuple[int, tuple[int, ...]]:
    """The pass on whose side a piece lies, and all passes that hold its laps whole."""
    inner = around([_vertices(lap.path, 0.0) for lap in mine])
    outer = around([_vertices(lap.path, 1.0) for lap in mine])
    fits = _holding(shift, outer)
    if fits != _holding(shift, inner):
        # arcs decide it, so they are followed
        fits = _holding(shift, around([extent(lap.path) for lap in mine]))
    # one line for all pieces, so that neighbours mostly share a pass
    i, j = shift.home(((inner[0] + inner[2]) / 2, (inner[1] + inner[3]) / 2))

    def away(k: int) -> tuple[int, int]:
        cell = shift.cell(k)
        return (abs(cell[0] - i) + abs(cell[1] - j), k)

    return min(fits, key=away, default=0), fits


def around(bounds: Sequence[Bounds]) -> Bounds:
    """The bounds of all of them together."""
    x0, y0, x1, y1 = zip(*bounds, strict=True)
    return min(x0), min(y0), max(x1), max(y1)


def _holding(shift: ShiftPlan, bounds: Bounds) -> tuple[int, ...]:
    x0, y0, x1, y1 = bounds
    return tuple(
        k for k, w in enumerate(shift.windows) if w.contains(x0, y0) and w.contains(x1, y1)
    )


def _vertices(path: Path, share: float) -> Bounds:
    """Bounds of a path's vertices, grown by this fraction of what its arcs may reach beyond."""
    (x0, y0), (x1, y1) = path.xy.min(axis=0).tolist(), path.xy.max(axis=0).tolist()
    grow = 0.0
    if share and path.bulge.any():
        # no point of an arc is farther from its chord than its height, half the chord times bulge
        steps = np.diff(path.xy, axis=0)
        heights = np.abs(path.bulge) * np.hypot(steps[:, 0], steps[:, 1]) / 2
        grow = share * float(heights.max())
    return x0 - grow, y0 - grow, x1 + grow, y1 + grow


def _first(mine: Sequence[Lap]) -> list[Lap]:
    """The laps nearest to the copper."""
    nearest = min(lap.number for lap in mine)
    return [lap for lap in mine if lap.number == nearest]


def extent_of(paths: Sequence[Path]) -> Bounds:
    """Bounds of all paths together, flattened to 2 µm; only arcs that reach farthest count."""
    inner = np.array([_vertices(path, 0.0) for path in paths])
    outer = np.array([_vertices(path, 1.0) for path in paths])
    x0, y0, x1, y1 = around(inner.tolist())
    beyond = (outer[:, 0] < x0) | (outer[:, 1] < y0) | (outer[:, 2] > x1) | (outer[:, 3] > y1)
    arcs = [paths[n].line().bounds for n in np.flatnonzero(beyond).tolist()]
    return around([(x0, y0, x1, y1), *arcs])


def extent(path: Path) -> Bounds:
    """Bounds of a path, arcs followed; too wide by up to 0.01 mm."""
    x0, y0, x1, y1 = path.line(0.01).bounds
    # a chord lies inside its arc by at most the flattening
    return x0 - 0.01, y0 - 0.01, x1 + 0.01, y1 + 0.01


def _pads(
    first: Mapping[PieceKey, Sequence[Lap]],
    lines: Mapping[int, shapely.LineString],
    holes: Sequence[HoleCut],
) -> FloatArray:
    """(n, 3) x, y and radius of the copper around every hole on copper.

    The nearest first lap shows how far the copper reaches; where a hole is in a wide area that is
    no pad's size, and twice the hole's diameter is used.
    """
    by_piece: dict[PieceKey, list[HoleCut]] = {}
    for hole in holes:
        if hole.placement is not None and hole.piece is not None:
            by_piece.setdefault((hole.placement, hole.piece), []).append(hole)
    rows = []
    for key, mine in by_piece.items():
        if key not in first:
            continue
        around = shapely.MultiLineString([lines[id(lap)] for lap in first[key]])
        wide = np.array([hole.diameter for hole in mine])
        # along a slot, a place for every half of its width
        spines = shapely.segmentize([hole.spine for hole in mine], wide / 2)
        spots, which = shapely.get_coordinates(spines, return_index=True)
        reach = shapely.distance(around, shapely.points(spots))
        radius = np.clip(reach, wide[which] / 2, 2 * wide[which])
        rows.append(np.column_stack((spots, radius)))
    return np.vstack(rows) if rows else np.zeros((0, 3))


SLACK = 1.0
"""Joins stay this far from the end of a window besides their overrun, mm."""


def least_overlap(overrun: float, gap: float) -> float:
    """How much two windows must overlap so that every piece has a place for a join, mm."""
    return 2 * _margin(overrun, gap) + 2 * lap_splitting.STRAIGHT


def _margin(overrun: float, gap: float) -> float:
    """How far inside its window a pass takes over; outer laps are up to the gap farther out."""
    return overrun + gap + SLACK


def near_join(gap: float) -> float:
    """A lap this near to a join of its piece's first lap has a join next to it, mm."""
    return 1.5 * gap


@dataclass(frozen=True, slots=True)
class JoinPlan:
    """How the laps of a blank are shared among its passes.

    Attributes:
        whole: the pass (from 0) of every piece that is cut whole.
        split_laps: the first laps of every other piece, each with its joins, and those laps that
            do not run next to a first one.
    """

    whole: Mapping[PieceKey, int]
    split_laps: Mapping[PieceKey, tuple[SplitLap, ...]]

    def pass_at(self, key: PieceKey, at: Point) -> int | None:
        """The pass (from 0) that cuts a piece near a place; None for a piece that is not cut."""
        if key in self.whole:
            return self.whole[key]
        split = self.split_laps.get(key)
        if not split:
            return None
        point = shapely.Point(at)
        lines = [lap.line for lap in split]
        n = int(np.argmin([line.distance(point) for line in lines]))
        along = lines[n].project(point, normalized=True) * split[n].path.length
        return split[n].pass_at(along)

    def leads(self, lap: Lap) -> bool:
        """Whether the joins of other laps lie next to those of this one."""
        laps = self.split_laps.get((lap.placement, lap.piece), ())
        return any(split.path is lap.path for split in laps)

    def cuts(self, lap: Lap, reach: float) -> list[tuple[float, PlannedJoin]]:
        """Where a lap of a split piece has joins: distance along it, and the join."""
        key = (lap.placement, lap.piece)
        split_laps = self.split_laps[key]
        line = lap.path.line()
        changes = []
        for split in split_laps:
            if split.path is lap.path:
                return [(c.distance, c) for c in split.joins]
            for join in split.joins:
                point = shapely.Point(join.at)
                if line.distance(point) <= reach:
                    along = line.project(point, normalized=True) * lap.path.length
                    changes.append((along, join))
        return sorted(changes, key=lambda item: item[0])


def plan(seen: LapSurvey, errors: ErrorBudget, overrun: float, gap: float) -> JoinPlan:
    """The cheapest sharing: whole pieces where they fit, the others joined where it costs least.

    Args:
        seen: the laps.
        errors: how far any two passes miss each other.
        overrun: of each side past a join.
        gap: of the isolation; a groove is about as wide.
    """
    shift = seen.shift
    reach = 2 * gap + _ticks(shift, errors, gap)
    split_laps = {}
    for number, (key, first) in enumerate(seen.first.items()):
        if key in seen.meant:
            continue
        join_costs = JoinCosts(
            _pads_near(first, seen.pads), (seen.tree, seen.owner), number, reach, errors.hole_errors
        )
        first = [*first, *_strays(seen.laps_by_piece[key], first, near_join(gap))]
        made = [lap_splitting.plan(r.path, shift, _margin(overrun, gap), join_costs) for r in first]
        split_laps[key] = tuple(lap for lap in made if lap is not None)
    joined = JoinPlan({}, split_laps)
    whole = neighbours.settle(seen.meant, seen.fits, seen.pairs, joined.pass_at, errors.most)
    return JoinPlan(whole, split_laps)


def _strays(mine: Sequence[Lap], first: Sequence[Lap], reach: float) -> list[Lap]:
    """Laps that run where no lap nearer to the copper does, so they are split by themselves.

    In the middle of gaps a lap nearer to copper may end where there is no room for it.
    """
    nearest = set(map(id, first))
    others = [lap for lap in mine if id(lap) not in nearest]
    result: list[Lap] = []
    area = shapely.union_all(_grown(first if others else [], reach))
    for lap in sorted(others, key=lambda lap: lap.number):
        if not area.covers(lap.path.line(FLAT)):
            result.append(lap)
            area = shapely.union_all([area, *_grown([lap], reach)])
    return result


def _grown(laps: Sequence[Lap], reach: float) -> list[BaseGeometry]:
    lines = [lap.path.line(FLAT) for lap in laps]
    return list(shapely.buffer(np.asarray(lines, dtype=object), reach, quad_segs=2))


def _ticks(shift: ShiftPlan, errors: ErrorBudget, gap: float) -> float:
    """How long ticks must be about the middle of the overlaps, so that joins keep room for them."""
    longest = 0.0
    for a, b in shift.pairs:
        shared = shift.shared(a, b)
        assert shared is not None
        middle = np.array([((shared.x0 + shared.x1) / 2, (shared.y0 + shared.y1) / 2)])
        most = QUANTILE * errors.sigma * float(errors.hole_errors.spread(a, b, middle)[0])
        longest = max(longest, spurs.wanted(gap, most))
    return longest


def _pads_near(mine: Sequence[Lap], pads: FloatArray) -> FloatArray:
    """The pads near a piece: its own and its neighbours'."""
    x0, y0, x1, y1 = around([extent(lap.path) for lap in mine])
    reach = pads[:, 2] + lap_splitting.NEAR_PAD
    near = (pads[:, 0] >= x0 - reach) & (pads[:, 0] <= x1 + reach)
    near &= (pads[:, 1] >= y0 - reach) & (pads[:, 1] <= y1 + reach)
    float_array: FloatArray = pads[near]
    return float_array
