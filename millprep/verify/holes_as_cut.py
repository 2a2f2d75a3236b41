"""The board's holes as they were cut, and the copper left around them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import Point
from millprep.model.as_cut import CopperPart, Groove
from millprep.model.blank import Placement, on_blank
from millprep.model.board import Hole
from millprep.model.finding import NOT_RUN, Finding, Severity
from millprep.model.milling_pass import RegistrationHole
from millprep.verify.sweep import SAME, alike

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

Fault = Callable[[str, Severity, str, Point], Finding]
"""Makes a finding of code, severity, message and place on the blank."""


def holes_cut(grooves: Sequence[Groove], placement: Placement) -> dict[str, shapely.Polygon]:
    """The area each hole of the copy took from the copper, by hole id; missing holes are not in.

    The area of the groove that surrounds the hole's middle and comes nearest to its size,
    filled. A hole that only a larger groove cut (a slot, the edge) is taken at its own size.
    A slot is what was cut of its own area, grown by the tolerance.
    """
    return _cut_of(grooves, placement.holes)


def _cut_of(grooves: Sequence[Groove], some: Sequence[Hole]) -> dict[str, shapely.Polygon]:
    """The area each hole took, by hole id; holes in the blank frame."""
    holes = [hole for hole in some if hole.end is None]
    slots = [hole for hole in some if hole.end is not None]
    areas = np.array(
        [area for groove in grooves for area in shapely.get_parts(groove.surface).tolist()],
        dtype=object,
    )
    result = _milled(areas, slots)
    if not holes:
        return result
    filled = np.asarray(shapely.polygons(shapely.get_exterior_ring(areas)))
    middles = shapely.points([hole.at for hole in holes])
    nominal = np.array([hole.diameter for hole in holes])
    across = 2 * np.sqrt(shapely.area(filled) / math.pi)
    # GEOS prepares what it queries with, and areas are large
    area, which = shapely.STRtree(middles).query(filled, predicate="contains")
    nearest = np.lexsort((np.abs(across[area] - nominal[which]), which))
    area, which = area[nearest], which[nearest]
    first = np.flatnonzero(np.diff(which, prepend=-1))
    for i, best, here in zip(which[first], area[first], np.split(area, first)[1:], strict=True):
        if across[best] < 1.5 * nominal[i] + SIZE_TOLERANCE:
            result[holes[i].id] = filled[best]
        elif bool(shapely.intersects(areas[here], middles[i]).any()):
            result[holes[i].id] = shapely.buffer(middles[i], nominal[i] / 2)
    return result


def _milled(areas: NDArray[np.object_], slots: Sequence[Hole]) -> dict[str, shapely.Polygon]:
    """What the grooves took of each slot and close around it; slots half uncut are not in.

    A groove that lies next to the slot, such as the isolation of its pad, is no part of it.
    """
    result: dict[str, shapely.Polygon] = {}
    tree = shapely.STRtree(areas)
    for slot in slots:
        drawn = _drawn(slot)
        own = areas[tree.query(drawn, predicate="intersects")]
        own = own[shapely.area(shapely.intersection(own, drawn)) > NO_RING * drawn.length]
        around = _drawn(slot, SIZE_TOLERANCE)
        taken = shapely.union_all([drawn.intersection(a) for a in own])
        if taken.area < drawn.area / 2:
            continue
        cut = shapely.union_all([around.intersection(a) for a in own])
        result[slot.id] = max(shapely.get_parts(cut).tolist(), key=lambda part: part.area)
    return result


def _drawn(hole: Hole, more: float = 0.0) -> shapely.Polygon:
    """The area of a hole in the blank frame, grown by so much."""
    area: shapely.Polygon = hole.spine.buffer(hole.diameter / 2 + more, quad_segs=64)
    return area


def _slot_faults(slot: Hole, area: shapely.Polygon, hole_fault: Fault) -> Iterator[Finding]:
    """A slot that keeps laminate in it, or is cut beyond its edge."""
    drawn = _drawn(slot)
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
            f"place, or has a loose core. {NOT_RUN}"
        )
        yield hole_fault("slot-not-cleared", "stop", message, (spot.x, spot.y))
    # beyond the tolerance the area is cut off, so that a cut that goes on ends at its limit
    corners = shapely.points(shapely.get_coordinates(shapely.difference(area, drawn)))
    beyond = float(shapely.distance(corners, drawn).max(initial=0.0))
    if beyond > SIZE_TOLERANCE - NO_RING:
        message = (
            f"{slot.words} is cut more than {SIZE_TOLERANCE:g} mm beyond its edge. "
            "Check which cutter the program is for."
        )
        yield hole_fault("hole-size", "warn", message, slot.at)


def _faults(
    holes: Sequence[Hole], cut: Mapping[str, shapely.Polygon], hole_fault: Fault
) -> Iterator[Finding]:
    """Holes in the blank frame that are missing, of the wrong size, or off their place."""
    for hole in holes:
        area = cut.get(hole.id)
        if area is None:
            message = f"{hole.words} is not cut. {NOT_RUN}"
            yield hole_fault("hole-missing", "stop", message, hole.at)
            continue
        across = 2 * math.sqrt(area.area / math.pi)
        if hole.end is not None:
            yield from _slot_faults(hole, area, hole_fault)
        elif abs(across - hole.diameter) > SIZE_TOLERANCE:
            message = (
                f"hole {hole.id} comes out {across:.2f} mm wide, nominal {hole.diameter:.2f}. "
                "Check which cutter the program is for."
            )
            yield hole_fault("hole-size", "warn", message, hole.at)
        else:
            off = math.dist(area.centroid.coords[0], hole.at)
            if off > OFF:
                message = f"hole {hole.id} is cut {off:.3f} mm off its place. {NOT_RUN}"
                yield hole_fault("hole-off", "warn", message, hole.at)


def check_registration(
    grooves: Sequence[Groove], registration: Sequence[RegistrationHole], blank: int
) -> list[Finding]:
    """Registration holes and slots that are missing, not through, or do not fit their pins.

    Args:
        grooves: of the blank.
        registration: holes of its passes; crosses are left aside.
        blank: number.
    """
    holes = [
        Hole(hole.id, hole.ends[0], hole.diameter, None, hole.ends[1])
        for hole in registration
        if hole.role != "witness"
    ]
    cut = _cut_of(grooves, holes)

    def hole_fault(code: str, severity: Severity, message: str, at: Point) -> Finding:
        return Finding(
            code=code, severity=severity, message=message, frame="blank", at=at, blank=blank
        )

    findings = [*_faults(holes, cut, hole_fault), *_floors(holes, cut, grooves, hole_fault)]
    refused = {finding.at for finding in findings if finding.severity == "stop"}
    for hole in holes:
        if hole.id not in cut or hole.at in refused:
            continue
        drawn, area = _drawn(hole), cut[hole.id]
        fits = area.covers(drawn.buffer(-OFF)) and drawn.buffer(OFF).covers(area)
        if not fits:
            message = (
                f"Registration {hole.words} is cut more than {OFF:g} mm off its edge, so it does "
                f"not fit its pin. {NOT_RUN}"
            )
            findings.append(hole_fault("registration-fit", "stop", message, hole.at))
    return findings


def check_holes(
    surface: Sequence[CopperPart],
    placement: Placement,
    cut: Mapping[str, shapely.Polygon],
    grooves: Sequence[Groove],
) -> list[Finding]:
    """Holes that are missing, of the wrong size or depth, too near an edge, or through it.

    `surface` is the copper at its surface, `cut` the holes as from `holes_cut`.
    """
    holes = placement.holes
    hole_fault = partial(on_blank, placement)
    findings = [*_faults(holes, cut, hole_fault), *_floors(holes, cut, grooves, hole_fault)]
    for hole, piece, ring in _thin_rings(surface, placement.index, holes, cut):
        findings.append(_thin(placement, hole, piece, ring))
    return findings


def _floors(
    holes: Sequence[Hole],
    cut: Mapping[str, shapely.Polygon],
    grooves: Sequence[Groove],
    hole_fault: Fault,
) -> Iterator[Finding]:
    """Holes that do not go through the laminate.

    A core that is left in a hole comes out with it.
    """
    above, below = (
        shapely.get_parts(np.array(level, dtype=object))
        for level in ([g.surface for g in grooves], [g.under for g in grooves])
    )
    made = [hole for hole in holes if hole.id in cut]
    areas = np.array([cut[hole.id] for hole in made], dtype=object)
    # most go through whole, and are the same there
    rest = np.delete(np.arange(len(made)), alike(areas, below)[0])
    if not len(rest):
        return
    open_above, open_below = shapely.STRtree(above), shapely.STRtree(below)

    def within(tree: shapely.STRtree, area: shapely.Geometry) -> shapely.Geometry:
        near = tree.geometries[tree.query(area, predicate="intersects")]
        return shapely.union_all(shapely.intersection(near, area))

    inners = shapely.buffer(areas[rest], -SLOT_LEFT)
    through = open_below.query(inners, predicate="covered_by")[0]
    for i, inner in zip(np.delete(rest, through).tolist(), np.delete(inners, through), strict=True):
        hole = made[i]
        floor = shapely.difference(within(open_above, inner), within(open_below, inner))
        floor = shapely.buffer(shapely.buffer(floor, -NO_RING), NO_RING)
        if not floor.is_empty:
            spot = floor.representative_point()
            message = f"{hole.words} does not go through the laminate. {NOT_RUN}"
            yield hole_fault("hole-not-through", "stop", message, (spot.x, spot.y))


def _thin(placement: Placement, hole: Hole, piece: str, ring: float) -> Finding:
    if ring <= NO_RING:
        message = (
            f"hole {hole.id} breaks through the edge of piece {piece}. "
            "Move the hole, or make its pad larger or the drill smaller."
        )
        return on_blank(placement, "hole-breaks-out", "stop", message, hole.at)
    message = (
        f"the annular ring of hole {hole.id} on piece {piece} is {ring:.3f} mm, "
        f"{LEAST_ANNULAR_RING:.2f} mm is the least for an unplated hole. Make the pad larger."
    )
    return on_blank(placement, "annular-ring-thin", "warn", message, hole.at)


def _thin_rings(
    parts: Sequence[CopperPart],
    copy: int,
    holes: Sequence[Hole],
    cut: Mapping[str, shapely.Polygon],
) -> Iterator[tuple[Hole, str, float]]:
    """Holes nearer to another edge of their copper than `LEAST_ANNULAR_RING`, and how near.

    A piece that is cut in two is looked at part by part.
    """
    names = [{name for of, name in part.pieces if of == copy} for part in parts]
    on = [(hole, hole.piece) for hole in holes if hole.piece is not None and hole.id in cut]
    areas = np.array([cut[hole.id] for hole, _ in on], dtype=object)
    edges, of = shapely.get_rings(
        np.array([part.shape for part in parts], dtype=object), return_index=True
    )
    x0, y0, x1, y1 = shapely.bounds(areas).T
    far = LEAST_ANNULAR_RING
    hole, edge = shapely.STRtree(edges).query(shapely.box(x0 - far, y0 - far, x1 + far, y1 + far))
    pairs = zip(hole.tolist(), of[edge].tolist(), strict=True)
    own = np.array([on[n][1] in names[part] for n, part in pairs], dtype=bool)
    hole, edge = hole[own], edge[own]
    shapely.prepare(edges)
    near = shapely.dwithin(edges[edge], areas[hole], far)
    hole, edge = hole[near], edge[near]
    # its own edge lies within it
    solid = np.asarray(shapely.polygons(edges[edge]))
    same = shapely.equals_exact(shapely.normalize(solid), shapely.normalize(areas[hole]), SAME)
    hole, edge, solid = hole[~same], edge[~same], solid[~same]
    other = ~shapely.covered_by(solid, shapely.buffer(areas[hole], NO_RING))
    hole, edge = hole[other], edge[other]
    width = shapely.distance(edges[edge], areas[hole])
    least: dict[tuple[int, str, int], float] = {}
    for part, n, ring in sorted(zip(of[edge].tolist(), hole.tolist(), width.tolist(), strict=True)):
        least.setdefault((part, on[n][1], n), ring)
    for (_, piece, n), ring in least.items():
        if ring < LEAST_ANNULAR_RING:
            yield on[n][0], piece, ring
