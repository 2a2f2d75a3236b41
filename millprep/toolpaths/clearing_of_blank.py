"""Floating copper: what of it is cleared on a blank, around which pads, and by which paths.

Pads are the copper that solder holds a lead to (IPC: land), without the tracks that lead there.
A drawing holds copper and holes, not pads. The pad of a hole is the part of its piece that is about
as wide as the copper all around the hole. Where no disc of `SHARE` of that width fits there is a
track if the copper leads on, and a corner of the pad if it ends. A pad also ends where solder no
longer reaches, so a hole in a wide area has a pad and not the whole area.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offsets
from millprep.model.blank import Blank, Placement, metal
from millprep.model.board import Board, Hole
from millprep.model.cut import Clearing
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.job.nets import NetFacts
from millprep.model.job.work import ClearingPlan
from millprep.toolpaths import by_voltage, checks
from millprep.toolpaths.by_voltage import SpacingRules
from millprep.toolpaths.clearing import clear

SHARE = 0.9
"""Copper narrower than this fraction of the copper around the hole is a track."""
LONG = 2.0
"""A pad reaches from the centre of its hole no farther than so many times its half width: an
oblong of twice its width is a pad from end to end; common practice, no source."""
AROUND = 2.5
"""A pad reaches no farther than this beyond the rim of its hole, mm: as far as solder flows
by hand; common practice, no source."""
AS_CUT = 0.05
"""Copper as cut is a pad up to so far beyond the pad's drawn edge, mm: what the cut leaves."""
ROUND = 1e-6
HAIR = 0.002
"""Copper of less than this width around a pad, mm, is the rounding of its edge."""
GRID = 1e-6
"""Areas that are added up snap to this, mm, so that no hairlines stay between them."""
_QUARTER = 32
"""Chords to a quarter of the circles that bound a pad: 2 µm off at 2 mm."""


@dataclass(frozen=True, slots=True)
class Pad:
    """The pad of a hole, drawing frame.

    Attributes:
        hole: that it surrounds.
        piece: id of the copper piece that it is part of.
        shape: its area, the hole not taken out.
        width: diameter of the largest disc of copper about the hole's centre, mm; of a slot,
            the width of copper across it.
    """

    hole: Hole
    piece: str
    shape: shapely.Polygon
    width: float


@lru_cache(maxsize=64)
def board_pads(board: Board) -> tuple[Pad, ...]:
    """The pads of a board, in the order of its holes; cached, since several steps use them.

    A hole that does not have copper all around has none.
    """
    shapes = {piece.id: piece.shape for piece in board.pieces}
    pads = (drawn_pad_of(hole, shapes[hole.piece]) for hole in board.holes if hole.piece in shapes)
    return tuple(pad for pad in pads if pad is not None)


def widths(board: Board) -> dict[str, float]:
    """The width of every pad, mm, by the id of its hole: `Pad.width` without the shapes."""
    shapes = {piece.id: piece.shape for piece in board.pieces}
    on = [hole for hole in board.holes if hole.piece in shapes]
    around = ((hole.id, _around(hole, shapes[hole.piece or ""])) for hole in on)
    return {name: 2 * copper[1] for name, copper in around if copper is not None}


def drawn_pad_of(hole: Hole, piece: shapely.Polygon) -> Pad | None:
    """The pad of a hole on a piece; None when its copper does not go all around it."""
    spine, around = hole.spine, _around(hole, piece)
    if around is None:
        return None
    whole, half = around
    far = hole.diameter / 2 + AROUND
    reach, core = min(LONG * half, far), SHARE * min(half, far)
    within = spine.buffer(reach, quad_segs=_QUARTER)
    near = _part(shapely.intersection(whole, within), spine)
    wide = _part(near.buffer(-core, quad_segs=_QUARTER), spine).buffer(core, quad_segs=_QUARTER)
    # a little wider, else a hairline of rounding could connect a corner to a track
    cover = wide.buffer(GRID, join_style="mitre")
    rest = shapely.get_parts(shapely.difference(near, cover))
    rest = rest[shapely.area(rest) > HAIR * core]
    off_edge = rest[shapely.distance(rest, within.boundary) > ROUND]
    corners = shapely.buffer(off_edge, 2 * GRID, join_style="mitre").tolist()
    shape = shapely.union_all([wide, *corners], grid_size=GRID) if corners else wide
    return Pad(hole, hole.piece or "", _part(shape, spine), 2 * half)


def joined(pads: Sequence[Pad], by: float = 0.0) -> BaseGeometry:
    """The pads grown by a distance, as one area."""
    return shapely.union_all([shapely.buffer(pad.shape, by, quad_segs=_QUARTER) for pad in pads])


def _around(hole: Hole, piece: shapely.Polygon) -> tuple[shapely.Polygon, float] | None:
    """The piece without the hole's own gap, and how much copper is around the hole's centre."""
    spine = hole.spine
    # an annulus is drawn with a gap for the hole: that is no edge of the pad
    kept = [ring for ring in piece.interiors if not _encloses(ring, spine)]
    whole = shapely.Polygon(piece.exterior, kept)
    if not whole.contains(spine):
        return None
    half = float(shapely.distance(spine, whole.boundary))
    return None if half <= hole.diameter / 2 + ROUND else (whole, half)


