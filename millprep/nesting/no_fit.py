"""No-fit polygons: where one outline may not be placed next to another.

An outline is cut into convex parts. Two convex parts overlap, or come nearer than the spacing,
for the offsets in one convex polygon: their Minkowski sum, one of them turned through the
origin, with a disc of the spacing. The union over all pairs of parts is the no-fit polygon; it
has holes and bays where one outline fits into the other.

The disc is replaced by a 16-gon around it with flats on the axes, which keeps exactly the
spacing between edges along the axes and at most 2 % more elsewhere. Outlines are first replaced by
outlines with fewer corners that cover them: curves cost no-fit polygons time.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray

PLAY = 4e-7
"""Minkowski sums are smaller by this all round, mm: so an exact fit has a region of positions
with an area, and is found. A layout's proof allows 1e-6."""

GRID = 1e-7
"""Unions snap to this, mm: gaps between parts that differ by rounding vanish."""


def disc(radius: float) -> FloatArray:
    """The 16-gon around a disc of this radius, (16, 2), counter-clockwise, flats on the axes."""
    angles = (np.arange(16) + 0.5) * (math.pi / 8)
    reach = radius / math.cos(math.pi / 16)
    return reach * np.column_stack((np.cos(angles), np.sin(angles)))


def convex_parts(outline: shapely.Polygon) -> list[FloatArray]:
    """Convex polygons, (n, 2) counter-clockwise, that together are the outline.

    Triangles merged while the result stays convex (Hertel and Mehlhorn, 1983: at most four
    times as many parts as needed).
    """
    triangles = shapely.constrained_delaunay_triangles(outline)
    corners = [
        shapely.get_coordinates(shapely.orient_polygons(t))[:-1]
        for t in triangles.geoms
        if t.area > 0
    ]
    parts: list[list[tuple[float, float]] | None] = [
        [(float(x), float(y)) for x, y in loop] for loop in corners
    ]
    owner: dict[tuple[tuple[float, float], tuple[float, float]], int] = {}
    for n, part in enumerate(parts):
        assert part is not None
        for a, b in zip(part, part[1:] + part[:1], strict=True):
            owner[a, b] = n
    # Longest diagonals first: what stays cut are the short ones near curves.
    diagonals = sorted((key for key in owner if key < key[::-1] and key[::-1] in owner), key=_rank)
    for a, b in diagonals:
        left, right = owner[a, b], owner[b, a]
        if left == right:
            continue
        merged = _joined(parts[left], parts[right], a, b)
        if merged is None:
            continue
        parts[left], parts[right] = merged, None
        for c, d in zip(merged, merged[1:] + merged[:1], strict=True):
            owner[c, d] = left
    return [np.array(part) for part in parts if part is not None]


def _rank(diagonal: tuple[tuple[float, float], tuple[float, float]]) -> tuple[float, object]:
    return (-math.dist(*diagonal), diagonal)


def _joined(
    left: list[tuple[float, float]] | None,
    right: list[tuple[float, float]] | None,
    a: tuple[float, float],
    b: tuple[float, float],
) -> list[tuple[float, float]] | None:
    """Two polygons joined at their common edge, a to b in the first; None unless convex."""
    assert left is not None
    assert right is not None
    i, j = left.index(b), right.index(a)
    merged = left[i:] + left[:i] + (right[j:] + right[:j])[1:-1]
    size = len(merged)
    for n in range(size):
        (px, py), (qx, qy), (rx, ry) = merged[n - 1], merged[n], merged[(n + 1) % size]
        if (qx - px) * (ry - qy) - (qy - py) * (rx - qx) < 0:
            return None
    return merged


