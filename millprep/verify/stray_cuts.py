"""What is cut where nothing requires it.

Comparing the copper with the design shows cuts that come too near to a piece. A cut over
floating copper joins and separates nothing, and still is no cut that anybody wanted: a path that
runs on, an arc around the wrong centre. So every cut that goes through the copper must lie where
its cutter has business: in holes and slots as drawn, and in those that find the blank again; what
isolates, within its reach around a piece; what profiles, in its kerf; what clears, in its areas.
What isolates or clears also engraves marks outside the boards; there nothing more is checked.

What is checked is the cutter's axis: where its edge may reach so far from a piece, its axis
may go so far less the radius at the copper's foot. Where the reaches of two pieces meet, a cutter
may cross from one to the other, if all that it cuts there lies within one reach or the other. Laps
in the middle of gaps have no such reach; there nothing is required of isolation.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank, Placement
from millprep.model.board import Hole
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, limited
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.verify.edges import EDGE
from millprep.verify.holes_as_cut import OFF
from millprep.verify.sweep import (
    DISC_TOLERANCE,
    Shapes,
    Steps,
    arc_samples,
    clipped,
    dilated,
    quarter,
    radii,
    steps_of,
)
from millprep.verify.trace import Trace, TraceMove

ROUND = 1e-4
"""Radii are distinguished to this, mm."""
BEYOND = 50.0
"""The area outside the boards goes on for so much beyond the blank, mm: marks may end there."""


@dataclass(frozen=True, slots=True)
class ProgramCuts:
    """A program read back, the cutter that runs it and its pass."""

    file: str
    trace: Trace
    cutter: Cutter
    mill_pass: MillingPass


@dataclass(frozen=True, slots=True)
class AllowedCuts:
    """Where a job wants cuts beyond holes and edges.

    Attributes:
        profile: name of the cutter that cuts boards out.
        reaches: by isolating cutter, how far from a piece's edge its outermost lap may reach at the
            foot of the copper, mm.
        clearing: names of the cutters that clear.
        cleared: by placement, the area that may be cleared, blank frame.
        unbound: names of cutters of which nothing is required.
    """

    profile: str
    reaches: Mapping[str, float] = field(default_factory=dict)
    clearing: frozenset[str] = frozenset()
    cleared: Mapping[int, shapely.Geometry] = field(default_factory=dict)
    unbound: frozenset[str] = frozenset()


def lap_reach(surface: float, foot: float, gap: float) -> float:
    """How far from a piece laps reach at the foot that open the required gap there, mm.

    The first lap's edge lies on the piece at the surface and half of what the groove is narrower
    below away from it at the foot; from there goes the required gap, or one foot's width.
    """
    return max(gap, foot) + (surface - foot) / 2


def check_stray_cuts(
    blank: Blank,
    cuts: Sequence[ProgramCuts],
    placements: Sequence[Placement],
    passes: Sequence[MillingPass],
    joins: Sequence[Join],
    allowed: AllowedCuts,
) -> tuple[Finding, ...]:
    """One stop for each cut of a blank that lies where its work has no business.

    `placements` are the copies on the blank, `passes` and `joins` its own.
    """
    steps = steps_of([(cut.trace, cut.cutter, cut.mill_pass) for cut in cuts])
    holes = tuple(dict.fromkeys(hole for each in passes for hole in each.registration))
    findings: list[Finding] = []
    stray = _places(blank, steps, placements, holes, joins, allowed)
    for cut, places in zip(cuts, stray, strict=True):
        if places:
            lines_of = _lines(cut, places, blank.copper)
            findings += [
                _finding(cut, blank, placements, at, line)
                for at, line in zip(places, lines_of, strict=True)
            ]
    return limited(findings)


@cached
def _places(
    blank: Blank,
    cuts: Sequence[Steps],
    placements: Sequence[Placement],
    holes: Sequence[RegistrationHole],
    joins: Sequence[Join],
    allowed: AllowedCuts,
) -> tuple[list[Point], ...]:
    """Where each of the cuts has no business, blank frame."""
    where = _Where(blank, placements, holes, joins, allowed)
    strays: list[list[Point]] = []
    for cut in cuts:
        places: list[Point] = []
        if cut.cutter.name not in allowed.unbound:
            lines, wide = _axes(cut, blank.copper)
            for radius in np.unique(wide).tolist():
                alike = lines[wide == radius]
                areas = where.of(cut.cutter.name, radius)
                # most lie within one area; GEOS prepares the areas it queries with
                _, held = shapely.STRtree(alike).query(areas, predicate="covers")
                alike = np.delete(alike, held)
                areas = np.concatenate((where.in_holes(radius, alike), areas))
                places += [
                    _farthest(loose, areas)
                    for loose in _outside(alike, areas)
                    if not where.between_pieces(cut.cutter.name, radius, loose)
                ]
        strays.append(places)
    return tuple(strays)


class _Where:
    """Where axes may run on a blank; every area is made once."""

    def __init__(
        self,
        blank: Blank,
        placements: Sequence[Placement],
        registration: Sequence[RegistrationHole],
        joins: Sequence[Join],
        allowed: AllowedCuts,
    ) -> None:
        self.blank, self.allowed = blank, allowed
        holes: list[Hole | RegistrationHole] = [
            *(hole for p in placements for hole in p.holes),
            *registration,
        ]
        self.spines = _array([hole.spine for hole in holes])
        self.across = np.array([hole.diameter for hole in holes], dtype=float)
        self.ticks = [join for join in joins if join.tick]
        self.outlines = [p.pose.shape(p.board.outline) for p in placements]
        self.pieces = _array([piece for p in placements for piece in p.pieces.values()])
        self.hole_tree = shapely.STRtree(self.spines)
        self.piece_tree = shapely.STRtree(self.pieces)
        self.made: dict[tuple[str, float], Shapes] = {}

    def of(self, cutter: str, radius: float) -> Shapes:
        """Where a cutter's axis may run, with so large a radius at the foot, besides holes."""
        key = (cutter, radius)
        if key not in self.made:
            self.made[key] = _array(list(self._made(cutter, radius)))
        return self.made[key]

    def in_holes(self, radius: float, lines: Shapes) -> Shapes:
        """Where an axis may be in the holes that lines come to."""
        # how far from the middle of a hole an axis may be
        room = np.maximum(self.across / 2 - radius, 0.0) + OFF
        far = float(room.max(initial=0.0))
        _, near = self.hole_tree.query(lines, predicate="dwithin", distance=far)
        near = np.unique(near)
        return np.asarray(shapely.buffer(self.spines[near], room[near], quad_segs=16))

    def between_pieces(self, cutter: str, radius: float, loose: shapely.Geometry) -> bool:
        """Whether a cutter that isolates cuts along a way only what lies in reach of pieces."""
        far = self.allowed.reaches.get(cutter)
        if far is None or radius <= DISC_TOLERANCE:
            return False
        cut = shapely.buffer(loose, radius - DISC_TOLERANCE, quad_segs=quarter(radius))
        near = self.pieces[self.piece_tree.query(cut, predicate="dwithin", distance=far + EDGE)]
        # what lies farther off reaches no point of the cut
        window = shapely.bounds(shapely.buffer(cut, far + 2 * EDGE))
        reach = dilated(shapely.clip_by_rect(near, *window), far + EDGE, quarter(far))
        return bool(shapely.covers(shapely.union_all(reach), cut))

    def _made(self, cutter: str, radius: float) -> Iterator[shapely.Geometry]:
        allowed = self.allowed
        if cutter == allowed.profile:
            fine = quarter(radius)
            for outline in self.outlines:
                kerf = shapely.buffer(outline.boundary, radius + EDGE, quad_segs=fine)
                yield kerf.difference(shapely.buffer(outline, radius - EDGE, quad_segs=fine))
        if cutter in allowed.clearing:
            for area in allowed.cleared.values():
                # corners are cleared from outside the area, by no more than the radius
                yield shapely.buffer(area, radius + EDGE)
        if cutter in allowed.reaches:
            yield from self._laps(allowed.reaches[cutter], radius)
            yield self._frame(radius)
        elif cutter in allowed.clearing:
            yield self._frame(radius)

    def _laps(self, far: float, radius: float) -> Iterator[shapely.Geometry]:
        reach = max(far - radius + EDGE, 0.0)
        yield from dilated(self.pieces, reach, quarter(reach)).tolist()
        for join in self.ticks:
            # a lap's two ends lie an overrun from the join, the ticks go outward from there;
            # which way that is no report says, so all ways are free
            along, across = 1.5 * join.overrun + EDGE, 2 * far + join.tick + EDGE
            yield shapely.Point(join.at).buffer(math.hypot(along, across))

    def _frame(self, radius: float) -> shapely.Geometry:
        """Outside of all boards: nobody's circuit."""
        w, h = self.blank.size
        area = shapely.box(-BEYOND, -BEYOND, w + BEYOND, h + BEYOND)
        fine = quarter(radius)
        boards = shapely.buffer(_array(self.outlines), max(radius - EDGE, 0.0), quad_segs=fine)
        return shapely.difference(area, shapely.union_all(boards))


