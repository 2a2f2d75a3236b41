"""Copper edges against the drawing: gouges, copper left uncut_edges, corners and slivers."""

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
from millprep.verify.sweep import Shapes, dilated

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
SLIVER = 0.015
"""Copper that a disc of this radius, mm, does not fit into is a sliver."""
CRUMB = 1e-4
"""Differences of less than this area, mm², are none."""
ISLAND = 0.5
"""Copper smaller than this, mm², that carries no piece is an island, too small to count."""


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
    left = [_united(carrier.get(name, [])) for name in pieces]
    return _undrilled(shapely.difference(inner, left), holes)


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


def _undrilled(lost: Shapes, holes: Sequence[shapely.Polygon]) -> tuple[Shapes, NDArray[np.intp]]:
    """What holes as cut do not explain of lost copper, and which shape each is of."""
    parts, whose = shapely.get_parts(lost, return_index=True)
    drilled = np.asarray(shapely.buffer(np.array(list(holes), dtype=object), 1e-4))
    tree = shapely.STRtree(drilled)
    # most of what is lost is a hole, whole
    whole = ~shapely.is_empty(parts)
    whole[tree.query(parts, predicate="covered_by")[0]] = False
    parts, whose = parts[whole], whose[whole]
    part, hole = tree.query(parts, predicate="intersects")
    for i in np.unique(part).tolist():
        spot = shapely.union_all(drilled[hole[part == i]])
        parts[i] = shapely.difference(parts[i], spot)
    return parts, whose


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
    rims = dilated(np.array(drawn, dtype=object), DEEP, 2)
    out = ~shapely.covers(rims, [part.shape for part, _ in own])
    for i in np.flatnonzero(out).tolist():
        (part, names), piece = own[i], drawn[i]
        beyond = shapely.difference(part.shape, rims[i])
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
    reach: float,
    *,
    slope: float | None = None,
) -> tuple[list[Finding], tuple[Corner, ...]]:
    """Pieces that keep copper beyond their edge, and the corners no cutter reached.

    `parts` is the copper at its surface; parts with several pieces are shorts. With a
    `slope` it is the copper at its foot, which reaches out by so much more where the groove is
    narrower there; the corners are those of the surface.
    `reach` is the radius at the surface of the widest cutter that isolates: it leaves the
    piece grown by it and shrunk by it again, inner corners filled.
    """
    own = _own(parts, placement)
    if not own:
        return [], ()
    names = [name for _, name in own]
    drawn = np.array([pieces[name] for name in names], dtype=object)
    # In one step outward and back; the last buffer also lets the tolerances pass.
    filled = dilated(dilated(drawn, reach, 8), EDGE - reach + (slope or 0.0), 8)
    copper = np.array([part.shape for part, _ in own], dtype=object)
    # most copper is within: to see that costs a fifth of taking the difference
    out = np.flatnonzero(~shapely.covers(filled, copper))
    findings: list[Finding] = []
    for i in out.tolist():
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
    if slope is not None:
        return findings, ()
    copper[out] = shapely.intersection(copper[out], filled[out])
    return findings, _corners(names, drawn, copper)


def _corners(names: Sequence[str], drawn: Shapes, kept: Shapes) -> tuple[Corner, ...]:
    """The inner corners where `kept` reaches out by more than `DEEP`, the farthest out first."""
    beyond = np.asarray(shapely.difference(kept, dilated(drawn, DEEP, 2)))
    corners: list[Corner] = []
    for i in np.flatnonzero(~shapely.is_empty(beyond)).tolist():
        areas = np.asarray(shapely.get_parts(beyond[i]))
        for area in areas[shapely.area(areas) > 1e-6].tolist():
            tips = shapely.points(shapely.get_coordinates(area))
            out = shapely.distance(tips, drawn[i])
            spot = area.representative_point()
            corners.append(Corner(names[i], float(out.max()), (float(spot.x), float(spot.y))))
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


def differences(
    lost: Shapes,
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
) -> Differences:
    """Where the copper at its surface, `parts`, is off the drawing by more than `EDGE`.

    `lost` is what is missing of it, as from `lost_copper`.
    """
    mine = [part for part in parts if any(copy == placement.index for copy, _ in part.pieces)]
    meant = [
        _united([pieces[name] for copy, name in part.pieces if copy == placement.index])
        for part in mine
    ]
    copper = np.array([part.shape for part in mine], dtype=object)
    much = shapely.difference(copper, dilated(np.array(meant, dtype=object), EDGE, 2))
    return Differences(_seen(much), _seen(lost))


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


def check_slivers(
    parts: Sequence[CopperPart], placements: Sequence[Placement], blank: int
) -> list[Finding]:
    """One note for the slivers and one for the islands of a blank, at the largest of each.

    What lies outside all boards is waste: letters are engraved there.
    """
    shapes = np.array(
        [part.shape for part in parts if not part.pieces and part.shape.area < ISLAND],
        dtype=object,
    )
    boards = shapely.union_all([p.pose.shape(p.board.outline) for p in placements])
    shapely.prepare(boards)
    shapes = shapes[shapely.intersects(boards, shapes)]
    if not len(shapes):
        return []
    thin = shapely.is_empty(shapely.buffer(shapes, -SLIVER, quad_segs=2))
    findings: list[Finding] = []
    for code, chosen, word in (
        ("copper-sliver", shapes[thin], "sliver"),
        ("copper-island", shapes[~thin], "island"),
    ):
        if not len(chosen):
            continue
        order = np.argsort(-shapely.area(chosen), kind="stable")
        largest = chosen[order[0]]
        at, *places = (
            (float(spot.x), float(spot.y))
            for spot in shapely.point_on_surface(chosen[order[: MOST_PLACES + 1]]).tolist()
        )
        remain = f"1 {word} of copper remains" if len(chosen) == 1 else (
            f"{len(chosen)} {word}s of copper remain"
        )  # fmt: skip
        findings.append(
            Finding(
                code=code,
                severity="note",
                message=f"{remain} between paths. Raise the overlap, or brush the board; the "
                f"largest has {largest.area:.4f} mm².",
                frame="blank",
                at=at,
                blank=blank,
                places=tuple(places),
            )
        )
    return findings
