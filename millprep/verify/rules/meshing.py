"""Triangles over a copper area, fine where it is narrow.

The start is the Delaunay triangulation of the polygon's vertices. Bad and large triangles are
then halved across their longest edge, and edges flipped until the triangulation is Delaunay
again (longest-edge refinement, M.-C. Rivara, Int. J. Numer. Meth. Eng. 40, 1997, from memory).
Later halving without flips keeps every old edge, so that each mesh holds all functions of the
mesh before and an error falls steadily.
"""

from __future__ import annotations

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.verify.rules.mesh import (
    BoolArray,
    IntArray,
    Mesh,
    edges,
    halved,
    longest_edges,
    smallest_angles,
)

LEAST_ANGLE = 20.0
"""Triangles with a smaller angle are bad, degrees; halving longest edges is known to end
below 30."""
BAD_FEW, BAD_SHARE = 4, 0.01
"""So few bad triangles may stay: where they spoil the solution, its error has them halved."""
FINEST = 0.02
"""Bad triangles whose longest edge is below this stay as they are, mm."""
MOST_ROUNDS = 40
FEW_FLIPS = 2
LEAST_EDGE = 1e-4
"""The outline is not parted into shorter edges, mm."""


def triangulate(shape: shapely.Polygon) -> Mesh:
    """A Delaunay triangulation of a polygon, whose edges are halved until each is part of it.

    Raises:
        ValueError: for an empty polygon.
    """
    from scipy.spatial import Delaunay

    if shape.is_empty:
        raise ValueError("an empty area has no triangles")
    points, rim = _rim(shape)
    given = len(points)
    shapely.prepare(shape)
    for _ in range(MOST_ROUNDS):
        triangles = Delaunay(points).simplices.astype(np.int64)
        inside = shapely.contains_xy(shape, *points[triangles].mean(axis=1).T)
        mesh = _turned(Mesh(points, triangles[inside]))
        net = edges(mesh.triangles)
        width = len(points)
        found = net.ends[net.boundary] @ (width, 1)
        missing = ~np.isin(rim.min(axis=1) * width + rim.max(axis=1), found)
        if not missing.any() and len(found) == len(rim):
            return mesh
        if not missing.any():
            break
        new = _split(points, rim[missing], given)
        if np.hypot(*(points[rim[missing][:, 0]] - new).T).min() < LEAST_EDGE:
            break
        middle = width + np.arange(len(new))
        one, other = rim[missing].T
        points = np.vstack((points, new))
        rim = np.vstack(
            (rim[~missing], np.column_stack((one, middle)), np.column_stack((middle, other)))
        )
    # Outlines too close together for that: GEOS cuts ears, and edges are flipped.
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    points, index = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    return _flipped(_turned(Mesh(points, index.reshape(-1, 3).astype(np.int64))))


def _rim(shape: shapely.Polygon) -> tuple[FloatArray, IntArray]:
    """Points of a polygon's rings, and the pairs of them that are its edges."""
    xy: list[FloatArray] = []
    pairs: list[IntArray] = []
    for ring in (shape.exterior, *shape.interiors):
        own = shapely.get_coordinates(ring)[:-1]
        start = sum(map(len, xy)) + np.arange(len(own))
        xy.append(own)
        pairs.append(np.column_stack((start, np.roll(start, -1))))
    # Rings may touch in a point.
    points, index = np.unique(np.concatenate(xy), axis=0, return_inverse=True)
    return points, index.ravel()[np.concatenate(pairs)]


def _split(points: FloatArray, pairs: IntArray, given: int) -> FloatArray:
    """Where edges of the outline are parted: in the middle, or on a shell around a corner.

    Edges that meet at a sharp angle would part each other for ever. Parted at a power of two
    from a corner that was `given` they end at the same distance (J. Ruppert, J. Algorithms 18,
    1995, from memory).
    """
    start, end = points[pairs[:, 0]], points[pairs[:, 1]]
    length = np.hypot(*(end - start).T)
    corner = pairs < given
    shell = 2.0 ** np.round(np.log2(length / 2)) / length
    share = np.where(corner[:, 0], shell, 1 - shell)
    share = np.where(corner[:, 0] == corner[:, 1], 0.5, share)
    middle: FloatArray = start + share[:, None] * (end - start)
    return middle


def _turned(mesh: Mesh) -> Mesh:
    """The mesh with all triangles counter-clockwise and none of no area."""
    area = mesh.areas
    triangles = np.where((area < 0)[:, None], mesh.triangles[:, ::-1], mesh.triangles)
    return Mesh(mesh.points, triangles[area != 0])