def _axes(cut: Steps, level: float) -> tuple[Shapes, FloatArray]:
    """The axes' ways through the copper, blank frame, each with its radius at the level."""
    steps = clipped(cut.steps, level)
    if not len(steps):
        return _array([]), np.zeros(0)
    wide = np.maximum(
        radii(cut.cutter, -steps[:, 2], level),
        radii(cut.cutter, -steps[:, 5], level),
    )
    joined = (np.abs(steps[1:, 0:3] - steps[:-1, 3:6]) < 1e-9).all(axis=1)
    first = np.concatenate(([0], np.flatnonzero(~joined) + 1))
    pose = cut.pose
    a, b = pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])
    chain = np.repeat(np.arange(len(first)), np.diff([*first.tolist(), len(steps)]))
    points = np.insert(b, first, a[first], axis=0)
    lines = np.asarray(shapely.linestrings(points, indices=np.insert(chain, first, chain[first])))
    still = shapely.length(lines) < 1e-9
    lines[still] = shapely.points(a[first[still]])
    most = np.maximum.reduceat(wide, first)
    return lines, np.ceil(most / ROUND - 1e-6) * ROUND


def _outside(lines: Shapes, regions: Shapes) -> Iterator[shapely.Geometry]:
    """What of each line leaves the regions."""
    # most lie within one region; GEOS prepares the regions it queries with
    _, held = shapely.STRtree(lines).query(regions, predicate="covers")
    tree = shapely.STRtree(regions)
    for line in np.delete(lines, held).tolist():
        near = regions[tree.query(line, predicate="intersects")]
        left = shapely.difference(line, shapely.union_all(near))
        if not left.is_empty:
            yield left