def _encloses(ring: shapely.LinearRing, spine: BaseGeometry) -> bool:
    """Whether a gap in the copper holds the centre of the hole."""
    return bool(shapely.intersects(shapely.Polygon(ring), spine))


def _part(shape: BaseGeometry, spine: BaseGeometry) -> shapely.Polygon:
    """The part of an area that the hole is in."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return min(parts, key=lambda part: float(shapely.distance(part, spine)))


Facts = Mapping[str, Sequence[NetFacts]]
"""The nets that the job names, by the name of their board."""


def cleared(
    job: JobPlan, blank: Blank, placements: Sequence[Placement], facts: Facts
) -> tuple[tuple[Clearing, ...], tuple[Finding, ...]]:
    """The paths that clear the boards of a blank, with findings."""
    clearings: list[Clearing] = []
    findings: list[Finding] = []
    for placement in placements:
        area, noticed = _area(job, blank, placement, facts.get(placement.board.name, ()))
        findings += noticed
        if area.is_empty:
            continue
        plan = _plan(job)
        done = clear(
            area,
            list(placement.pieces.values()),
            plan.cutters,
            depth=plan.depth,
            copper=blank.copper,
            overlap=plan.overlap,
            direction=job.isolation.direction,
            placement=placement.index,
            beyond=job.isolation.gap / 2,
        )
        clearings += done.clearings
        findings += checks.check_cleared(done.left, placement, plan)
    return tuple(clearings), tuple(findings)


def _plan(job: JobPlan) -> ClearingPlan:
    """How to clear; without [clearing] as for isolation."""
    isolation = job.isolation
    return job.clearing or ClearingPlan(
        cutters=isolation.cutters,
        # every cutter may go as deep as its shallowest groove
        depth=min(use.depth for use in isolation.uses),
        overlap=isolation.overlap,
    )


def _area(
    job: JobPlan, blank: Blank, placement: Placement, nets: Sequence[NetFacts]
) -> tuple[BaseGeometry, tuple[Finding, ...]]:
    """What to clear on a copy, at the foot of the copper, blank frame."""
    isolation = job.isolation
    plan = next(board_plan for board_plan in job.boards if board_plan.name == placement.board.name)
    whole = job.clearing is not None and job.clearing.copper == "all"
    if not (whole or plan.clear or isolation.by_voltage or isolation.pad_gap):
        return shapely.Polygon(), ()
    # of several cutters the one that leaves most: what is cleared twice does no harm
    skirt = min(use.skirt(blank.copper) for use in isolation.uses)
    foot = min(use.foot(blank.copper) for use in isolation.uses)
    gap = max(isolation.gap, foot)
    outline = placement.pose.shape(placement.board.outline)
    pieces = placement.pieces
    grooves = shapely.union_all(offsets(list(pieces.values()), skirt + gap))
    floating = shapely.difference(outline, grooves)
    if whole:
        return floating, ()
    areas = [
        shapely.intersection(placement.pose.shape(shapely.Polygon(area.outline)), floating)
        for area in plan.clear
    ]
    if isolation.pad_gap is not None:
        soldered = [placement.pose.shape(pad.shape) for pad in board_pads(placement.board)]
        areas.append(copper_around_pads(floating, soldered, gap=isolation.pad_gap, skirt=skirt))
    findings: tuple[Finding, ...] = ()
    if isolation.by_voltage:
        rules = job.rules
        spacing = SpacingRules(
            column=rules.spacing, pad_column=rules.lands, least_counted=rules.least_counted_gap
        )
        widened = by_voltage.widen(
            floating,
            pieces,
            nets,
            spacing,
            gap=gap,
            skirt=skirt,
            metal=[board_plan for _, board_plan in metal(placement, rules.fixing_metal)]
            if rules.edge
            else [],
            pads=placement.pose.shape(
                joined(board_pads(placement.board) if rules.lands else (), AS_CUT)
            ),
        )
        areas.append(widened.area)
        findings = checks.check_voltages(widened, nets, placement)
    area = shapely.union_all(areas)
    return area, tuple(replace(f, blank=placement.blank) for f in findings)


SPARE = 0.01
"""Gaps are widened by this much more, for the rounding of curves, mm."""


def copper_around_pads(
    floating: BaseGeometry, pads: Sequence[BaseGeometry], *, gap: float, skirt: float
) -> BaseGeometry:
    """The floating copper to remove for a wider gap around pads, at the foot of the copper.

    The gap is for soldering by hand without a solder mask. Copper of another piece that is drawn
    nearer stays, and the proof reports it.

    Args:
        floating: copper that isolation leaves and that belongs to no piece.
        pads: drawn, in the frame of the floating copper.
        gap: required, mm.
        skirt: how far the foot of the copper reaches beyond its drawn edge, mm.
    """
    if not pads:
        return shapely.Polygon()
    strips = shapely.union_all(offsets(pads, skirt + gap + SPARE))
    return shapely.intersection(floating, strips)