def meshed(shape: shapely.Polygon, largest: float = np.inf) -> Mesh:
    """A mesh of mostly well-shaped triangles with edges up to `largest` mm."""
    # Edges much longer than the copper is wide would take many rounds to be halved.
    width = 2 * shape.area / shape.length
    mesh = triangulate(shapely.segmentize(shape, min(largest, 1.5 * width)))
    for _ in range(MOST_ROUNDS):
        long = mesh.lengths.max(axis=1) > largest
        bad = _bad(mesh)
        if not long.any() and bad.sum() <= max(BAD_FEW, BAD_SHARE * len(bad)):
            break
        # A few flips between rounds do; the last mesh is Delaunay again.
        mesh = _flipped(halved(mesh, _terminal(mesh, bad | long)), FEW_FLIPS)
    return _flipped(mesh)


def _bad(mesh: Mesh) -> BoolArray:
    """Triangles with too small an angle, except where the outline itself has that angle."""
    angle, corner = smallest_angles(mesh)
    net = edges(mesh.triangles)
    rows = np.arange(len(mesh.triangles))
    beside = net.boundary[net.of]
    given = beside[rows, (corner + 1) % 3] & beside[rows, (corner + 2) % 3]
    bad: BoolArray = (angle < LEAST_ANGLE) & ~given & (mesh.lengths.max(axis=1) > FINEST)
    return bad


def _terminal(mesh: Mesh, bad: BoolArray) -> BoolArray:
    """Where the bad triangles' paths over ever longer edges end; only there is halved.

    Halving on the way as well would set points close together before flips can help.
    """
    net = edges(mesh.triangles)
    rows = np.arange(len(mesh.triangles))
    longest = longest_edges(mesh, net)
    sides = net.sides[net.of[rows, longest]] // 3
    beyond = np.where(sides[:, 0] == rows, sides[:, 1], sides[:, 0])
    beyond = np.where(beyond < 0, rows, beyond)
    # Two triangles that share their longest edge would send each other around in a ring.
    beyond = np.where(beyond[beyond] == rows, np.minimum(beyond, rows), beyond)
    end = beyond
    while (end[end] != end).any():
        end = end[end]
    at_end = np.zeros(len(rows), dtype=bool)
    at_end[end[bad]] = True
    return at_end


def _flipped(mesh: Mesh, most: int = 10 * MOST_ROUNDS) -> Mesh:
    """The mesh with inner edges flipped until each is Delaunay (Lawson), in `most` rounds."""
    triangles = mesh.triangles.copy()
    for _ in range(most):
        net = edges(triangles)
        inner = np.flatnonzero(~net.boundary)
        left, right = net.sides[inner].T
        one, other = left // 3, right // 3
        a, b = net.ends[inner].T
        c, d = triangles[one, left % 3], triangles[other, right % 3]
        # Two opposite angles are above 180° together when their cotangents are below 0.
        excess = -_cotangent(mesh.points, c, a, b) - _cotangent(mesh.points, d, a, b)
        wrong = np.flatnonzero(excess > 1e-7)
        if not len(wrong):
            break
        # Of the edges of one triangle only the worst is flipped at a time.
        order = wrong[np.argsort(excess[wrong], kind="stable")]
        rank = np.zeros(len(inner), dtype=np.int64)
        rank[order] = 1 + np.arange(len(order))
        top = np.zeros(len(triangles), dtype=np.int64)
        np.maximum.at(top, one[wrong], rank[wrong])
        np.maximum.at(top, other[wrong], rank[wrong])
        flip = wrong[(top[one[wrong]] == rank[wrong]) & (top[other[wrong]] == rank[wrong])]
        k = left[flip] % 3
        t = one[flip]
        # Around `one`: c, then the edge's ends in that triangle's own turn.
        p, q = triangles[t, (k + 1) % 3], triangles[t, (k + 2) % 3]
        triangles[t] = np.column_stack((c[flip], p, d[flip]))
        triangles[other[flip]] = np.column_stack((c[flip], d[flip], q))
    return Mesh(mesh.points, triangles)


def _cotangent(points: FloatArray, at: IntArray, a: IntArray, b: IntArray) -> FloatArray:
    """Cotangent of the angle at one point between two others."""
    u, v = points[a] - points[at], points[b] - points[at]
    cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    cot: FloatArray = (u * v).sum(axis=1) / np.maximum(cross, 1e-300)
    return cot
