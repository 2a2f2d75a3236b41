"""Parallel curves of areas, always from the area itself and by the full distance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import SAGITTA, FloatArray

LEFT_OUT = 0.01
"""GEOS leaves out hollows shallower than this fraction of the distance."""
SMOOTHED = 0.004
"""A curve farther out than this because of it is made again, mm."""


def quad_segments(distance: float) -> int:
    """Chords to a quarter turn so that an arc of this radius is met within `SAGITTA`."""
    radius = max(abs(distance), 1e-6)
    step = 2 * math.acos(max(1 - SAGITTA / radius, -1.0))
    return max(4, math.ceil(math.pi / 2 / step))


def offset(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """An area grown (or shrunk, when negative) by a distance, corners round."""
    return offsets([shape], distance)[0]


def offsets(shapes: Sequence[BaseGeometry], distance: float) -> list[BaseGeometry]:
    """Every area grown by the same distance, each by itself."""
    grown: list[BaseGeometry] = list(
        shapely.buffer(
            np.asarray(shapes, dtype=object), distance, quad_segs=quad_segments(distance)
        )
    )
    if abs(distance) * LEFT_OUT <= SMOOTHED:
        return grown
    return [
        _by_edges(shape, distance) if _smoothed(shape, curve, distance) else curve
        for shape, curve in zip(shapes, grown, strict=True)
    ]


def _smoothed(shape: BaseGeometry, grown: BaseGeometry, distance: float) -> bool:
    """Whether shallow hollows were left out so that the curve lies too far off.

    GEOS leaves out vertices that are hollow, seen from the side it goes to, and less than
    1 % of the distance deep. The curve then lies up to that much too far out.
    """
    loops = [shapely.get_coordinates(loop) for loop in boundaries_of(shape)]
    if grown.is_empty or not any(_has_hollow(xy, distance) for xy in loops):
        return False
    # a place h too far out is sqrt(8 r h) wide, so it holds some of these samples
    step = math.sqrt(8 * abs(distance) * SMOOTHED) / 4
    samples = shapely.points(shapely.get_coordinates(shapely.segmentize(grown.boundary, step)))
    edge = shape.boundary
    shapely.prepare(edge)
    return not shapely.dwithin(edge, samples, abs(distance) + SMOOTHED).all()


def _has_hollow(xy: FloatArray, distance: float) -> bool:
    """Whether a boundary, its area on the left, has a hollow vertex that is left out."""
    here = xy[:-1]
    before, after = here - np.roll(here, 1, axis=0), np.roll(here, -1, axis=0) - here
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    depth = np.abs(turn) / np.maximum(np.hypot(*(before + after).T), 1e-12)
    inward = turn < 0 if distance > 0 else turn > 0
    return bool((inward & (depth > 1e-6) & (depth < LEFT_OUT * abs(distance))).any())


def _by_edges(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """The same, from the strip around every single edge: slower, and nothing is left out."""
    ends = [shapely.get_coordinates(loop) for loop in boundaries_of(shape)]
    pairs = np.concatenate([np.stack((xy[:-1], xy[1:]), axis=1) for xy in ends])
    edges = np.asarray(shapely.linestrings(pairs))
    strip = shapely.union_all(
        shapely.buffer(edges, abs(distance), quad_segs=quad_segments(distance))
    )
    return shapely.union(shape, strip) if distance > 0 else shapely.difference(shape, strip)


def boundaries_of(shape: BaseGeometry) -> list[shapely.LinearRing]:
    """The boundaries of an area, outer ones counter-clockwise, inner ones clockwise.

    The area lies on the left of each, so a cutter that follows them backwards has the
    copper on its right.
    """
    loops: list[shapely.LinearRing] = []
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            oriented = shapely.orient_polygons(part)
            loops.append(oriented.exterior)
            loops.extend(oriented.interiors)
    return loops
