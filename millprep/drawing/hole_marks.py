"""Marks on hole layers as bores: circles, dots, rings, slots; whatever else is a fault.

The bores become the holes of the board, each with the copper piece that it is on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.doubts import CONCENTRIC
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import stroke
from millprep.drawing.marks.chain import Loop, OpenChain
from millprep.drawing.marks.mark import Fill, Mark, Round, Source, Stroke, round_of
from millprep.drawing.marks.stroke import (
    Bore,
    Slot,
    bore_area,
    end_of,
    slot_of,
    spine_of,
    spines_of,
)
from millprep.geometry.path import Point
from millprep.model.board import CopperPiece, Hole

THIN = 0.2
"""A ring drawn with a pen thinner than this share of its diameter may be the pen's circle."""

REMEDY = (
    "draw holes as circles; slots as two parallel lines closed by two half circles, or as a "
    "straight line as wide as the slot; other openings on the outline layer, as cut-outs"
)


def rounds(marks: Sequence[Mark], loops: list[Loop], ledger: Ledger) -> list[Bore]:
    """Circles, and slots, on a layer that holds nothing but holes; whatever else is a fault."""
    out: list[Bore] = []
    for mark in marks:
        if isinstance(mark, Stroke) and mark.widths.any():
            bore = _of_stroke(mark, ledger)
        elif isinstance(mark, Fill):
            bore = _of_fill(mark, ledger)
        else:
            continue
        if bore is not None:
            out.append(bore)
            ledger.use(mark.source, "holes")
    for loop in loops:
        bore = loop.round or slot_of(loop.points)
        if bore is not None:
            out.append(bore)
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            _not_round(loop.sources[0], _pair(loop.points[0]), ledger)
    return out


def left_open(runs: Sequence[OpenChain], ledger: Ledger) -> None:
    """Lines of no width on a hole layer that do not close are faults."""
    for run in runs:
        ledger.stop(
            "hole-not-round",
            "an open line on a hole layer",
            REMEDY,
            source=run.sources[0],
            at=_pair(run.points[0]),
        )


def _not_round(source: Source, at: Point, ledger: Ledger) -> None:
    ledger.stop(
        "hole-not-round",
        "this shape on a hole layer is neither a circle nor a slot",
        REMEDY,
        source=source,
        at=at,
    )


def _of_stroke(mark: Stroke, ledger: Ledger) -> Bore | None:
    at = mark.to_mm.point(*mark.vertices[0].tolist())
    even = mark.to_mm.even and not mark.tapered and not np.ptp(mark.widths) > 0
    if len(mark.vertices) == 1 and mark.to_mm.even:
        return Round(at, float(mark.widths.max()) * mark.to_mm.stretch[0])
    bore: Bore | None = mark.curve.round
    if bore is None and even and mark.closed:
        bore = slot_of(mark.curve.points)
    elif bore is None and even and (slot := _straight(mark)) is not None:
        return slot
    if bore is None or not even:
        _not_round(mark.source, at, ledger)
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    inner, outer = bore.diameter - width, bore.diameter + width
    if inner <= 1e-6 * outer:
        return bore._replace(diameter=outer)
    if width < THIN * bore.diameter:
        shape = "slot" if isinstance(bore, Slot) else "circle"
        ledger.stop(
            "hole-doubtful",
            f"a {shape} drawn with a pen of {width:.3f} mm: the hole may be {inner:.3f} mm (its "
            f"inside), {bore.diameter:.3f} mm (its middle) or {outer:.3f} mm (its outside)"
            + (" wide" if isinstance(bore, Slot) else ""),
            "draw the hole as a line without width",
            source=mark.source,
            at=bore.at,
        )
        return None
    return bore._replace(diameter=inner)


def _straight(mark: Stroke) -> Slot | None:
    """The slot that a straight open stroke sweeps, its ends round."""
    if mark.bulges.any():
        return None
    points = mark.curve.points
    way = points[-1] - points[0]
    length = float(np.hypot(*way))
    if not length > 0:
        return None
    unit = way / length
    off = (points - points[0]) @ np.array([-unit[1], unit[0]])
    along = (points - points[0]) @ unit
    if np.abs(off).max() > 1e-6 or not (np.diff(along) > 0).all():
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    return Slot.between(_pair(points[0]), _pair(points[-1]), width)


def _of_fill(mark: Fill, ledger: Ledger) -> Bore | None:
    area = mark.areas[0]
    outline = area.interiors[0] if len(area.interiors) == 1 else area.exterior
    points = np.asarray(outline.coords)[:-1]
    result: Bore | None = None
    if len(mark.areas) == 1 and len(area.interiors) <= 1:
        result = round_of(points) if mark.curved else None
        result = result or slot_of(points)
    if result is None:
        point = area.representative_point()
        _not_round(mark.source, (point.x, point.y), ledger)
    return result


def _pair(p: NDArray[np.float64]) -> Point:
    return (float(p[0]), float(p[1]))


