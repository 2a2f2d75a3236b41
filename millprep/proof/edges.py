"""Pieces whose edges were cut where they should not be, or not cut where they should."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from millprep.proof.told import on_blank
from millprep.values.as_cut import CopperPart
from millprep.values.finding import Finding
from millprep.values.layout import Placement

EDGE = 0.015
"""All tolerances together may move a copper edge by this much, mm (the house's table)."""
CORNER = 0.1
"""Copper left beyond a piece is more than an unreachable corner when a disc of this radius
fits into it, mm."""
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
    inner = shapely.buffer([pieces[name] for name in names], -EDGE, quad_segs=4)
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
    """Pieces that keep copper beyond their edge, more than corners a cutter cannot reach.

    `parts` is the copper at its foot; parts with several pieces are shorts and told as such.
    """
    found: list[Finding] = []
    for part in parts:
        if len(part.pieces) != 1 or part.pieces[0][0] != placement.index:
            continue
        name = part.pieces[0][1]
        piece = pieces[name]
        if part.shape.area - piece.area < CORNER**2:
            continue
        beyond = shapely.difference(part.shape, piece.buffer(CORNER / 2, quad_segs=4))
        solid = [
            more
            for more in shapely.get_parts(beyond).tolist()
            if not shapely.is_empty(shapely.buffer(more, -CORNER, quad_segs=2))
        ]
        if not solid:
            continue
        largest = max(solid, key=lambda more: more.area)
        line = shapely.shortest_line(piece, largest)
        at = line.interpolate(1.0, normalized=True)
        found.append(
            on_blank(
                placement,
                "copper-unparted",
                "stop" if largest.area > FREE_AREA else "warn",
                f"{largest.area:.2f} mm² of copper beyond piece {name} stays joined to it. "
                "A path around the piece is missing or does not close.",
                (at.x, at.y),
            )
        )
    return found


def _carriers(
    parts: Sequence[CopperPart], placement: Placement
) -> dict[str, list[shapely.Polygon]]:
    found: dict[str, list[shapely.Polygon]] = {}
    for part in parts:
        for copy, name in part.pieces:
            if copy == placement.index:
                found.setdefault(name, []).append(part.shape)
    return found
