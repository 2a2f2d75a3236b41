"""No-fit polygons: where one outline may not lie beside another.

An outline is cut into convex parts. Two convex parts overlap, or come nearer than the spacing,
for the offsets in one convex polygon: their Minkowski sum, one of them turned through the
origin, with a disc of the spacing. The union over all pairs of parts is the no-fit polygon; it
has holes and bays where one outline fits into the other.

The disc is replaced by a 16-gon around it with flats on the axes, which keeps exactly the
spacing between edges along the axes and at most 2 % more elsewhere.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]

PLAY = 4e-7
"""Sums of parts are smaller by this all round, mm: so what fits exactly has a region of
positions with an area, and is found. A layout's proof allows 1e-6."""

GRID = 1e-7
"""Unions snap to this, mm: seams between parts that differ by rounding vanish."""


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
    rings = [
        shapely.get_coordinates(shapely.orient_polygons(t))[:-1]
        for t in triangles.geoms
        if t.area > 0
    ]
    parts: list[list[tuple[float, float]] | None] = [
        [(float(x), float(y)) for x, y in ring] for ring in rings
    ]
    owner: dict[tuple[tuple[float, float], tuple[float, float]], int] = {}
    for n, part in enumerate(parts):
        assert part is not None
        for a, b in zip(part, part[1:] + part[:1], strict=True):
            owner[a, b] = n
    # Longest diagonals first: what stays cut are the short ones near curves.
    seams = sorted((key for key in owner if key < key[::-1] and key[::-1] in owner), key=_rank)
    for a, b in seams:
        one, two = owner[a, b], owner[b, a]
        if one == two:
            continue
        merged = _joined(parts[one], parts[two], a, b)
        if merged is None:
            continue
        parts[one], parts[two] = merged, None
        for c, d in zip(merged, merged[1:] + merged[:1], strict=True):
            owner[c, d] = one
    return [np.array(part) for part in parts if part is not None]


def _rank(seam: tuple[tuple[float, float], tuple[float, float]]) -> tuple[float, object]:
    return (-math.dist(*seam), seam)


def _joined(
    one: list[tuple[float, float]] | None,
    two: list[tuple[float, float]] | None,
    a: tuple[float, float],
    b: tuple[float, float],
) -> list[tuple[float, float]] | None:
    """Two polygons joined at their common edge, a to b in the first; None unless convex."""
    assert one is not None
    assert two is not None
    i, j = one.index(b), two.index(a)
    ring = one[i:] + one[:i] + (two[j:] + two[:j])[1:-1]
    size = len(ring)
    for n in range(size):
        (px, py), (qx, qy), (rx, ry) = ring[n - 1], ring[n], ring[(n + 1) % size]
        if (qx - px) * (ry - qy) - (qy - py) * (rx - qx) < 0:
            return None
    return ring


def no_fit(
    standing: list[FloatArray], moving: list[FloatArray], spacing: float
) -> shapely.Polygon | shapely.MultiPolygon:
    """Offsets of the moving outline at which it is nearer to the standing one than the spacing.

    Args:
        standing: convex parts of the outline that lies still, at its own origin.
        moving: those of the other, likewise.
        spacing: mm, 0 or more.
    """
    if spacing > 0:
        round_ = disc(spacing)
        standing = [_hull(_sums(part, round_)) for part in standing]
    points: list[FloatArray] = []
    owner: list[FloatArray] = []
    for part in standing:
        for other in moving:
            sums = _sums(part, -other)
            owner.append(np.full(len(sums), len(points)))
            points.append(sums)
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


def _sums(one: FloatArray, two: FloatArray) -> FloatArray:
    return (one[:, None, :] + two[None, :, :]).reshape(-1, 2)


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
