"""What a job leaves aside and may have meant: layers that could be copper or holes, and circles.

Each is a warning. What a layer could be rests on its shapes and on where they lie.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
import shapely.prepared

from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke
from millprep.drawing.marks.neighbours import TooMuchError
from millprep.drawing.marks.stroke import Bore, Slot, bore_area
from millprep.drawing.survey.edges_and_holes import LARGEST_BORE, hole_reading
from millprep.drawing.survey.layer_facts import LayerFacts
from millprep.model.board import Board
from millprep.model.finding import Finding, many

NEAR = 0.01
"""Lines this close to the board's edge draw it, and holes this close are one, mm."""

AROUND = 0.2
"""Openings of a mask reach no farther around the copper below them, mm (common practice, no
source)."""


def findings(marks: Iterable[Mark], circles: Sequence[Bore], board: Board) -> tuple[Finding, ...]:
    """Warnings of what the job leaves aside.

    Args:
        marks: of the layers that the job does not use, drawing frame, mm.
        circles: drawn on the copper layers and read as copper.
        board: as it was read.
    """
    layers: dict[str, LayerFacts] = {}
    try:
        for mark in marks:
            layers.setdefault(mark.source.layer, LayerFacts(mark.source.layer)).add(mark)
    except TooMuchError:
        return ()  # a layer that nobody reads refuses no board
    out = []
    for _, layer in sorted(layers.items()):
        try:
            layer.close()
            out.append(_holes(layer, board) or _copper(layer, board))
        except TooMuchError:
            continue
    out.append(_no_holes(circles, board))
    return tuple(finding for finding in out if finding is not None)


def _holes(layer: LayerFacts, board: Board) -> Finding | None:
    """A layer of circles and slots only, some of them where the board has no hole."""
    reading = hole_reading(layer)
    if reading is None or max(bore.diameter for bore in reading.bores) > LARGEST_BORE:
        return None
    made = shapely.STRtree([hole.spine for hole in board.holes])
    copper = shapely.STRtree([piece.shape for piece in board.pieces])
    whole = np.array([shapely.Polygon(p.shape.exterior) for p in board.pieces], dtype=object)
    missing = []
    on_copper = 0
    for bore in reading.bores:
        area = bore_area(bore, 0.01 * bore.diameter)
        if not board.outline.covers(area) or len(
            made.query(shapely.Point(bore.at), predicate="dwithin", distance=bore.diameter / 2)
        ):
            continue
        near = copper.query(area).tolist()
        if any(whole[k].covers(area) for k in near):
            on_copper += 1
        elif any(whole[k].intersects(area) for k in near):
            continue  # as wide as the pad or wider: no hole in it
        missing.append(bore)
    if not missing:
        return None
    first = min(missing, key=lambda bore: (round(bore.at[0], 3), round(bore.at[1], 3)))
    return Finding(
        code="holes-layer-unused",
        severity="warn",
        message=f'Layer "{layer.name}" holds nothing but {_words(missing)}. The board has no '
        f"hole there, and {on_copper} of them lie on its copper; the first is at "
        f"({first.at[0]:.3f}, {first.at[1]:.3f}) mm. If they are holes, name the layer in "
        "layers.holes; if not, in layers.other.",
        frame="drawing",
        at=first.at,
        board=board.name,
    )


def _copper(layer: LayerFacts, board: Board) -> Finding | None:
    """A layer with wide lines or fills, or with bare lines most of which touch the copper.

    A layer is mask or paste, and no copper is missing with it, if every shape on the board lies on
    one piece of the copper that is used, or no more than `AROUND` around it. A shape that reaches
    two pieces would join them, and one that reaches none would be a piece: both may be tracks.
    """
    edge = shapely.prepared.prep(board.outline.boundary.buffer(NEAR))
    inside = shapely.prepared.prep(board.outline.buffer(NEAR))
    shapes: list[shapely.Geometry] = []
    reach: list[float] = []
    bare = not layer.wide and not layer.fills
    drawn = [(_shape(mark), _half_width(mark)) for mark in layer.marks]
    if bare:  # a line may be drawn in many parts
        drawn = [(shapely.LinearRing(loop.points), 0.0) for loop in layer.loops]
        drawn += [(shapely.LineString(run.points), 0.0) for run in layer.opened]
    for shape, half in drawn:
        if inside.covers(shape) and not edge.covers(shape):
            shapes.append(shape)
            reach.append(half)
    if not shapes:
        return None
    tree = shapely.STRtree([piece.shape for piece in board.pieces])
    touching = len(set(tree.query(shapes, predicate="dwithin", distance=reach)[0].tolist()))
    if bare and 2 * touching < len(shapes):
        return None
    areas = [_covered(shape, half) for shape, half in zip(shapes, reach, strict=True)]
    if touching == len(shapes) and all(_within_a_piece(area, tree) for area in areas):
        return None
    words = [many(layer.wide, "line") + " with a width"] if layer.wide else []
    words += [many(layer.fills, "filled area")] if layer.fills else []
    words += [many(len(drawn), "line") + " without a width"] if bare else []
    place = shapely.centroid(shapes[0])
    return Finding(
        code="copper-layer-unused",
        severity="warn",
        message=f'Layer "{layer.name}" may be copper, and the job does not use it: '
        f"{' and '.join(words)}; {touching} of its {many(len(shapes), 'shape')} on the board "
        "touch the copper that is used. If it is copper of this side, name it in layers.copper"
        + (", with its width in layers.widths if these are tracks" if bare else "")
        + "; if not, in layers.other.",
        frame="drawing",
        at=(place.x, place.y),
        board=board.name,
    )


