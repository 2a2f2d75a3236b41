"""How far two passes may lie apart before a join leaks.

A groove shifted by any vector of at most e covers the groove worn by e on every edge. So one
test with the second pass's groove shifted by d and worn by e vouches for every mismatch
within e of d. The plane of mismatches is covered by squares, the nearest to no mismatch
first; a square that its test does not vouch for is split, until one of the tolerance's size
stays in doubt: its nearest point is the certificate. Only grooves are worn, never copper,
and the copper's sides are told apart by marks that lie with the first pass.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from millprep.proof.as_cut import unite
from millprep.proof.sweep import Shapes, segments, sweep
from millprep.proof.trace import Trace
from millprep.values.blank import Blank
from millprep.values.cutter import Cutter
from millprep.values.milling_pass import Join, MillingPass
from millprep.values.path import Point

MOST = 0.5
"""Mismatches beyond this, mm, are not looked at."""
TOLERANCE = 0.002
"""The certificate is at most this far below the true tolerance, mm."""
SIDE = 2.5
"""Half the side of the window around a join, mm."""
FINE = 4
"""Discs are this much finer than for the proof: gaps shrink slowly, tolerances fast."""
_SEGMENTS = 16


@dataclass(frozen=True, slots=True)
class JoinTolerance:
    """What one join stands.

    Attributes:
        electrical: mismatch before copper joins the two sides of the groove, mm.
        gap: mismatch before they come nearer than the asked gap; None when none was asked.
    """

    join: Join
    electrical: float
    gap: float | None


def pass_grooves(
    blank: Blank, cuts: Sequence[tuple[Trace, Cutter, MillingPass]], joins: Sequence[Join]
) -> dict[int, shapely.MultiPolygon]:
    """What each pass sweeps near the joins at the foot of the copper, by pass, blank frame."""
    around = SIDE + 2 * MOST + 1.0
    near = shapely.STRtree([shapely.Point(join.at).buffer(around).envelope for join in joins])
    swept: dict[int, list[Shapes]] = {}
    for trace, cutter, mill_pass in cuts:
        steps = segments(trace)
        pose = mill_pass.pose.inverse()
        ends = np.stack((pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])), axis=1)
        close = np.unique(near.query(shapely.linestrings(ends), predicate="intersects")[0])
        areas = sweep(steps[close], cutter, pose, blank.copper, fine=FINE)
        swept.setdefault(mill_pass.number, []).append(areas)
    united = unite([np.concatenate(areas) for areas in swept.values()])
    return dict(zip(swept, united, strict=True))


def certify(
    joins: Sequence[Join],
    grooves: Mapping[int, shapely.MultiPolygon],
    pieces: Mapping[tuple[int, str], shapely.Polygon],
    *,
    gap: float | None = None,
) -> tuple[JoinTolerance, ...]:
    """What each join on a copper piece stands of a shift between its two passes.

    `grooves` as from `pass_grooves`, `pieces` by (placement, piece) in the blank frame. The
    least `electrical` is the blank's certificate, its join the place that limits it. A turn
    t about a point r away shifts by t·r: add it to the shift before comparing. `gap` is what
    must be left; a band no wider than the asked gap has none to give, so ask for the gap less
    the tolerances of its edges.
    """
    found: list[JoinTolerance] = []
    for join in joins:
        if join.piece is None:
            continue
        first, second = (grooves[number] for number in join.passes)
        place = _Place(join.at, first, second, pieces[(join.placement, join.piece)])
        found.append(
            JoinTolerance(
                join, _least(place, 0.0), None if gap is None else _least(place, gap - 1e-6)
            )
        )
    return tuple(found)


class _Place:
    """The surroundings of one join."""

    def __init__(
        self, at: Point, first: shapely.Geometry, second: shapely.Geometry, piece: shapely.Polygon
    ) -> None:
        x, y = at
        self.window = shapely.box(x - SIDE, y - SIDE, x + SIDE, y + SIDE)
        wide = SIDE + 2 * MOST
        around = (x - wide, y - wide, x + wide, y + wide)
        self.left = shapely.difference(self.window, shapely.clip_by_rect(first, *around))
        self.second = shapely.clip_by_rect(second, *around)
        # Copper near the second pass's groove moves with that groove: no marks there.
        fixed = shapely.difference(self.copper(0.0, 0.0, 0.0), self.second.buffer(1.5 * MOST))
        self.inside = shapely.intersection(fixed, piece.buffer(-0.03))
        self.outside = shapely.difference(fixed, piece.buffer(SIDE / 10))

    def copper(self, dx: float, dy: float, worn: float) -> shapely.Geometry:
        """What stays in the window with the second pass off by (dx, dy), its groove worn."""
        moved = shapely.transform(self._worn(worn), lambda xy: xy + np.array([dx, dy]))
        return shapely.difference(self.left, moved)

    @lru_cache(maxsize=32)  # noqa: B019 - lives as long as the place, which is short
    def _worn(self, by: float) -> shapely.Geometry:
        # The worn edge is a polygon inside the round one: wear a little more to be sure.
        return self.second.buffer(-by / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)

    def holds(self, dx: float, dy: float, worn: float, gap: float) -> bool:
        """Whether inside and outside stay apart, and by the gap, whatever `worn` allows."""
        parts = np.asarray(shapely.get_parts(self.copper(dx, dy, worn)))
        inner = shapely.intersects(parts, self.inside)
        outer = shapely.intersects(parts, self.outside)
        if (inner & outer).any():
            return False
        if gap <= 0 or not inner.any() or not outer.any():
            return True
        near = shapely.distance(shapely.union_all(parts[inner]), shapely.union_all(parts[outer]))
        return bool(near >= gap)


def _least(place: _Place, gap: float) -> float:
    """Length of the shortest mismatch that the join is not known to stand."""
    squares = [(0.0, 0.0, 0.0, MOST)]
    while squares:
        near, x, y, half = heapq.heappop(squares)
        if near >= MOST:
            break
        reach = half * math.sqrt(2)
        if place.holds(x, y, reach, gap):
            continue
        # The square's nearest point is at most two of its reaches from its farthest.
        if 2 * reach <= TOLERANCE:
            return near
        quarter = half / 2
        for sx in (-quarter, quarter):
            for sy in (-quarter, quarter):
                cx, cy = x + sx, y + sy
                ax, ay = max(abs(cx) - quarter, 0.0), max(abs(cy) - quarter, 0.0)
                heapq.heappush(squares, (math.hypot(ax, ay), cx, cy, quarter))
    return MOST
