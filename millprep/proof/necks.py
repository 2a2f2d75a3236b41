"""The narrowest copper of the pieces as cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.proof.sweep import grown

FIRST_WIDTH = 1.0
STEP = 0.002
"""The width is found to this, mm."""


def narrowest_copper(shapes: Sequence[shapely.Geometry]) -> float | None:
    """Width of the narrowest neck of any shape, mm to `STEP`; None for no shapes.

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
    while len(left):
        width = _width(left[0], width)
        left = _thinner(left[1:], width - STEP)
    return float(width)


def _width(shape: shapely.Geometry, most: float) -> float:
    """Width of one shape's narrowest neck, known to be at most `most`."""
    one = np.array([shape], dtype=object)
    low, high = 0.0, min(FIRST_WIDTH, most)
    while high < most and not len(_thinner(one, high)):
        low, high = high, 2 * high
    while high - low > STEP / 4:
        middle = (low + high) / 2
        if len(_thinner(one, middle)):
            high = middle
        else:
            low = middle
    return low


def _thinner(shapes: NDArray[np.object_], width: float) -> NDArray[np.object_]:
    """The shapes with a neck narrower than `width`."""
    if not len(shapes) or width <= 0:
        return shapes[:0]
    worn = grown(shapes, -width / 2, 4)
    whole = shapely.get_type_id(worn) == shapely.GeometryType.POLYGON
    whole &= shapely.get_num_interior_rings(worn) == shapely.get_num_interior_rings(shapes)
    whole &= ~shapely.is_empty(worn)
    thinner: NDArray[np.object_] = shapes[~whole]
    return thinner
