"""Holes of a board, each with the copper piece that it is on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.concentric import CONCENTRIC, smallest
from millprep.drawing.marks.slot import Bore, area_of, end_of, spine_of
from millprep.model.board import CopperPiece, Hole


def holes(bores: Sequence[Bore], pieces: Sequence[CopperPiece]) -> tuple[Hole, ...]:
    """Numbered holes in reading order, each with the copper piece it is on."""
    unique = smallest(bores)
    unique.sort(key=lambda r: (round(r.at[0], 3), round(r.at[1], 3), r.diameter))
    if not unique:
        return ()
    areas = np.array([area_of(bore, 0.01) for bore in unique], dtype=object)
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    which: dict[int, list[int]] = {}
    a, b = shapely.STRtree(shapes).query(areas, predicate="intersects")
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        which.setdefault(i, []).append(j)
    out = []
    for i, r in enumerate(unique):
        candidates = which.get(i) or _in_opening(r, shapes)
        if len(candidates) > 1:
            # between pads, the one with most copper under the hole has it
            common = shapely.area(shapely.intersection(areas[i], shapes[candidates]))
            candidates = [candidates[int(np.argmax(common))]]
        piece = pieces[candidates[0]].id if candidates else None
        out.append(Hole(f"h{i + 1}", r.at, r.diameter, piece, end_of(r)))
    return tuple(out)


def _in_opening(bore: Bore, shapes: NDArray[np.object_]) -> list[int]:
    """The piece in whose opening the hole lies, if that is no more than a diameter longer."""
    spine = spine_of(bore)
    most = spine.length + 2 * bore.diameter
    result = []
    for j in shapely.STRtree(shapes).query(spine).tolist():
        for interior in shapes[j].interiors:
            x0, y0, x1, y1 = interior.bounds
            if max(x1 - x0, y1 - y0) <= most and shapely.Polygon(interior).covers(spine):
                result.append(j)
    return result


def close_drilled(
    shapes: Sequence[shapely.Polygon], bores: Sequence[Bore]
) -> list[shapely.Polygon]:
    """Fill openings in pads that the drill takes away anyway, so that pads are whole."""
    if not bores or not any(len(s.interiors) for s in shapes):
        return list(shapes)
    spines = [spine_of(bore) for bore in bores]
    tree = shapely.STRtree(spines)
    out = []
    for shape in shapes:
        keep = []
        for interior in shape.interiors:
            inside = shapely.Polygon(interior)
            near = tree.query(inside.envelope.buffer(CONCENTRIC))
            corners = shapely.points(np.asarray(interior.coords))
            if not any(
                shapely.distance(corners, spines[k]).max() <= bores[k].diameter / 2 + 1e-3
                for k in near.tolist()
            ):
                keep.append(interior)
        whole = (
            shape if len(keep) == len(shape.interiors) else shapely.Polygon(shape.exterior, keep)
        )
        out.append(whole)
    return out