def _farthest(line: shapely.Geometry, regions: Shapes) -> Point:
    """A place on a line that is farthest from the regions, of which there may be none."""
    spots = np.asarray(shapely.points(shapely.get_coordinates(shapely.segmentize(line, 0.5))))
    tree, far = shapely.STRtree(regions), np.zeros(len(spots))
    if len(regions):
        far = shapely.distance(spots, tree.geometries[tree.nearest(spots)])
    at = spots[int(np.argmax(far))]
    return (float(at.x), float(at.y))


def _finding(
    program_cuts: ProgramCuts, blank: Blank, placements: Sequence[Placement], at: Point, line: int
) -> Finding:
    spot = shapely.Point(at)
    on = next((p for p in placements if p.pose.shape(p.board.outline).covers(spot)), None)
    return Finding(
        code="stray-cut",
        severity="stop",
        message="unexpected cut through copper: no piece, hole or edge that this program is for "
        "is close enough. Do not run the set. This is a fault of millprep: please report it.",
        frame="blank",
        at=at,
        board=None if on is None else on.board.name,
        copy=None if on is None else on.copy,
        blank=blank.number,
        mill_pass=program_cuts.mill_pass.number,
        file=program_cuts.file,
        line=line,
    )


def _lines(program_cuts: ProgramCuts, places: Sequence[Point], level: float) -> list[int]:
    """The line of the move that cuts through each place of the blank."""
    below = [
        move
        for move in program_cuts.trace.moves
        if min(move.start[2], move.end[2]) < -level
        and all(map(math.isfinite, (*move.start[:2], *move.end[:2])))
    ]
    tree = shapely.STRtree(_array([_way(move) for move in below]))
    spots = shapely.points([program_cuts.mill_pass.pose.point(at) for at in places])
    return [below[n].line for n in tree.nearest(spots).tolist()]


def _way(move: TraceMove) -> shapely.LineString:
    if move.centre is None:
        return shapely.LineString([move.start[:2], move.end[:2]])
    (x, y), clockwise = move.centre, move.kind == "arc_cw"
    angle, radius, _ = arc_samples(move.start, move.end, move.centre, clockwise, 0.001)
    return shapely.LineString(
        np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))
    )


def _array(shapes: Sequence[shapely.Geometry]) -> Shapes:
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out
