"""The narrowest copper of the pieces as cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.proof.sweep import grown
from millprep.values.path import Point

FIRST_WIDTH = 1.0
STEP = 0.002
"""The width is found to this, mm."""


def narrowest_copper(shapes: Sequence[shapely.Geometry]) -> tuple[float, Point] | None:
    """Width of the narrowest neck of any shape, mm to `STEP`, and its place; None for no shapes.

    A neck is narrower than w when taking w / 2 off every edge parts the shape, opens the
    copper around one of its holes, or leaves nothing; copper that leads to nothing wider, a
    blind end, is no neck. One shape is measured, then all others
    are only asked whether they are narrower still: few are, so few are measured.
    """
    left = np.array(list(shapes), dtype=object)
    if not len(left):
        return None
    # A long thin shape of width w has an area of nearly w / 2 for each mm of its edge.
    left = left[np.argsort(shapely.area(left) / shapely.length(left), kind="stable")]
    width = np.inf
    narrowest = left[0]
    while len(left):
        found = _width(left[0], width)
        if found < width:
            width, narrowest = found, left[0]
        left = thinner(left[1:], width - STEP)
    return float(width), _place(narrowest, float(width))


def _place(shape: shapely.Geometry, width: float) -> Point:
    """Where a shape gives way when it is worn by half of its narrowest neck and a little."""
    worn = shapely.buffer(shape, -(width + STEP) / 2, quad_segs=4)
    parts = shapely.get_parts(worn)
    if len(parts) > 1:
        parts = parts[np.argsort(-shapely.area(parts), kind="stable")]
        rest = shapely.union_all(parts[1:])
        at = shapely.shortest_line(parts[0], rest).interpolate(0.5, normalized=True)
    else:
        # The neck beside a hole, or all of it: the largest area that wearing takes for good.
        opened = shapely.buffer(worn, (width + STEP) / 2, quad_segs=4)
        lost = shapely.get_parts(shapely.difference(shape, opened))
        at = lost[int(np.argmax(shapely.area(lost)))].representative_point()
    return (float(at.x), float(at.y))


def _width(shape: shapely.Geometry, most: float) -> float:
    """Width of one shape's narrowest neck, known to be at most `most`."""
    one = np.array([shape], dtype=object)
    low, high = 0.0, min(FIRST_WIDTH, most)
    while high < most and not len(thinner(one, high)):
        low, high = high, 2 * high
    while high - low > STEP / 4:
        middle = (low + high) / 2
        if len(thinner(one, middle)):
            high = middle
        else:
            low = middle
    return low


def thinner(shapes: NDArray[np.object_], width: float) -> NDArray[np.object_]:
    """The shapes with a neck narrower than `width`."""
    if not len(shapes) or width <= 0:
        return shapes[:0]
    worn = grown(shapes, -width / 2, 4)
    whole = shapely.get_type_id(worn) == shapely.GeometryType.POLYGON
    whole &= shapely.get_num_interior_rings(worn) == shapely.get_num_interior_rings(shapes)
    whole &= ~shapely.is_empty(worn)
    thinner: NDArray[np.object_] = shapes[~whole]
    return thinner