def _covered(shape: shapely.Geometry, half: float) -> shapely.Geometry:
    """What a shape covers: a line as wide as it is drawn, a closed one of no width filled."""
    if half > 0:
        return shapely.buffer(shape, half)
    points = shapely.get_coordinates(shape)
    if isinstance(shape, shapely.LineString) and shape.is_closed and len(points) > 3:
        return shapely.make_valid(shapely.Polygon(points))
    return shape


def _within_a_piece(area: shapely.Geometry, tree: shapely.STRtree) -> bool:
    """Whether an area reaches one piece of copper only, and nothing of it lies far around that."""
    reached = tree.query(area, predicate="intersects").tolist()
    if len(reached) != 1:
        return False
    x0, y0, x1, y1 = shapely.bounds(area).tolist()
    far = 2 * AROUND
    piece = tree.geometries[reached[0]]
    near = shapely.clip_by_rect(piece, x0 - far, y0 - far, x1 + far, y1 + far)
    return bool(shapely.covers(shapely.buffer(near, AROUND), area))


def _shape(mark: Curve | Stroke | Fill) -> shapely.Geometry:
    if isinstance(mark, Fill):
        return shapely.MultiPolygon(mark.areas)
    curve = mark if isinstance(mark, Curve) else mark.curve
    if len(curve.points) < 2:
        return shapely.Point(curve.points[0])
    ends = curve.points[:1] if curve.closed else curve.points[:0]
    return shapely.LineString(np.vstack((curve.points, ends)))


def _half_width(mark: Mark) -> float:
    if not isinstance(mark, Stroke) or not mark.widths.any():
        return 0.0
    return float(mark.widths.max()) * mark.to_mm.stretch[0] / 2


def _no_holes(circles: Sequence[Bore], board: Board) -> Finding | None:
    """Circles within the copper, or openings in it, of a board that has no hole at all."""
    if board.holes:
        return None
    tree = shapely.STRtree([piece.shape for piece in board.pieces])
    within = []
    for bore in circles:
        if bore.diameter > LARGEST_BORE:
            continue
        ring = bore_area(bore, 0.01 * bore.diameter).exterior
        if len(tree.query(ring, predicate="covered_by")):
            within.append(bore)
    if not within:
        return None
    first = min(within, key=lambda bore: (round(bore.at[0], 3), round(bore.at[1], 3)))
    return Finding(
        code="holes-none",
        severity="warn",
        message=f"No hole is made, but within the copper there are {_words(within)}; the first "
        f"is at ({first.at[0]:.3f}, {first.at[1]:.3f}) mm. If they are holes, name their layer in "
        "layers.holes, or the file that draws them in drawing.holes.",
        frame="drawing",
        at=first.at,
        board=board.name,
    )


def _words(bores: Sequence[Bore]) -> str:
    """How many circles and slots, and of which size."""
    slots = sum(isinstance(bore, Slot) for bore in bores)
    circles = len(bores) - slots
    kinds = [many(circles, "circle")] if circles else []
    kinds += [many(slots, "slot")] if slots else []
    low, high = (pick(bore.diameter for bore in bores) for pick in (min, max))
    span = f"{low:.2f} mm" if high - low < 0.005 else f"{low:.2f} to {high:.2f} mm"
    return f"{' and '.join(kinds)} of {span}"
