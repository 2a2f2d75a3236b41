"""Copper whose edges every cutter may have cut farther in, each by as much as it may.

A piece that cutters with one and the same addition went around is worn by it evenly: its neck is
narrower by twice as much. Where several went, no neck is narrower than by twice the most of
them; only pieces that this leaves in doubt are cut with the grown grooves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.as_cut import Groove
from millprep.verify.necks import every_neck, thinner
from millprep.verify.sweep import FloatArray, Shapes

TOUCH = 1e-4
"""A groove this close to a piece, mm, made its edge."""
_SEGMENTS = 8


class Edges:
    """The grooves of a blank at the surface, each with what its cutter may add, mm."""

    def __init__(self, grooves: Sequence[Groove], more: Mapping[str, float]) -> None:
        self.areas = np.concatenate(
            [shapely.get_parts(groove.surface) for groove in grooves] or [np.array([], object)]
        )
        self.more = np.array(
            [more[g.cutter] for g in grooves for _ in range(len(g.surface.geoms))], dtype=float
        )
        self.tree = shapely.STRtree(self.areas)

    def around(self, shapes: Shapes) -> tuple[FloatArray, FloatArray]:
        """The least and the most that is added on the edges of each shape."""
        which, area = self.tree.query(shapes, predicate="dwithin", distance=TOUCH)
        least, most = np.full(len(shapes), math.inf), np.zeros(len(shapes))
        np.minimum.at(least, which, self.more[area])
        np.maximum.at(most, which, self.more[area])
        return np.minimum(least, most), most

    def cut(self, shape: shapely.Polygon) -> shapely.Geometry:
        """What is left of a shape."""
        most = float(self.more.max(initial=0.0)) / math.cos(math.pi / (4 * _SEGMENTS))
        near = self.tree.query(shape, predicate="dwithin", distance=most)
        x0, y0, x1, y1 = shape.bounds
        wide = 2 * most + TOUCH
        around = shapely.clip_by_rect(
            self.areas[near], x0 - wide, y0 - wide, x1 + wide, y1 + wide
        )
        by = self.more[near] / math.cos(math.pi / (4 * _SEGMENTS))
        grown = shapely.buffer(around, by, quad_segs=_SEGMENTS)
        left: shapely.Geometry = shapely.difference(shape, shapely.union_all(grown))
        return left


def parted(shapes: Shapes, widths: FloatArray, edges: Edges) -> NDArray[np.intp]:
    """Which shapes the grown grooves cut apart, open around a hole, or leave nothing of.

    `widths` are those of the narrowest necks.
    """
    least, most = edges.around(shapes)
    sure = widths <= 2 * least
    doubt = (widths <= 2 * most) & ~sure
    for i in np.flatnonzero(doubt).tolist():
        left = edges.cut(shapes[i])
        sure[i] = (
            not isinstance(left, shapely.Polygon)
            or left.is_empty
            or len(left.interiors) != len(shapes[i].interiors)
        )
    return np.flatnonzero(sure & (most > 0))


def narrowest(
    shapes: Shapes, widths: FloatArray, edges: Edges
) -> tuple[float | None, int | None]:
    """Width of the narrowest neck that the grown grooves leave of any shape, and whose it is."""
    if not len(shapes):
        return None, None
    least, most = edges.around(shapes)
    best, which = math.inf, 0
    for i in np.argsort(widths - 2 * most, kind="stable").tolist():
        if widths[i] - 2 * most[i] >= best:
            break
        width = float(widths[i] - 2 * most[i])
        if least[i] < most[i]:
            left = edges.cut(shapes[i])
            if not isinstance(left, shapely.Polygon) or left.is_empty:
                width = 0.0
            elif best < math.inf and not len(thinner(np.array([left], dtype=object), best)):
                continue
            else:
                width = every_neck([("", left)])[0].width
        if width < best:
            best, which = width, i
    return max(best, 0.0), which
