"""Pieces whose edges were cut where they should not be, or not cut where they should."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from millprep.proof.sweep import Shapes, grown
from millprep.proof.told import on_blank
from millprep.values.as_cut import CopperPart
from millprep.values.finding import Finding, Severity
from millprep.values.layout import Placement

EDGE = 0.015
"""All tolerances together may move a copper edge by this much, mm (the house's table)."""
CORNER = 0.1
"""Copper left beyond a piece is more than an unreachable corner when a disc of this radius
fits into it, mm."""
DEEP = 0.05
"""Copper in a corner is worth a note when it stands out by more than this, mm."""
FREE_AREA = 1.0
"""Copper beyond a piece of more than this area, mm², is background: the piece is not parted."""


def bites(
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
    drilled: Sequence[shapely.Polygon],
) -> list[Finding]:
    """Design copper that is cut away deeper than `EDGE`, holes excepted; one warning a bite.

    `parts` is the copper at its surface; `drilled` are the board's holes as cut. A piece in
    several parts is an open and told as one.
    """
    carrier = _carriers(parts, placement)
    names = [name for name in pieces if len(carrier.get(name, ())) == 1]
    if not names:
        return []
    inner = grown(np.array([pieces[name] for name in names], dtype=object), -EDGE, 2)
    gone = np.asarray(shapely.difference(inner, [carrier[name][0] for name in names]))
    tree = shapely.STRtree(np.array(list(drilled), dtype=object))
    found: list[Finding] = []
    for name, lost in zip(names, gone.tolist(), strict=True):
        if lost.is_empty:
            continue
        spots = tree.query(lost, predicate="intersects")
        if len(spots):
            spot = shapely.union_all(shapely.buffer(tree.geometries[spots], 1e-4))
            lost = shapely.difference(lost, spot)
        for bite in shapely.get_parts(lost).tolist():
            if bite.area < 1e-6:
                continue
            corners = shapely.points(shapely.get_coordinates(bite))
            deep = float(shapely.distance(corners, pieces[name].boundary).max())
            at = bite.representative_point()
            found.append(
                on_blank(
                    placement,
                    "copper-gouged",
                    "warn",
                    f"a path cuts {deep:.3f} mm into piece {name}. "
                    "Choose a finer cutter or a smaller depth, or widen the gap in the drawing.",
                    (at.x, at.y),
                )
            )
    return found


def unparted(
    parts: Sequence[CopperPart], placement: Placement, pieces: Mapping[str, shapely.Polygon]
) -> list[Finding]:
    """Pieces whose copper runs on beyond their edge.

    `parts` is the copper at its foot: a path that is too shallow parts the surface alone.
    Parts with several pieces are told as shorts.
    """
    found: list[Finding] = []
    own = _own(parts, placement)
    rims = grown(np.array([pieces[name] for _, name in own], dtype=object), DEEP, 2)
    for (part, name), rim in zip(own, rims.tolist(), strict=True):
        piece = pieces[name]
        beyond = shapely.difference(part.shape, rim)
        solid = [
            area
            for area in shapely.get_parts(beyond).tolist()
            if not shapely.is_empty(shapely.buffer(area, -CORNER, quad_segs=2))
        ]
        if not solid:
            continue
        largest = max(solid, key=lambda area: area.area)
        at = shapely.shortest_line(piece, largest).interpolate(1.0, normalized=True)
        message = (
            f"{largest.area:.2f} mm² of copper beyond piece {name} stays joined to it. "
            "A path around the piece is missing, too shallow, or does not close."
        )
        severity: Severity = "stop" if largest.area > FREE_AREA else "warn"
        found.append(on_blank(placement, "copper-unparted", severity, message, (at.x, at.y)))
    return found


def uncut(
    parts: Sequence[CopperPart],
    placement: Placement,
    pieces: Mapping[str, shapely.Polygon],
    reach: float,
    *,
    slope: float | None = None,
) -> list[Finding]:
    """Pieces that keep copper beyond their edge, and one note for corners no cutter reached.

    `parts` is the copper at its surface; parts with several pieces are told as shorts. With a
    `slope` it is the copper at its foot, which stands out by so much more where the groove is
    narrower there; the corners were told of the surface.
    `reach` is the radius at the surface of the widest cutter that isolates: it leaves the
    piece grown by it and shrunk by it again, inner corners filled.
    """
    own = _own(parts, placement)
    if not own:
        return []
    names = [name for _, name in own]
    drawn = np.array([pieces[name] for name in names], dtype=object)
    # In one step outward and back; the last buffer also lets the tolerances pass.
    filled = grown(grown(drawn, reach, 8), EDGE - reach + (slope or 0.0), 8)
    copper = np.array([part.shape for part, _ in own], dtype=object)
    found: list[Finding] = []
    for name, more in zip(names, shapely.difference(copper, filled).tolist(), strict=True):
        left = [area for area in shapely.get_parts(more).tolist() if area.area > 1e-6]
        if not left:
            continue
        largest = max(left, key=lambda area: area.area)
        if not shapely.is_empty(shapely.buffer(largest, -CORNER, quad_segs=2)):
            continue  # this much is told by `unparted`
        at = shapely.shortest_line(pieces[name], largest).interpolate(1.0, normalized=True)
        corners = shapely.points(shapely.get_coordinates(largest))
        out = float(shapely.distance(corners, pieces[name]).max())
        message = (
            f"copper stays up to {out:.3f} mm beyond the edge of piece {name}. "
            "The path beside it is missing, too shallow, or lies off."
        )
        found.append(on_blank(placement, "copper-uncut", "warn", message, (at.x, at.y)))
    if slope is not None:
        return found
    return [*found, *_corners(placement, drawn, shapely.intersection(copper, filled))]


def _corners(placement: Placement, drawn: Shapes, kept: Shapes) -> list[Finding]:
    """One note for all inner corners where `kept` stands out by more than `DEEP`."""
    rim = grown(drawn, DEEP, 2)
    corners = [
        area
        for area in shapely.get_parts(shapely.difference(kept, rim)).tolist()
        if area.area > 1e-6
    ]
    if not corners:
        return []
    spot = max(corners, key=lambda area: area.area).representative_point()
    message = (
        f"{len(corners)} inner corners keep copper more than {DEEP:g} mm out from the drawn "
        "edge: the cutter does not fit into them."
    )
    return [on_blank(placement, "corner-unreached", "note", message, (spot.x, spot.y))]


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
    found: dict[str, list[shapely.Polygon]] = {}
    for part in parts:
        for copy, name in part.pieces:
            if copy == placement.index:
                found.setdefault(name, []).append(part.shape)
    return found
