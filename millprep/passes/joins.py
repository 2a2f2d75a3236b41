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
from millprep.passes.shift import ShiftPlan
from millprep.values.cut import HoleCut, Ring
from millprep.values.path import FloatArray, Path, Point

Band = tuple[int, str]
"""All rings around one piece: (placement, piece)."""

SLACK = 1.0
"""Joins stay this far from the end of a window besides their overrun, mm."""


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
    locating: Sequence[FloatArray],
    overrun: float,
    gap: float,
) -> JoinPlan:
    """The cheapest sharing: whole bands where they fit, the others joined where it harms least.

    Args:
        shift: windows.
        rings: all rings of the blank, unsplit.
        holes: of the boards; joins keep away from their pads.
        locating: (n, 2) locating holes between passes k and k + 1, blank frame.
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
    first = [ring for ring in rings if ring.lap == 0]
    tree = shapely.STRtree([ring.path.line(0.02) for ring in first])
    owner = np.array([numbers[ring.placement, ring.piece] for ring in first], dtype=int)
    courses = {}
    for band in split:
        harm = Harm(_pads(band, holes), (tree, owner), numbers[band], 2 * gap, locating)
        made = [
            course.plan(ring.path, shift, overrun + gap + SLACK, harm)
            for ring in bands[band]
            if ring.lap == 0
        ]
        courses[band] = tuple(one for one in made if one is not None)
    return JoinPlan(whole, courses)


def _whole(mine: Sequence[Ring], shift: ShiftPlan) -> int | None:
    """The pass that holds a band whole; of two, the one on whose side it lies."""
    lows, highs = zip(*(_extent(ring.path, shift.axis) for ring in mine), strict=True)
    low, high = min(lows), max(highs)
    fits = [
        k
        for k in range(len(shift.windows))
        if low >= shift.low(k) - 1e-9 and high <= shift.high(k) + 1e-9
    ]
    if not fits:
        return None
    # one line for all bands, so that neighbours mostly share a pass
    side = sum(
        (low + high) / 2 > (shift.low(k + 1) + shift.high(k)) / 2
        for k in range(len(shift.windows) - 1)
    )
    return side if side in fits else min(fits, key=lambda k: abs(k - side))


def _extent(path: Path, axis: int) -> tuple[float, float]:
    flat = path.flattened(0.01)[:, axis]
    # a chord lies inside its arc by at most the flattening
    return float(flat.min()) - 0.01, float(flat.max()) + 0.01


def _pads(band: Band, holes: Sequence[HoleCut]) -> FloatArray:
    """(n, 3) x, y and an allowance for the pad's radius, twice that of its hole."""
    rows = [
        (*hole.at, hole.diameter) for hole in holes if (hole.placement, hole.piece) == band
    ]
    return np.array(rows, dtype=float).reshape(-1, 3)
