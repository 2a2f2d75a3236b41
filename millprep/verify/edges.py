"""Copper edges against the drawing: gouges, copper left beyond them, and corners."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.as_cut import CopperPart, Corner, Differences
from millprep.model.blank import Placement, on_blank
from millprep.model.finding import MOST_PLACES, Finding, Severity
from millprep.verify.as_cut import Nets, nets_on
from millprep.verify.sweep import Shapes, alike, dilated

EDGE = 0.015
"""All tolerances together may move a copper edge by this much, mm (the house's table)."""
SHAPES = 0.012
"""Of which flattening, offsets, gouges, arcs and digits may take this much, mm."""
CORNER = 0.1
"""Copper left beyond a piece is more than an unreachable corner when a disc of this radius
fits into it, mm."""
DEEP = 0.05
"""Copper in a corner is worth a note when it reaches out by more than this, mm."""
FREE_AREA = 1.0
"""Copper of more than this area, mm², beyond a piece is floating copper: it is not isolated."""
CRUMB = 1e-4
"""Differences of less than this area, mm², are none."""
AROUND = 1e-4
"""What lies this near to a hole, mm, is taken by it."""


def lost_copper(
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
    holes: Sequence[shapely.Polygon],
    cut_short: float = 0.0,
) -> tuple[Shapes, NDArray[np.intp]]:
    """Design copper that is cut away deeper than `EDGE`, and of which piece each is, by number.

    Where blending may cut corners short, that much less is left to the path itself, and no less
    than the `SHAPES` that a path takes that is well. `parts` is the copper at its surface; what
    `holes`, the board's holes as cut, take of it is not lost.
    """
    carrier = _carriers(parts, placement)
    deep = max(EDGE - cut_short, SHAPES)
    inner = dilated(np.array(list(pieces.values()), dtype=object), -deep, 2)
    left = np.array([_united(carrier.get(name, [])) for name in pieces], dtype=object)
    # most copper lacks nothing but what is cut within its outer edge
    filled = shapely.polygons(shapely.get_exterior_ring(left))
    whole = np.flatnonzero(shapely.covers(filled, inner))
    rings, of = shapely.get_rings(left[whole], return_index=True)
    within = np.diff(of, prepend=-1) == 0
    other = np.delete(np.arange(len(left)), whole)
    away, which = shapely.get_parts(
        shapely.difference(inner[other], left[other]), return_index=True
    )
    lost = np.append(shapely.polygons(rings[within]), away)
    whose = np.append(whole[of[within]], other[which])
    # and most of that is a hole, corner by corner
    cut = np.array(list(holes), dtype=object)
    same, _ = alike(lost, cut)
    lost, whose = np.delete(lost, same), np.delete(whose, same)
    return _undrilled(shapely.intersection(lost, inner[whose]), whose, cut)


def check_gouges(
    lost: tuple[Shapes, NDArray[np.intp]],
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
) -> list[Finding]:
    """One warning for each gouge among copper that is lost, as from `lost_copper`.

    A piece in several of the `parts` is an open and reported as one.
    """
    carrier = _carriers(parts, placement)
    names = list(pieces)
    shapes, whose = lost
    gouges, which = shapely.get_parts(shapes, return_index=True)
    findings: list[Finding] = []
    for gouge, number in zip(gouges.tolist(), whose[which].tolist(), strict=True):
        name = names[number]
        if gouge.area < 1e-6 or len(carrier.get(name, ())) != 1:
            continue
        corners = shapely.points(shapely.get_coordinates(gouge))
        depth = float(shapely.distance(corners, pieces[name].boundary).max())
        at = gouge.representative_point()
        findings.append(
            on_blank(
                placement,
                "copper-gouged",
                "warn",
                f"a path gouges piece {name} by {depth:.3f} mm. "
                "Choose a finer cutter or a smaller depth, or widen the gap in the drawing.",
                (at.x, at.y),
            )
        )
    return findings


def _undrilled(
    lost: Shapes, whose: NDArray[np.intp], holes: Shapes
) -> tuple[Shapes, NDArray[np.intp]]:
    """What holes as cut do not explain of lost copper, and whose each part is."""
    part, hole = shapely.STRtree(holes).query(lost, predicate="dwithin", distance=AROUND)
    for i in np.unique(part).tolist():
        drilled = shapely.union_all(shapely.buffer(holes[hole[part == i]], AROUND))
        lost[i] = shapely.difference(lost[i], drilled)
    parts, which = shapely.get_parts(lost, return_index=True)
    kept = ~shapely.is_empty(parts)
    return parts[kept], whose[which[kept]]


def check_isolated(
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
    nets: Nets,
) -> list[Finding]:
    """Pieces whose copper runs on beyond their edge.

    `parts` is the copper at its foot: a path that is too shallow separates the surface alone.
    Parts with pieces of several nets are reported as shorts; between pieces of one net a small
    bridge is reported as such, and floating copper that stays joined to them here.
    """
    findings: list[Finding] = []
    own = [
        (part, [name for _, name in part.pieces])
        for part in parts
        if {copy for copy, _ in part.pieces} == {placement.index} and len(nets_on(part, nets)) == 1
    ]
    drawn = [_united([pieces[name] for name in names]) for _, names in own]
    # what reaches no farther holds no such disc
    near = dilated(np.array(drawn, dtype=object), DEEP + CORNER, 2)
    out = ~shapely.covers(near, [part.shape for part, _ in own])
    for i in np.flatnonzero(out).tolist():
        (part, names), piece = own[i], drawn[i]
        beyond = shapely.difference(part.shape, shapely.buffer(piece, DEEP, quad_segs=2))
        solid = [
            area
            for area in shapely.get_parts(beyond).tolist()
            if not shapely.is_empty(shapely.buffer(area, -CORNER, quad_segs=2))
        ]
        if not solid:
            continue
        largest = max(solid, key=lambda area: area.area)
        if len(names) > 1 and largest.area <= FREE_AREA:
            continue
        at = shapely.shortest_line(piece, largest).interpolate(1.0, normalized=True)
        message = (
            f"{largest.area:.2f} mm² of floating copper is still connected to piece {names[0]}. "
            "A path around the piece is missing, too shallow, or does not close."
        )
        severity: Severity = "stop" if largest.area > FREE_AREA else "warn"
        findings.append(on_blank(placement, "copper-not-isolated", severity, message, (at.x, at.y)))
    return findings


def uncut_edges(
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
    most: Mapping[str, shapely.Geometry],
) -> tuple[list[Finding], frozenset[str]]:
    """Pieces that keep copper beyond their edge, and those that keep more than `most` at all.

    `parts` is the copper at its surface or at its foot, `most` what each piece may keep there;
    parts with several pieces are shorts.
    """
    own = _own(parts, placement)
    names = [name for _, name in own]
    filled = np.array([most[name] for name in names], dtype=object)
    copper = np.array([part.shape for part, _ in own], dtype=object)
    # most copper is within: to see that costs a fifth of taking the difference
    out = np.flatnonzero(~shapely.covers(filled, copper)).tolist()
    findings: list[Finding] = []
    for i in out:
        name, more = names[i], shapely.difference(copper[i], filled[i])
        left = [area for area in shapely.get_parts(more).tolist() if area.area > 1e-6]
        if not left:
            continue
        largest = max(left, key=lambda area: area.area)
        if not shapely.is_empty(shapely.buffer(largest, -CORNER, quad_segs=2)):
            continue  # `check_isolated` reports this much
        at = shapely.shortest_line(pieces[name], largest).interpolate(1.0, normalized=True)
        corners = shapely.points(shapely.get_coordinates(largest))
        far = float(shapely.distance(corners, pieces[name]).max())
        message = (
            f"copper remains up to {far:.3f} mm beyond the edge of piece {name}. "
            "The path along it is missing, too shallow, or off its place."
        )
        findings.append(on_blank(placement, "copper-uncut", "warn", message, (at.x, at.y)))
    return findings, frozenset(names[i] for i in out)


def extra_copper(
    parts: Sequence[CopperPart], placement: Placement, pieces: Mapping[str, shapely.Polygon]
) -> tuple[Shapes, list[CopperPart]]:
    """Areas of a copy's copper beyond its pieces by more than `EDGE`, and of which part each is."""
    mine = [part for part in parts if any(copy == placement.index for copy, _ in part.pieces)]
    meant = [
        _united([pieces[name] for copy, name in part.pieces if copy == placement.index])
        for part in mine
    ]
    copper = np.array([part.shape for part in mine], dtype=object)
    much = shapely.difference(copper, dilated(np.array(meant, dtype=object), EDGE, 2))
    areas, which = shapely.get_parts(much, return_index=True)
    return areas, [mine[n] for n in which.tolist()]


def unreached_corners(
    extra: tuple[Shapes, Sequence[CopperPart]],
    pieces: Mapping[str, shapely.Polygon],
    most: Mapping[str, shapely.Geometry],
) -> tuple[Corner, ...]:
    """The inner corners where copper reaches out by more than `DEEP`, the farthest out first.

    `extra` is as from `extra_copper` at the surface, `most` the most that a corner keeps of pieces
    that keep more.
    """
    areas, owners = extra
    alone = [n for n, part in enumerate(owners) if len(part.pieces) == 1]
    names = [owners[n].pieces[0][1] for n in alone]
    once, nth = np.unique(names, return_inverse=True)
    rims = dilated(np.array([pieces[name] for name in once.tolist()], dtype=object), DEEP, 2)
    shapely.prepare(rims)
    rims = rims[nth]
    out = np.flatnonzero(~shapely.covers(rims, areas[alone]))
    beyond = shapely.difference(areas[alone][out], rims[out])
    corners: list[Corner] = []
    for n, area in zip(out.tolist(), beyond.tolist(), strict=True):
        name = names[n]
        kept = shapely.intersection(area, most[name]) if name in most else area
        for corner in shapely.get_parts(kept).tolist():
            if corner.area > 1e-6:
                tips = shapely.points(shapely.get_coordinates(corner))
                far = float(shapely.distance(tips, pieces[name]).max())
                spot = corner.representative_point()
                corners.append(Corner(name, far, (spot.x, spot.y)))
    return tuple(sorted(corners, key=lambda corner: (-corner.out, corner.at)))


def corner_notes(
    corners: Sequence[tuple[Placement, Sequence[Corner]]], reach: float
) -> list[Finding]:
    """One note for every board of which inner corners keep copper, at the one that keeps most."""
    findings: list[Finding] = []
    for name in dict.fromkeys(placement.board.name for placement, _ in corners):
        copies = [(p, mine) for p, mine in corners if p.board.name == name and mine]
        if not copies:
            continue
        placement, mine = max(copies, key=lambda copy: copy[1][0].out)
        count = "An inner corner" if len(mine) == 1 else f"{len(mine)} inner corners"
        message = (
            f"{count} of {name} keep{'s' if len(mine) == 1 else ''} copper beyond the drawn edge, "
            f"up to {mine[0].out:.3f} mm (piece {mine[0].piece}): a groove {2 * reach:.3f} mm wide "
            "does not fit into them. Gaps to other pieces are judged with it. "
            "Use a finer cutter if the corners matter."
        )
        finding = on_blank(placement, "corner-unreached", "note", message, mine[0].at)
        places = tuple(corner.at for corner in mine[1 : MOST_PLACES + 1])
        findings.append(replace(finding, places=places))
    return findings


def differences(extra: Shapes, lost: Shapes) -> Differences:
    """Where copper is off the drawing: areas from `extra_copper` and from `lost_copper`."""
    return Differences(_seen(extra), _seen(lost))


def _united(areas: Sequence[shapely.Polygon]) -> shapely.Geometry:
    """The union of areas, of which there is mostly one."""
    return areas[0] if len(areas) == 1 else shapely.union_all(areas)


def _seen(shapes: Shapes) -> shapely.MultiPolygon:
    """The areas among shapes that are more than crumbs, the largest first."""
    parts = np.asarray(shapely.get_parts(shapes), dtype=object)
    parts = parts[shapely.area(parts) > CRUMB]
    return shapely.MultiPolygon(parts[np.argsort(-shapely.area(parts), kind="stable")].tolist())


def _own(parts: Sequence[CopperPart], placement: Placement) -> list[tuple[CopperPart, str]]:
    """The parts that carry one piece alone, and that of this copy, with its name."""
    return [
        (part, part.pieces[0][1])
        for part in parts
        if len(part.pieces) == 1 and part.pieces[0][0] == placement.index
    ]


def _carriers(
    parts: Sequence[CopperPart], placement: Placement
) -> dict[str, list[shapely.Polygon]]:
    result: dict[str, list[shapely.Polygon]] = {}
    for part in parts:
        for copy, name in part.pieces:
            if copy == placement.index:
                result.setdefault(name, []).append(part.shape)
    return result
