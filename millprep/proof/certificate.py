"""How far two passes may lie apart before a join leaks, parts its piece, or loses the gap.

A groove shifted by any vector of at most e covers the groove worn by e on every edge, and lies
within the groove grown by e. So one test with the second pass's groove shifted by d and worn
(or grown) by e vouches for every mismatch within e of d. The plane of mismatches is covered by
squares, the nearest to no mismatch first; a square that its test does not vouch for is split,
until one of the tolerance's size stays in doubt: its nearest point is the certificate. Only
grooves are worn or grown, never copper, and the copper's sides are told apart by marks: those
of the first pass stand still, those of the second move with it.

A band that is hardly wider than the asked gap needs squares as small as its slack, so how far
the gap lasts is looked for only as far as it matters.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.proof.as_cut import unite
from millprep.proof.sweep import WORKERS, Shapes, segments, sweep
from millprep.proof.trace import Trace
from millprep.values.blank import Blank
from millprep.values.certificate import Certificate, Limit
from millprep.values.cutter import Cutter
from millprep.values.layout import Layout
from millprep.values.milling_pass import Join, MillingPass
from millprep.values.path import Point

MOST = 0.5
"""Mismatches beyond this, mm, are not looked at."""
TOLERANCE = 0.002
"""The certificate is at most this far below the true tolerance, mm."""
AHEAD = 1.5
"""How far the gap lasts is looked for up to so many times the mismatch to expect."""
SIDE = 2.5
"""Half the side of the window around a join, mm."""
FINE = 4
"""Discs are this much finer than for the proof: gaps shrink slowly, tolerances fast."""
MARK = 0.03
"""How far from an edge of copper a mark stands at least, mm."""
INSCRIBED = 1e-4
"""A polygon of the sweep lies at most this far inside the round groove, mm: grooves that must
not be too narrow are grown by it."""
_SEGMENTS = 16

Kind = Literal["short", "open", "gap"]


@dataclass(frozen=True, slots=True)
class JoinTolerance:
    """What one join stands.

    Attributes:
        electrical: mismatch before copper joins the two sides of the groove, mm.
        gap: mismatch before they come nearer than the asked gap; None when none was asked.
        whole: mismatch before the piece is parted, looked for as far as `electrical`; None when
            that was not asked.
    """

    join: Join
    electrical: float
    gap: float | None
    whole: float | None = None


Grooves = Mapping[int, shapely.MultiPolygon]
"""What each pass sweeps near the joins, by pass."""


def certificate_of(
    layout: Layout,
    cuts: Mapping[int, Sequence[tuple[Trace, Cutter, MillingPass]]],
    passes: Sequence[MillingPass],
    joins: Sequence[Join],
    *,
    gap: float,
    edges: float,
) -> Certificate | None:
    """What the joins of all blanks stand; None when no join is on copper.

    `cuts` by blank. `gap` is the asked one, of which the tolerances of two edges may take
    `edges`. How far the gap lasts is looked for up to `AHEAD` times the mismatch to expect.
    """
    limits: list[dict[Kind, Limit]] = []
    levers: list[float] = []
    by_pass = {(one.blank, one.number): one for one in passes}
    for blank in layout.blanks:
        here = [join for join in joins if join.blank == blank.number and join.piece is not None]
        if not here:
            continue
        named = {(join.placement, str(join.piece)) for join in here}
        pieces = {
            (p.index, piece.id): p.pose.shape(piece.shape)
            for p in layout.on(blank.number)
            for piece in p.board.pieces
            if (p.index, piece.id) in named
        }
        ahead = AHEAD * max(join.predicted or MOST for join in here)
        found = weakest(
            here,
            pass_grooves(blank, cuts[blank.number], here),
            pass_grooves(blank, cuts[blank.number], here, surface=True),
            pieces,
            gap=gap - edges,
            gap_most=ahead,
        )
        if found is not None:
            limits.append(found)
        for join in here:
            holes = [
                hole.blank
                for hole in by_pass[blank.number, join.passes[1]].registration
                if hole.role == "locate"
            ]
            middle = np.mean(holes, axis=0) if holes else np.zeros(2)
            levers.append(math.dist(join.at, middle.tolist()))
    if not limits:
        return None

    def least(kind: Kind) -> Limit:
        return min((one[kind] for one in limits), key=lambda limit: limit.mismatch)

    stands = min(least("short").mismatch, least("open").mismatch)
    lever = max(levers)
    # A turn shifts a join by its distance from the middle of the holes.
    turn = math.degrees(2 * math.asin(min(stands / (2 * lever), 1.0))) if lever else 180.0
    return Certificate(least("short"), least("open"), least("gap"), gap - edges, turn)


def pass_grooves(
    blank: Blank,
    cuts: Sequence[tuple[Trace, Cutter, MillingPass]],
    joins: Sequence[Join],
    *,
    surface: bool = False,
) -> dict[int, shapely.MultiPolygon]:
    """What each pass sweeps near the joins, by pass, blank frame.

    At the foot of the copper, or at its surface.
    """
    level = 0.0 if surface else blank.copper
    around = SIDE + 2 * MOST + 1.0
    near = shapely.STRtree([shapely.Point(join.at).buffer(around).envelope for join in joins])
    swept: dict[int, list[Shapes]] = {}
    for trace, cutter, mill_pass in cuts:
        steps = segments(trace)
        pose = mill_pass.pose.inverse()
        ends = np.stack((pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])), axis=1)
        close = np.unique(near.query(shapely.linestrings(ends), predicate="intersects")[0])
        areas = sweep(steps[close], cutter, pose, level, fine=FINE)
        swept.setdefault(mill_pass.number, []).append(areas)
    united = unite([np.concatenate(areas) for areas in swept.values()])
    return dict(zip(swept, united, strict=True))


def certify(
    joins: Sequence[Join],
    grooves: Grooves,
    pieces: Mapping[tuple[int, str], shapely.Polygon],
    *,
    gap: float | None = None,
    surface: Grooves | None = None,
) -> tuple[JoinTolerance, ...]:
    """What each join on a copper piece stands of a shift between its two passes.

    `grooves` as from `pass_grooves`, `surface` likewise at the surface, where opens are judged;
    `pieces` by (placement, piece) in the blank frame. `gap` is what must be left; a band no
    wider than the asked gap has none to give, so ask for the gap less the tolerances of its
    edges. A turn t about a point r away shifts by t·r: add it to the shift before comparing.
    """
    found: list[JoinTolerance] = []
    for join in joins:
        if join.piece is None:
            continue
        place = _place(join, grooves, pieces)
        leaks = _least(place, 0.0)
        told = JoinTolerance(join, leaks, None if gap is None else _least(place, gap - 1e-6))
        if surface is not None:
            # Beyond a leak nobody can say what is the piece and what is not.
            told = replace(told, whole=_least(_open_place(join, surface, pieces), 0.0, leaks))
        found.append(told)
    return tuple(found)


def weakest(
    joins: Sequence[Join],
    grooves: Grooves,
    surface: Grooves,
    pieces: Mapping[tuple[int, str], shapely.Polygon],
    *,
    gap: float,
    gap_most: float,
) -> dict[Kind, Limit] | None:
    """The joins that give way first, by what is lost; None when no join is on copper.

    As `certify` tells, but a join that stands more than the weakest so far is not asked how
    much more, which is far quicker. For how far the gap lasts no mismatch beyond `gap_most` is
    looked at.
    """
    asked = [join for join in joins if join.piece is not None]
    if not asked:
        return None
    asks: dict[Kind, tuple[float, float]] = {
        "short": (0.0, MOST), "open": (0.0, MOST), "gap": (gap - 1e-6, min(gap_most, MOST)),
    }  # fmt: skip

    def places(join: Join) -> tuple[_Place, _OpenPlace]:
        return _place(join, grooves, pieces), _open_place(join, surface, pieces)

    # By turns, each thread with its own weakest: what is found hangs on no clock.
    with ThreadPoolExecutor(WORKERS) as pool:
        turns = [asked[k::WORKERS] for k in range(min(WORKERS, len(asked)))]
        done = list(pool.map(lambda some: _weakest(some, places, asks), turns))
    return {kind: min((one[kind] for one in done), key=lambda m: m.mismatch) for kind in asks}


def _weakest(
    joins: Sequence[Join],
    places: Callable[[Join], tuple[_Place, _OpenPlace]],
    asks: Mapping[Kind, tuple[float, float]],
) -> dict[Kind, Limit]:
    """The weakest of some joins; `asks` are the gap and the most to look at, by kind."""
    found: dict[Kind, Limit] = {}
    for join in joins:
        assert join.piece is not None
        foot, surface = places(join)
        for kind, (gap, most) in asks.items():
            best = found.get(kind)
            if kind == "open":
                # Beyond a leak nobody can say what is the piece and what is not.
                most = found["short"].mismatch
            if best is not None and best.mismatch < most:
                # One that stands as much within the tolerance is as weak: no need to know.
                most = max(best.mismatch - TOLERANCE, 0.0)
            stands = _least(surface if kind == "open" else foot, gap, most)
            if best is None or stands < most:
                found[kind] = Limit(stands, join.blank, join.at, join.placement, join.piece)
    return found


def _place(
    join: Join, grooves: Grooves, pieces: Mapping[tuple[int, str], shapely.Polygon]
) -> _Place:
    assert join.piece is not None
    first, second = (grooves[number] for number in join.passes)
    return _Place(join.at, first, second, pieces[(join.placement, join.piece)])


def _open_place(
    join: Join, surface: Grooves, pieces: Mapping[tuple[int, str], shapely.Polygon]
) -> _OpenPlace:
    assert join.piece is not None
    first, second = (surface[number] for number in join.passes)
    return _OpenPlace(join.at, first, second, pieces[(join.placement, join.piece)])


def _clipped(at: Point, *grooves: shapely.Geometry) -> list[shapely.Geometry]:
    """What of grooves may matter at a place, whatever the mismatch."""
    (x, y), wide = at, SIDE + 2 * MOST
    return [shapely.clip_by_rect(one, x - wide, y - wide, x + wide, y + wide) for one in grooves]


def _window(at: Point, side: float = SIDE) -> shapely.Polygon:
    x, y = at
    return shapely.box(x - side, y - side, x + side, y + side)


def _moved(shape: shapely.Geometry, dx: float, dy: float) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: xy + np.array([dx, dy]))


def _less(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    # The worn edge is a polygon inside the round one: wear a little more to be sure.
    less = -by / math.cos(math.pi / (4 * _SEGMENTS))
    (done,) = np.asarray(shapely.buffer([shape], less, quad_segs=_SEGMENTS)).tolist()
    worn: shapely.Geometry = done
    return worn


def _more(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    more = by / math.cos(math.pi / (4 * _SEGMENTS))
    (done,) = np.asarray(shapely.buffer([shape], more, quad_segs=_SEGMENTS)).tolist()
    grown: shapely.Geometry = done
    return grown


class _Place:
    """The surroundings of one join at the foot of the copper."""

    def __init__(
        self, at: Point, first: shapely.Geometry, second: shapely.Geometry, piece: shapely.Polygon
    ) -> None:
        self.window = _window(at)
        first, self.second = _clipped(at, first, second)
        self.left = shapely.difference(self.window, first)
        # Copper that is cut by the second pass moves with it. A mark stands where the other pass's
        # groove never comes, so the copper under it is its own whatever the mismatch: with ticks
        # a join holds though one side has moved by more than its groove is wide.
        parts = np.asarray(shapely.get_parts(self.copper(0.0, 0.0, 0.0)))
        own = shapely.intersects(parts, _less(piece, MARK))
        sides = [
            _less(shapely.GeometryCollection(some.tolist()), MARK)
            for some in (parts[own], parts[~own])
        ]
        still, moving = np.asarray(shapely.buffer([self.second, first], MOST + MARK)).tolist()
        self.still = [shapely.difference(side, still) for side in sides]
        self.moving = [shapely.difference(side, moving) for side in sides]
        # Without marks on both sides nothing could ever be seen to join them.
        self.marked = not any(
            a.is_empty and b.is_empty for a, b in zip(self.still, self.moving, strict=True)
        )

    def copper(self, dx: float, dy: float, worn: float) -> shapely.Geometry:
        """What stays in the window with the second pass off by (dx, dy), its groove worn."""
        return shapely.difference(self.left, _moved(self._worn(worn), dx, dy))

    @lru_cache(maxsize=32)  # noqa: B019 - lives as long as the place, which is short
    def _worn(self, by: float) -> shapely.Geometry:
        return _less(self.second, by)

    def holds(self, dx: float, dy: float, worn: float, gap: float) -> bool:
        """Whether inside and outside stay apart, and by the gap, whatever `worn` allows."""
        if not self.marked:
            return False
        parts = np.asarray(shapely.get_parts(self.copper(dx, dy, worn)))
        inner, outer = (
            shapely.intersects(parts, still) | shapely.intersects(parts, _moved(moving, dx, dy))
            for still, moving in zip(self.still, self.moving, strict=True)
        )
        if (inner & outer).any():
            return False
        if gap <= 0 or not inner.any():
            return True
        side = shapely.multipolygons(parts[inner])
        shapely.prepare(side)
        return not bool(shapely.dwithin(side, parts[outer], gap).any())


class _OpenPlace:
    """The piece of one join at the surface of the copper, where it must stay whole."""

    def __init__(
        self, at: Point, first: shapely.Geometry, second: shapely.Geometry, piece: shapely.Polygon
    ) -> None:
        first, self.second = _clipped(at, first, second)
        window = _window(at)
        # All copper nearby, less what the first pass takes; holes are no grooves here.
        near = shapely.intersection(piece.buffer(2 * MOST), window)
        self.left = shapely.difference(near, _more(first, INSCRIBED))
        whole = shapely.intersection(_less(piece, TOLERANCE), window)
        guard = 1.5 * MOST
        inner = _window(at, SIDE - 2 * MOST)
        moving = shapely.difference(whole, _more(first, guard))
        self.moving = _middles(shapely.intersection(moving, inner))
        # where the piece enters the window, unless it moves there and has a mark that does
        entries = _lines(shapely.intersection(whole, shapely.boundary(window)))
        if len(self.moving):
            entries = entries[shapely.dwithin(entries, first, guard)]
        still = _middles(shapely.difference(whole, _more(self.second, guard)))
        self.still = np.concatenate((entries, still))
        self.together = self._together(0.0, 0.0, 0.0)

    @lru_cache(maxsize=32)  # noqa: B019
    def _grown(self, by: float) -> shapely.Geometry:
        return _more(self.second, by + INSCRIBED)

    def _together(self, dx: float, dy: float, grown: float) -> NDArray[np.bool_]:
        """Which marks hang together, as a square table."""
        left = shapely.difference(self.left, _moved(self._grown(grown), dx, dy))
        parts = np.asarray(shapely.get_parts(left))
        spots = shapely.transform(self.moving, lambda xy: xy + np.array([dx, dy]))
        # A mark that moves stands anywhere in a disc: all of it must be copper.
        discs = np.asarray(shapely.buffer(spots, max(grown, INSCRIBED)))
        on = np.concatenate(
            (
                shapely.intersects(self.still[:, None], parts),
                shapely.covers(parts, discs[:, None]),
            )
        ).astype(int)
        together: NDArray[np.bool_] = on @ on.T > 0
        return together

    def holds(self, dx: float, dy: float, grown: float, _gap: float) -> bool:
        """Whether all that hung together still does, whatever `grown` allows."""
        return bool(self._together(dx, dy, grown)[self.together].all())


def _lines(shape: shapely.Geometry) -> Shapes:
    """The lines of a shape that may hold points as well."""
    parts = np.asarray(shapely.get_parts(shapely.line_merge(shape)), dtype=object)
    lines: Shapes = parts[(shapely.get_dimensions(parts) == 1) & ~shapely.is_empty(parts)]
    return lines


def _middles(shape: shapely.Geometry) -> Shapes:
    """A point in the thick of each part of a shape: the middle of its largest disc, about."""
    parts = np.asarray(shapely.get_parts(shape))
    parts = parts[(shapely.get_dimensions(parts) == 2) & ~shapely.is_empty(parts)]
    if not len(parts):
        return np.array([], dtype=object)
    lines = shapely.maximum_inscribed_circle(parts, tolerance=0.05)
    points: Shapes = np.asarray(shapely.get_point(lines, 0))
    return points


def _least(place: _Place | _OpenPlace, gap: float, most: float = MOST) -> float:
    """Length of the shortest mismatch that the join is not known to stand, or `most`."""
    squares = [(0.0, 0.0, 0.0, MOST)]
    while squares:
        near, x, y, half = heapq.heappop(squares)
        if near >= most:
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
    return most
