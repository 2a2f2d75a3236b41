"""The board's holes as they were cut, and the copper left around them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from millprep.proof.told import on_blank
from millprep.values.as_cut import CopperPart, Groove
from millprep.values.finding import Finding
from millprep.values.layout import Placement

LEAST_RING = 0.15
"""External ring of an unplated hole, mm: IPC-2221 table 9-2, from memory."""
SIZE_TOLERANCE = 0.15
"""A hole that misses its diameter by more, mm, was made by the wrong cutter."""
EATEN = 0.002
"""A ring thinner than the tolerance of the paths, mm, is no ring."""


def drilled(grooves: Sequence[Groove], placement: Placement) -> dict[str, shapely.Polygon]:
    """The area each hole of the copy took from the copper, by hole id; missing holes are not in.

    The area of the groove that surrounds the hole's middle and comes nearest to its size,
    filled. A hole that only a larger groove cut (a slot, the edge) is taken at its own size.
    """
    holes = placement.board.holes
    if not holes:
        return {}
    areas = np.array(
        [area for groove in grooves for area in shapely.get_parts(groove.surface).tolist()],
        dtype=object,
    )
    if not len(areas):
        return {}
    filled = np.asarray(shapely.polygons(shapely.get_exterior_ring(areas)))
    middles = shapely.points([placement.pose.point(hole.at) for hole in holes])
    asked = np.array([hole.diameter for hole in holes])
    across = 2 * np.sqrt(shapely.area(filled) / math.pi)
    found: dict[str, shapely.Polygon] = {}
    which, area = shapely.STRtree(filled).query(middles, predicate="within")
    for i, hole in enumerate(holes):
        here = area[which == i]
        if not len(here):
            continue
        best = here[int(np.argmin(np.abs(across[here] - asked[i])))]
        if across[best] < 1.5 * asked[i] + SIZE_TOLERANCE:
            found[hole.id] = filled[best]
        elif bool(shapely.intersects(areas[here], middles[i]).any()):
            found[hole.id] = shapely.buffer(middles[i], asked[i] / 2)
    return found


def rings(
    surface: Sequence[CopperPart], placement: Placement, cut: Mapping[str, shapely.Polygon]
) -> list[Finding]:
    """Holes that are missing, of the wrong size, too near an edge, or through it.

    `surface` is the copper at its surface, `cut` the holes as from `drilled`.
    """
    found: list[Finding] = []
    standing: dict[str, list[str]] = {}
    for hole in placement.board.holes:
        at = placement.pose.point(hole.at)
        area = cut.get(hole.id)
        if area is None:
            message = f"hole {hole.id} of {hole.diameter:.2f} mm is not cut. Write the set again."
            found.append(on_blank(placement, "hole-missing", "stop", message, at))
            continue
        across = 2 * math.sqrt(area.area / math.pi)
        if abs(across - hole.diameter) > SIZE_TOLERANCE:
            message = (
                f"hole {hole.id} comes out {across:.2f} mm wide, {hole.diameter:.2f} was asked. "
                "Check which cutter the program is for."
            )
            found.append(on_blank(placement, "hole-size", "warn", message, at))
        if hole.piece is not None:
            standing.setdefault(hole.piece, []).append(hole.id)
    where = {hole.id: placement.pose.point(hole.at) for hole in placement.board.holes}
    for part in surface:
        for copy, piece in part.pieces:
            if copy != placement.index:
                continue
            ids = standing.get(piece, [])
            for name, ring in zip(ids, _widths(part.shape, [cut[i] for i in ids]), strict=True):
                if ring < LEAST_RING:
                    found.append(_thin(placement, name, piece, ring, where[name]))
    return found


def _thin(
    placement: Placement, hole: str, piece: str, ring: float, at: tuple[float, float]
) -> Finding:
    if ring <= EATEN:
        message = (
            f"hole {hole} breaks through the edge of piece {piece}. "
            "Move the hole, or make its pad larger or the drill smaller."
        )
        return on_blank(placement, "pad-eaten", "stop", message, at)
    message = (
        f"the ring around hole {hole} on piece {piece} is {ring:.3f} mm, "
        f"{LEAST_RING:.2f} is the least for an unplated hole. Make the pad larger."
    )
    return on_blank(placement, "ring-thin", "warn", message, at)


def _widths(part: shapely.Polygon, holes: Sequence[shapely.Polygon]) -> list[float]:
    """Copper from each hole to the nearest other edge of the part."""
    edges = np.asarray(shapely.get_rings(part))
    solid = np.asarray(shapely.polygons(edges))
    out: list[float] = []
    for hole in holes:
        own = shapely.covered_by(solid, shapely.buffer(hole, EATEN))
        out.append(float(shapely.distance(edges[~own], hole).min(initial=math.inf)))
    return out
