"""The board's holes as they were cut, and the copper left around them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.as_cut import CopperPart, Groove
from millprep.model.board import Hole
from millprep.model.finding import Finding
from millprep.model.layout import Placement, on_blank

LEAST_ANNULAR_RING = 0.15
"""External annular ring of an unplated hole, mm: IPC-2221 table 9-2, from memory."""
SIZE_TOLERANCE = 0.15
"""A hole that misses its diameter by more, mm, was made by the wrong cutter."""
OFF = 0.015
"""A hole may lie off its place by all tolerances together, mm (the house's table)."""
SLOT_LEFT = 0.05
"""What stays of a slot's area is left over when it is wider than twice this, mm."""
NO_RING = 0.002
"""An annular ring thinner than the tolerance of the paths, mm, is none."""


def holes_cut(grooves: Sequence[Groove], placement: Placement) -> dict[str, shapely.Polygon]:
    """The area each hole of the copy took from the copper, by hole id; missing holes are not in.

    The area of the groove that surrounds the hole's middle and comes nearest to its size,
    filled. A hole that only a larger groove cut (a slot, the edge) is taken at its own size.
    A slot is what was cut of its own area, grown by the tolerance.
    """
    holes = [hole for hole in placement.board.holes if hole.end is None]
    slots = [hole for hole in placement.board.holes if hole.end is not None]
    if not holes and not slots:
        return {}
    areas = np.array(
        [area for groove in grooves for area in shapely.get_parts(groove.surface).tolist()],
        dtype=object,
    )
    if not len(areas):
        return {}
    result = _milled(areas, slots, placement)
    if not holes:
        return result
    filled = np.asarray(shapely.polygons(shapely.get_exterior_ring(areas)))
    middles = shapely.points([placement.pose.point(hole.at) for hole in holes])
    nominal = np.array([hole.diameter for hole in holes])
    across = 2 * np.sqrt(shapely.area(filled) / math.pi)
    which, area = shapely.STRtree(filled).query(middles, predicate="within")
    for i, hole in enumerate(holes):
        here = area[which == i]
        if not len(here):
            continue
        best = here[int(np.argmin(np.abs(across[here] - nominal[i])))]
        if across[best] < 1.5 * nominal[i] + SIZE_TOLERANCE:
            result[hole.id] = filled[best]
        elif bool(shapely.intersects(areas[here], middles[i]).any()):
            result[hole.id] = shapely.buffer(middles[i], nominal[i] / 2)
    return result


def _milled(
    areas: NDArray[np.object_], slots: Sequence[Hole], placement: Placement
) -> dict[str, shapely.Polygon]:
    """What the grooves took of each slot and close around it; slots half uncut are not in.

    A groove that lies next to the slot, such as the isolation of its pad, is no part of it.
    """
    result: dict[str, shapely.Polygon] = {}
    tree = shapely.STRtree(areas)
    for slot in slots:
        drawn = _drawn(slot, placement)
        own = areas[tree.query(drawn, predicate="intersects")]
        own = own[shapely.area(shapely.intersection(own, drawn)) > NO_RING * drawn.length]
        around = _drawn(slot, placement, SIZE_TOLERANCE)
        taken = shapely.union_all([drawn.intersection(a) for a in own])
        if taken.area < drawn.area / 2:
            continue
        cut = shapely.union_all([around.intersection(a) for a in own])
        result[slot.id] = max(shapely.get_parts(cut).tolist(), key=lambda part: part.area)
    return result


def _drawn(hole: Hole, placement: Placement, more: float = 0.0) -> shapely.Polygon:
    """A hole's area as drawn, on the blank, grown by so much."""
    there = hole.transformed(placement.pose)
    area: shapely.Polygon = there.spine.buffer(hole.diameter / 2 + more, quad_segs=64)
    return area


def _slot_faults(slot: Hole, area: shapely.Polygon, placement: Placement) -> list[Finding]:
    """A slot that keeps laminate in it, or is cut beyond its edge."""
    findings: list[Finding] = []
    drawn = _drawn(slot, placement)
    left = [
        part
        for part in shapely.get_parts(shapely.difference(drawn, area)).tolist()
        if not shapely.is_empty(shapely.buffer(part, -SLOT_LEFT))
    ]
    if left:
        largest = max(left, key=lambda part: part.area)
        spot = largest.representative_point()
        message = (
            f"{slot.words} keeps {largest.area:.2f} mm² uncut: it is too short or narrow, off its "
            "place, or has a loose core. Write the set again."
        )
        findings.append(on_blank(placement, "slot-not-cleared", "stop", message, (spot.x, spot.y)))
    # beyond the tolerance the area is cut off, so that a cut that goes on ends at its limit
    corners = shapely.points(shapely.get_coordinates(shapely.difference(area, drawn)))
    beyond = float(shapely.distance(corners, drawn).max(initial=0.0))
    if beyond > SIZE_TOLERANCE - NO_RING:
        message = (
            f"{slot.words} is cut more than {SIZE_TOLERANCE:g} mm beyond its edge. "
            "Check which cutter the program is for."
        )
        at = placement.pose.point(slot.at)
        findings.append(on_blank(placement, "hole-size", "warn", message, at))
    return findings


def check_holes(
    surface: Sequence[CopperPart],
    placement: Placement,
    cut: Mapping[str, shapely.Polygon],
    grooves: Sequence[Groove] = (),
) -> list[Finding]:
    """Holes that are missing, of the wrong size or depth, too near an edge, or through it.

    `surface` is the copper at its surface, `cut` the holes as from `holes_cut`.
    """
    findings: list[Finding] = []
    standing: dict[str, list[str]] = {}
    for hole in placement.board.holes:
        at = placement.pose.point(hole.at)
        area = cut.get(hole.id)
        if area is None:
            message = f"{hole.words} is not cut. Write the set again."
            findings.append(on_blank(placement, "hole-missing", "stop", message, at))
            continue
        across = 2 * math.sqrt(area.area / math.pi)
        if hole.end is not None:
            findings += _slot_faults(hole, area, placement)
        elif abs(across - hole.diameter) > SIZE_TOLERANCE:
            message = (
                f"hole {hole.id} comes out {across:.2f} mm wide, nominal {hole.diameter:.2f}. "
                "Check which cutter the program is for."
            )
            findings.append(on_blank(placement, "hole-size", "warn", message, at))
        else:
            off = math.dist(area.centroid.coords[0], at)
            if off > OFF:
                message = f"hole {hole.id} is cut {off:.3f} mm off its place. Write the set again."
                findings.append(on_blank(placement, "hole-off", "warn", message, at))
        if hole.piece is not None:
            standing.setdefault(hole.piece, []).append(hole.id)
    findings += _floors(placement, cut, grooves)
    where = {hole.id: placement.pose.point(hole.at) for hole in placement.board.holes}
    for part in surface:
        for copy, piece in part.pieces:
            if copy != placement.index:
                continue
            ids = standing.get(piece, [])
            for name, ring in zip(ids, _widths(part.shape, [cut[i] for i in ids]), strict=True):
                if ring < LEAST_ANNULAR_RING:
                    findings.append(_thin(placement, name, piece, ring, where[name]))
    return findings


def _floors(
    placement: Placement, cut: Mapping[str, shapely.Polygon], grooves: Sequence[Groove]
) -> list[Finding]:
    """Holes that do not go through the laminate, where the grooves say how deep they are.

    A core that is left in a hole comes out with it.
    """
    known = [groove for groove in grooves if groove.under is not None]
    if not known:
        return []
    open_above, open_below = (
        shapely.STRtree(shapely.get_parts(np.array(level, dtype=object)))
        for level in ([g.surface for g in known], [g.under for g in known])
    )

    def within(tree: shapely.STRtree, area: shapely.Geometry) -> shapely.Geometry:
        near = tree.geometries[tree.query(area, predicate="intersects")]
        return shapely.union_all(shapely.intersection(near, area))

    findings: list[Finding] = []
    for hole in placement.board.holes:
        if hole.id not in cut:
            continue
        inner = shapely.buffer(cut[hole.id], -SLOT_LEFT)
        floor = shapely.difference(within(open_above, inner), within(open_below, inner))
        floor = shapely.buffer(shapely.buffer(floor, -NO_RING), NO_RING)
        if not floor.is_empty:
            spot = floor.representative_point()
            message = f"{hole.words} does not go through the laminate. Write the set again."
            findings.append(
                on_blank(placement, "hole-not-through", "stop", message, (spot.x, spot.y))
            )
    return findings


def _thin(
    placement: Placement, hole: str, piece: str, ring: float, at: tuple[float, float]
) -> Finding:
    if ring <= NO_RING:
        message = (
            f"hole {hole} breaks through the edge of piece {piece}. "
            "Move the hole, or make its pad larger or the drill smaller."
        )
        return on_blank(placement, "hole-breaks-out", "stop", message, at)
    message = (
        f"the annular ring of hole {hole} on piece {piece} is {ring:.3f} mm, "
        f"{LEAST_ANNULAR_RING:.2f} mm is the least for an unplated hole. Make the pad larger."
    )
    return on_blank(placement, "annular-ring-thin", "warn", message, at)


def _widths(part: shapely.Polygon, holes: Sequence[shapely.Polygon]) -> list[float]:
    """Copper from each hole to the nearest other edge of the part."""
    edges = np.asarray(shapely.get_rings(part))
    solid = np.asarray(shapely.polygons(edges))
    out: list[float] = []
    for hole in holes:
        own = shapely.covered_by(solid, shapely.buffer(hole, NO_RING))
        out.append(float(shapely.distance(edges[~own], hole).min(initial=math.inf)))
    return out
