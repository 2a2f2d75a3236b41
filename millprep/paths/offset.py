"""Parallel curves of areas, always from the area itself and by the full distance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.values.path import SAGITTA


def quad_segments(distance: float, sagitta: float = SAGITTA) -> int:
    """Chords to a quarter turn so that an arc of this radius is met within `sagitta`."""
    radius = max(abs(distance), 1e-6)
    step = 2 * math.acos(max(1 - sagitta / radius, -1.0))
    return max(4, math.ceil(math.pi / 2 / step))


def offset(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """An area grown (or shrunk, when negative) by a distance, corners round."""
    return shapely.buffer(shape, distance, quad_segs=quad_segments(distance))


def offsets(shapes: Sequence[BaseGeometry], distance: float) -> list[BaseGeometry]:
    """Every area grown by the same distance, each by itself."""
    grown = shapely.buffer(
        np.asarray(shapes, dtype=object), distance, quad_segs=quad_segments(distance)
    )
    return list(grown)


def rings_of(shape: BaseGeometry) -> list[shapely.LinearRing]:
    """The boundaries of an area, outer ones counter-clockwise, inner ones clockwise.

    The area lies on the left of each, so a cutter that follows them backwards has the
    copper on its right.
    """
    rings: list[shapely.LinearRing] = []
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            oriented = shapely.orient_polygons(part)
            rings.append(oriented.exterior)
            rings.extend(oriented.interiors)
    return rings