def routed(marks: Sequence[Mark], ledger: Ledger) -> tuple[list[Mark], list[shapely.Polygon]]:
    """The marks without the cuts of a drill file that bend, and the openings that those leave.

    What a cut goes all around falls out.
    """
    rest: list[Mark] = []
    openings: list[shapely.Polygon] = []
    for mark in marks:
        # a cut of a single point is a hole
        cut = isinstance(mark, Stroke) and mark.source.kind == "cut" and len(mark.vertices) > 1
        if not isinstance(mark, Stroke) or not cut or _straight(mark) or mark.curve.round:
            rest.append(mark)
            continue
        swept = shapely.union_all(stroke.areas(mark))
        openings += [shapely.Polygon(part.exterior) for part in shapely.get_parts(swept).tolist()]
        ledger.use(mark.source, "holes")
    return rest, openings


def opened(
    edge: shapely.Polygon,
    openings: Sequence[shapely.Polygon],
    shapes: Sequence[shapely.Polygon],
    ledger: Ledger,
) -> shapely.Polygon:
    """The board with these openings cut out; faults where one is none of its cut-outs."""
    if not openings:
        return edge
    tree = shapely.STRtree(list(shapes))
    for opening in openings:
        x, y = opening.exterior.coords[0]
        if not edge.contains_properly(opening):
            ledger.stop(
                "outline-crosses",
                "a routed cut of the drill file is not within the board's edge",
                "draw the edge with it on the outline layer, and take the cut out of the drill "
                "file",
                at=(x, y),
            )
        elif len(tree.query(opening, predicate="contains")):
            ledger.stop(
                "copper-in-cut-out",
                "a routed cut of the drill file goes all around copper, which would fall out",
                "give a cut that frees the board as its outline, in drawing.outline",
                at=(x, y),
            )
    board = shapely.difference(edge, shapely.union_all(list(openings)))
    if not isinstance(board, shapely.Polygon) and not ledger.stopped:
        ledger.stop(
            "outline-falls-apart",
            "the routed cuts of the drill file cut the board into several parts",
            "leave the board in one part",
            at=_pair(np.asarray(openings[0].exterior.coords[0])),
        )
    return board if isinstance(board, shapely.Polygon) else edge


def lone_faults(
    board_holes: Sequence[Hole],
    shared: Sequence[Bore],
    pieces: Sequence[CopperPiece],
    ledger: Ledger,
) -> None:
    """On a layer of copper and holes what is alone may be a pad or a hole."""
    doubtful = {(bore.at, bore.diameter) for bore in shared}
    shapes = {piece.id: piece.shape for piece in pieces}
    for hole in board_holes:
        if (hole.at, hole.diameter) not in doubtful:
            continue
        if hole.end is None:
            alone = hole.piece is None
            words = f"a circle of {hole.diameter:.3f} mm"
        else:
            rim = hole.spine.buffer(hole.diameter / 2 - CONCENTRIC)
            alone = hole.piece is None or not shapes[hole.piece].covers(rim)
            words = f"a slot {hole.diameter:.3f} mm wide"
        if alone:
            ledger.stop(
                "hole-doubtful",
                f"{words} alone on a layer of copper and holes may be a pad or a hole",
                "put holes without a pad on a layer of their own, or draw pad and hole both",
                at=hole.at,
            )


def holes(bores: Sequence[Bore], pieces: Sequence[CopperPiece]) -> tuple[Hole, ...]:
    """Numbered holes in reading order, each with the copper piece it is on.

    No two of the bores share their centre, or both ends.
    """
    if not bores:
        return ()
    unique = sorted(bores, key=lambda r: (round(r.at[0], 3), round(r.at[1], 3), r.diameter))
    reach = np.array([bore.diameter / 2 + 0.01 for bore in unique])
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    which: dict[int, list[int]] = {}
    tree = shapely.STRtree(shapes)
    a, b = tree.query(spines_of(unique), predicate="dwithin", distance=reach)
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        which.setdefault(i, []).append(j)
    out = []
    for i, r in enumerate(unique):
        candidates = which.get(i) or _in_opening(r, tree)
        if len(candidates) > 1:
            # between pads, the one with most copper under the hole has it
            common = shapely.area(shapely.intersection(bore_area(r, 0.01), shapes[candidates]))
            candidates = [candidates[int(np.argmax(common))]]
        piece = pieces[candidates[0]].id if candidates else None
        out.append(Hole(f"h{i + 1}", r.at, r.diameter, piece, end_of(r)))
    return tuple(out)


def _in_opening(bore: Bore, tree: shapely.STRtree) -> list[int]:
    """The piece in whose opening the hole lies, if that is no more than a diameter longer."""
    spine = spine_of(bore)
    most = spine.length + 2 * bore.diameter
    result = []
    for j in tree.query(spine).tolist():
        for interior in tree.geometries[j].interiors:
            x0, y0, x1, y1 = interior.bounds
            if max(x1 - x0, y1 - y0) <= most and shapely.Polygon(interior).covers(spine):
                result.append(j)
    return result


def close_drilled(
    shapes: Sequence[shapely.Polygon], bores: Sequence[Bore]
) -> list[shapely.Polygon]:
    """Fill openings in pads that the drill takes away anyway, so that pads are whole."""
    out = list(shapes)
    opened = np.flatnonzero(shapely.get_num_interior_rings(out)).tolist()
    if not bores or not opened:
        return out
    spines = spines_of(bores)
    tree = shapely.STRtree(spines)
    for n in opened:
        shape = out[n]
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
        if len(keep) < len(shape.interiors):
            out[n] = shapely.Polygon(shape.exterior, keep)
    return out
