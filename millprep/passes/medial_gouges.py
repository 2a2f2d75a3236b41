"""Bites of grooves that run in the middle of gaps: the copper drawn there is farther off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely

from millprep.model.layout import Placement
from millprep.model.plan import IsolationPlan
from millprep.passes.neighbours import Gouge


def real(
    gouges: Sequence[Gouge], placements: Sequence[Placement], plan: IsolationPlan
) -> tuple[Gouge, ...]:
    """The bites that reach drawn copper.

    They are reckoned as if every lap ran along its copper. In the middle of gaps the drawn copper
    begins farther off, and what a groove takes before it was no one's.
    """
    if plan.course != "middle":
        return tuple(gouges)
    shapes = {
        (p.index, piece.id): p.pose.shape(piece.shape)
        for p in placements
        for piece in p.board.pieces
    }
    half = max(cutter.width(plan.depth) for cutter in plan.cutters) / 2
    found = []
    for gouge in gouges:
        away = shapely.distance(shapely.Point(gouge.pair.at), shapes[gouge.pair.other])
        depth = gouge.depth - max(float(away) - half, 0.0)
        if depth > 0:
            found.append(replace(gouge, depth=depth))
    return tuple(found)