def no_fit(
    fixed: list[FloatArray], moving: list[FloatArray], spacing: float
) -> shapely.Polygon | shapely.MultiPolygon:
    """Offsets of the moving outline at which it is nearer to the fixed one than the spacing.

    Args:
        fixed: convex parts of the outline that stays, at its own origin.
        moving: those of the other, likewise.
        spacing: mm, 0 or more.
    """
    if spacing > 0:
        round_ = disc(spacing)
        fixed = [_hull(_minkowski(part, round_)) for part in fixed]
    points: list[FloatArray] = []
    owner: list[FloatArray] = []
    for part in fixed:
        for other in moving:
            points_ = _minkowski(part, -other)
            owner.append(np.full(len(points_), len(points)))
            points.append(points_)
    clouds = shapely.multipoints(
        np.asarray(shapely.points(np.concatenate(points))),
        indices=np.concatenate(owner).astype(np.intp),
    )
    # Two outlines overlap only where two of their parts do, so every sum is made smaller by
    # itself: made smaller after the union, a slot that just fits would have closed before.
    hulls = shapely.convex_hull(np.asarray(clouds))
    shrunk = shapely.buffer(hulls, -PLAY, join_style="mitre", mitre_limit=4.0)
    whole = shapely.union_all(np.asarray(shrunk), grid_size=GRID)
    return shapely.simplify(_without_specks(whole), GRID)


def _minkowski(first: FloatArray, second: FloatArray) -> FloatArray:
    return (first[:, None, :] + second[None, :, :]).reshape(-1, 2)


def _hull(points: FloatArray) -> FloatArray:
    hull = shapely.convex_hull(shapely.multipoints(points))
    return shapely.get_coordinates(shapely.orient_polygons(hull))[:-1]


def _without_specks(shape: BaseGeometry) -> shapely.Polygon | shapely.MultiPolygon:
    """Without holes that rounding left between parts."""
    least = PLAY**2
    kept = [
        shapely.Polygon(p.exterior, [r for r in p.interiors if shapely.Polygon(r).area > least])
        for p in shapely.get_parts(shape)
        if isinstance(p, shapely.Polygon)
    ]
    return kept[0] if len(kept) == 1 else shapely.MultiPolygon(kept)


Points = list[tuple[float, float]]


def covering(outline: shapely.Polygon, tolerance: float) -> shapely.Polygon:
    """A polygon that contains the outline, has its box, and lies within the tolerance of it.

    Only short edges go: an edge between two corners that bulge out is replaced by the corner
    in which its neighbours meet, a corner that bends in is cut off. Long straight edges stay where
    they are, so boards with straight edges keep their exact spacing.

    Args:
        outline: the true one, with cut-outs.
        tolerance: how far the new corners may lie outside, mm; 0 keeps the outline.
    """
    plain: BaseGeometry = shapely.orient_polygons(shapely.simplify(outline, 0.0))
    if tolerance <= 0 or not isinstance(plain, shapely.Polygon):
        return outline
    outline = shapely.Polygon(plain)
    shell = _covering_points(_open(outline.exterior), tolerance)
    holes = [_covering_points(_open(hole), tolerance) for hole in outline.interiors]
    covered = shapely.Polygon(shell, [hole for hole in holes if len(hole) >= 3])
    if not covered.is_valid:
        return outline
    boxed = covered.intersection(shapely.box(*outline.bounds))
    missed = outline.difference(boxed).area
    # Rounding at the new corners is all that may be missing.
    if not isinstance(boxed, shapely.Polygon) or missed > 1e-9 * outline.length:
        return outline
    return boxed


def _open(points: shapely.LinearRing) -> Points:
    return [(float(x), float(y)) for x, y in points.coords[:-1]]


def _covering_points(points: Points, tolerance: float) -> Points:
    """The area is on the left of the points; each round removes about half the short edges."""
    original = shapely.LinearRing(points)
    while len(points) > 4:
        fewer = _round(points, tolerance, original)
        if len(fewer) == len(points):
            return points
        points = fewer
    return points


def _round(points: Points, tolerance: float, original: shapely.LinearRing) -> Points:
    result: Points = []
    size, n = len(points), 0
    while n < size:
        a, b = result[-1] if result else points[n - 1], points[n]
        c, d = points[(n + 1) % size], points[(n + 2) % size]
        spare = size - n > 2 or not result  # the ends of the list are the next round's
        if spare and _turn(a, b, c) < 0 and _strays(b, a, c) <= tolerance / 2:
            n += 1
            result.append(c)
            n += 1
            continue
        if spare and math.dist(b, c) < 8 * tolerance + math.dist(a, b) + math.dist(c, d):
            corner = _corner_beyond(a, b, c, d)
            if corner is not None and (
                math.dist(corner, b) <= 50 * tolerance
                and original.distance(shapely.Point(corner)) <= tolerance
            ):
                result.append(corner)
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


def _corner_beyond(
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
