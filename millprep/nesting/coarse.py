"""Outlines with fewer corners that cover the true ones: curves cost no-fit polygons time."""

from __future__ import annotations

import math

import shapely
from shapely.geometry.base import BaseGeometry

Points = list[tuple[float, float]]


def covering(outline: shapely.Polygon, tolerance: float) -> shapely.Polygon:
    """A polygon that contains the outline, has its box, and lies within the tolerance of it.

    Only short edges go: an edge between two corners that bulge out is replaced by the meeting
    point of its neighbours, a corner that bends in is cut off. Long straight edges stay where
    they are, so boards with straight edges keep their exact spacing.

    Args:
        outline: the true one, with cut-outs.
        tolerance: how far the new corners may lie outside, mm; 0 keeps the outline.
    """
    plain: BaseGeometry = shapely.orient_polygons(shapely.simplify(outline, 0.0))
    if tolerance <= 0 or not isinstance(plain, shapely.Polygon):
        return outline
    outline = shapely.Polygon(plain)
    shell = _covering_ring(_open(outline.exterior), tolerance)
    holes = [_covering_ring(_open(hole), tolerance) for hole in outline.interiors]
    covered = shapely.Polygon(shell, [hole for hole in holes if len(hole) >= 3])
    if not covered.is_valid:
        return outline
    boxed = covered.intersection(shapely.box(*outline.bounds))
    missed = outline.difference(boxed).area
    # Rounding at the new corners is all that may be missing.
    if not isinstance(boxed, shapely.Polygon) or missed > 1e-9 * outline.length:
        return outline
    return boxed


def _open(ring: shapely.LinearRing) -> Points:
    return [(float(x), float(y)) for x, y in ring.coords[:-1]]


def _covering_ring(ring: Points, tolerance: float) -> Points:
    """The area is on the left of the ring; each round takes away about half the short edges."""
    original = shapely.LinearRing(ring)
    while len(ring) > 4:
        fewer = _round(ring, tolerance, original)
        if len(fewer) == len(ring):
            return ring
        ring = fewer
    return ring


def _round(ring: Points, tolerance: float, original: shapely.LinearRing) -> Points:
    result: Points = []
    size, n = len(ring), 0
    while n < size:
        a, b = result[-1] if result else ring[n - 1], ring[n]
        c, d = ring[(n + 1) % size], ring[(n + 2) % size]
        spare = size - n > 2 or not result  # the ends of the list are the next round's
        if spare and _turn(a, b, c) < 0 and _strays(b, a, c) <= tolerance / 2:
            n += 1
            result.append(c)
            n += 1
            continue
        if spare and math.dist(b, c) < 8 * tolerance + math.dist(a, b) + math.dist(c, d):
            meeting = _meeting(a, b, c, d)
            if meeting is not None and (
                math.dist(meeting, b) <= 50 * tolerance
                and original.distance(shapely.Point(meeting)) <= tolerance
            ):
                result.append(meeting)
                n += 2
                continue
        result.append(b)
        n += 1
    return result


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def _strays(p: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    length = math.dist(a, b)
    return abs(_turn(a, b, p)) / length if length > 0 else math.dist(a, p)


def _meeting(
    a: tuple[float, float],
    b: tuple[float, float],
    c: tuple[float, float],
    d: tuple[float, float],
) -> tuple[float, float] | None:
    """Where a-b and d-c meet beyond b and c, if both corners bulge out."""
    if _turn(a, b, c) <= 0 or _turn(b, c, d) <= 0:
        return None
    ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], c[0] - d[0], c[1] - d[1]
    cross = ux * vy - uy * vx
    if cross >= 0:  # they turn by half a turn or more together
        return None
    t = ((d[0] - b[0]) * vy - (d[1] - b[1]) * vx) / cross
    return (b[0] + t * ux, b[1] + t * uy)
