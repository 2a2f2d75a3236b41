"""What a refused drawing draws, to look at: everything on the layers that the job names."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from millprep.drawing.gather import gather
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke
from millprep.drawing.marks.stroke import drawn
from millprep.drawing.reading import part_of, roles_by_file, units_of
from millprep.model.board import Board, CopperPiece
from millprep.model.finding import Refusal
from millprep.model.job.board import BoardPlan

MOST_SHAPES = 20_000
"""Shapes that are shown; a page with more is slow to open."""
PEN, THINNEST = 0.002, 0.05
"""Lines of no width are shown as wide as this part of the drawing, and no less than so many mm."""
RIM = 0.02
"""Paper around the drawing, as a part of its longer side."""


def sketch(plan: BoardPlan, *, repair: bool) -> Board | None:
    """Everything drawn for a board, as the copper of one that has the drawing's size.

    What cannot be opened is not shown; None where nothing is left.
    """
    layers, files = plan.roles, plan.drawing
    sized = layers.outline_box is not None or layers.outline_margin is not None
    by_file = roles_by_file(
        files.copper.file,
        files.outline and files.outline.file,
        None if files.holes is None else tuple(holes.file for holes in files.holes),
        sized=sized,
    )
    by_layer: dict[str, list[Mark]] = {}
    for path, roles in by_file.items():
        needed = tuple(r for r in roles if r != "holes" or roles == ["holes"])
        part, units = part_of(layers, roles), units_of(layers, roles, plan.unit)
        ledger = Ledger(plan.name, path.name)
        try:
            sheet = gather(path, part, needed, units, ledger, 0, repair, plan.accepted)
        except (Refusal, MemoryError):
            continue
        for layer, marks in sheet.by_layer.items():
            by_layer.setdefault(layer, []).extend(marks)
    shapes = [(layer, *drawn(_shapes(marks))) for layer, marks in by_layer.items()]
    corners = [xy for _, lines, _ in shapes for xy in lines]
    corners += [shapely.get_coordinates(area) for _, _, areas in shapes for area in areas]
    if not corners:
        return None
    (x0, y0), (x1, y1) = (way(np.concatenate(corners), axis=0) for way in (np.min, np.max))
    long = max(x1 - x0, y1 - y0, 1.0)
    pieces: list[CopperPiece] = []
    for layer, lines, areas in shapes:
        paths = [shapely.LineString(xy) for xy in lines if len(xy) > 1]
        wide = shapely.buffer(paths, max(PEN * long, THINNEST) / 2, quad_segs=2)
        parts = shapely.get_parts([*areas, *wide])
        pieces += [CopperPiece(f"{layer} {k}", part) for k, part in enumerate(parts, 1)]
    rim = RIM * long
    edge = shapely.box(x0 - rim, y0 - rim, x1 + rim, y1 + rim)
    return Board(plan.name, edge, tuple(pieces[:MOST_SHAPES]), ()) if pieces else None


def _shapes(marks: Iterable[Mark]) -> list[Curve | Stroke | Fill]:
    return [mark for mark in marks if isinstance(mark, Curve | Stroke | Fill)]
