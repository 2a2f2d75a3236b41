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

from millprep.passes import course
from millprep.passes.course import Course, Crossover, Harm
from millprep.passes.network import Network
from millprep.passes.shift import ShiftPlan
from millprep.values.cut import HoleCut, Ring
from millprep.values.path import FloatArray, Path, Point

Band = tuple[int, str]
"""All rings around one piece: (placement, piece)."""

SLACK = 1.0
"""Joins stay this far from the end of a window besides their overrun, mm."""


def least_overlap(overrun: float, gap: float) -> float:
    """What two windows must share so that every band has a place to change over, mm."""
    return 2 * _margin(overrun, gap) + 2 * course.STRAIGHT


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

    whole: Mapping[Band, int]
    courses: Mapping[Band, tuple[Course, ...]]

    def pass_at(self, band: Band, at: Point) -> int | None:
        """The pass (from 0) that cuts a band near a place; None for a band that is not cut."""
        if band in self.whole:
            return self.whole[band]
        found = self.courses.get(band)
        if not found:
            return None
        point = shapely.Point(at)
        lines = [one.path.line() for one in found]
        n = int(np.argmin([line.distance(point) for line in lines]))
        along = lines[n].project(point, normalized=True) * found[n].path.length
        return found[n].pass_at(along)

    def cuts(self, ring: Ring, reach: float) -> list[tuple[float, Crossover]]:
        """Where a lap of a split band changes over: distance along it, and the change-over."""
        band = (ring.placement, ring.piece)
        courses = self.courses[band]
        line = ring.path.line()
        found = []
        for one in courses:
            if one.path is ring.path:
                return [(c.distance, c) for c in one.crossovers]
            for crossover in one.crossovers:
                point = shapely.Point(crossover.at)
                if line.distance(point) <= reach:
                    along = line.project(point, normalized=True) * ring.path.length
                    found.append((along, crossover))
        return sorted(found, key=lambda item: item[0])


def plan(
    shift: ShiftPlan,
    rings: Sequence[Ring],
    holes: Sequence[HoleCut],
    network: Network,
    overrun: float,
    gap: float,
) -> JoinPlan:
    """The cheapest sharing: whole bands where they fit, the others joined where it harms least.

    Args:
        shift: windows.
        rings: all rings of the blank, unsplit.
        holes: of the boards; joins keep away from their pads.
        network: how far any two passes miss each other.
        overrun: of each side past a join.
        gap: of the isolation; a band is about as wide.
    """
    bands: dict[Band, list[Ring]] = {}
    for ring in rings:
        bands.setdefault((ring.placement, ring.piece), []).append(ring)
    whole: dict[Band, int] = {}
    for band, mine in bands.items():
        k = _whole(mine, shift)
        if k is not None:
            whole[band] = k
    split = [band for band in bands if band not in whole]
    if not split:
        return JoinPlan(whole, {})
    numbers = {band: n for n, band in enumerate(bands)}
    first = [ring for mine in bands.values() for ring in _first(mine)]
    tree = shapely.STRtree([ring.path.line(0.02) for ring in first])
    owner = np.array([numbers[ring.placement, ring.piece] for ring in first], dtype=int)
    pads = _pads(bands, holes)
    courses = {}
    for band in split:
        harm = Harm(_beside(bands[band], pads), (tree, owner), numbers[band], 2 * gap, network)
        made = [
            course.plan(ring.path, shift, _margin(overrun, gap), harm)
            for ring in _first(bands[band])
        ]
        courses[band] = tuple(one for one in made if one is not None)
    return JoinPlan(whole, courses)


def _whole(mine: Sequence[Ring], shift: ShiftPlan) -> int | None:
    """The pass that holds a band whole; of two, the one on whose side it lies."""
    bounds = np.array([_extent(ring.path) for ring in mine])
    x0, y0 = bounds[:, :2].min(axis=0).tolist()
    x1, y1 = bounds[:, 2:].max(axis=0).tolist()
    fits = [
        k
        for k, w in enumerate(shift.windows)
        if w.contains(x0, y0) and w.contains(x1, y1)
    ]
    if not fits:
        return None
    # one line for all bands, so that neighbours mostly share a pass
    i, j = shift.home(((x0 + x1) / 2, (y0 + y1) / 2))

    def away(k: int) -> tuple[int, int]:
        cell = shift.cell(k)
        return (abs(cell[0] - i) + abs(cell[1] - j), k)

    return min(fits, key=away)


def _first(mine: Sequence[Ring]) -> list[Ring]:
    """The laps nearest to the copper."""
    nearest = min(ring.lap for ring in mine)
    return [ring for ring in mine if ring.lap == nearest]


def _extent(path: Path) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = path.line(0.01).bounds
    # a chord lies inside its arc by at most the flattening
    return x0 - 0.01, y0 - 0.01, x1 + 0.01, y1 + 0.01


def _pads(bands: Mapping[Band, Sequence[Ring]], holes: Sequence[HoleCut]) -> FloatArray:
    """(n, 3) x, y and radius of the copper around every hole on copper.

    The nearest first lap tells how far the copper reaches; where a hole stands in a wide area
    that is no pad's size, and twice the hole's diameter serves.
    """
    laps = {
        band: shapely.union_all([ring.path.line(0.02) for ring in _first(mine)])
        for band, mine in bands.items()
    }
    rows = []
    for hole in holes:
        if hole.placement is None or hole.piece is None:
            continue
        around = laps.get((hole.placement, hole.piece))
        if around is not None and not around.is_empty:
            # along a slot, a place for every half of its width
            spots = shapely.segmentize(hole.spine, hole.diameter / 2)
            for at in shapely.points(shapely.get_coordinates(spots)).tolist():
                reach = min(max(float(around.distance(at)), hole.diameter / 2), 2 * hole.diameter)
                rows.append((at.x, at.y, reach))
    return np.array(rows, dtype=float).reshape(-1, 3)


def _beside(mine: Sequence[Ring], pads: FloatArray) -> FloatArray:
    """The pads near a band: its own and its neighbours'."""
    bounds = np.array([ring.path.line(0.02).bounds for ring in _first(mine)])
    reach = pads[:, 2] + course.NEAR_PAD
    near = (pads[:, 0] >= bounds[:, 0].min() - reach) & (pads[:, 0] <= bounds[:, 2].max() + reach)
    near &= (pads[:, 1] >= bounds[:, 1].min() - reach) & (pads[:, 1] <= bounds[:, 3].max() + reach)
    found: FloatArray = pads[near]
    return found
