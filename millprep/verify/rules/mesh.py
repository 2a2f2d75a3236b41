"""Triangles that cover copper, edge to edge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ON_RIM = 1e-6
"""A point this close to the rim of a contact is on it, mm."""
SIMPLER = 0.002
"""Outlines are thinned by no more than this, mm: the flattening of curves."""
MOST_ROUNDS = 40
LAYERS = 5
"""The first points inside an area lie this part of its mean width from the edge."""
NO_STEP = 1e-9
"""Points of an outline this close to each other are one, mm."""
LEAST_EDGE = 1e-4
"""The outline is not divided into shorter edges, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles that cover one or more areas, edge to edge.

    Attributes:
        points: (n, 2) mm.
        triangles: (m, 3) indices into `points`, counter-clockwise.
    """

    points: FloatArray
    triangles: IntArray

    @property
    def areas(self) -> FloatArray:
        """(m,) areas, mm²."""
        return signed_areas(self.points, self.triangles)


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """The edges of a mesh.

    Attributes:
        ends: (e, 2) indices of points, the lower first.
        sides: (e, 2) triangles on either side, -1 beyond the boundary.
    """

    ends: IntArray
    sides: IntArray

    @property
    def boundary(self) -> BoolArray:
        """(e,) whether the edge has copper on one side only."""
        return self.sides[:, 1] < 0


def domain(
    shapes: Sequence[shapely.Polygon], contacts: Sequence[shapely.Geometry]
) -> shapely.MultiPolygon:
    """The copper around the contacts that carries their current, with thinned outlines."""
    tree = shapely.STRtree(np.array(contacts, dtype=object))
    kept: list[shapely.Polygon] = []
    for shape in shapes:
        near = tree.query(shape, predicate="dwithin", distance=ON_RIM)
        left: shapely.Geometry = shapely.simplify(shape, SIMPLER)
        if len(near):
            left = shapely.difference(left, shapely.union_all(tree.geometries[near]))
        kept.extend(
            part
            for part in shapely.get_parts(left)
            if part.area > ON_RIM and len(tree.query(part, "dwithin", distance=ON_RIM))
        )
    return shapely.MultiPolygon(kept)


def triangulated(areas: Iterable[shapely.Polygon]) -> Mesh:
    """A Delaunay triangulation of areas; their vertices are among its points.

    Raises:
        ValueError: when there is no area.
    """
    return _together([_delaunay(area) for area in areas if not area.is_empty])


def _together(parts: Sequence[Mesh]) -> Mesh:
    """Several meshes as one; they have no point in common."""
    if not parts:
        raise ValueError("an empty area has no triangles")
    start = np.cumsum([0, *(len(part.points) for part in parts[:-1])])
    return Mesh(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.triangles + s for part, s in zip(parts, start, strict=True)]),
    )


def meshed(areas: Iterable[shapely.Polygon]) -> Mesh:
    """A Delaunay triangulation of areas with points inside, the farther from an edge the fewer.

    They lie on the area eroded again and again, from a fifth of its mean width on, twice as
    deep and twice as far from each other every time.

    Raises:
        ValueError: when there is no area.
    """
    parts: list[Mesh] = []
    for area in areas:
        step = 2 * area.area / area.length / LAYERS
        inner: list[FloatArray] = [np.zeros((0, 2))]
        deep = step
        while not (left := area.buffer(-deep, quad_segs=2)).is_empty:
            inner.append(shapely.get_coordinates(shapely.segmentize(left.simplify(deep / 8), deep)))
            deep *= 2
        parts.append(_delaunay(shapely.segmentize(area, 2 * step), np.concatenate(inner)))
    return _together(parts)


def _delaunay(area: shapely.Polygon, inner: FloatArray | None = None) -> Mesh:
    """The triangulation of an area, whose edges are divided until each is part of it."""
    from scipy.spatial import Delaunay

    # a step that only rounding made has no triangle on it
    area = shapely.remove_repeated_points(area, NO_STEP)
    points, rim = _rim(area)
    given = len(points)
    if inner is not None and len(inner):
        points = np.vstack((points, np.unique(inner, axis=0)))
    shapely.prepare(area)
    for _ in range(MOST_ROUNDS):
        triangles = Delaunay(points).simplices.astype(np.int64)
        inside = shapely.contains_xy(area, *points[triangles].mean(axis=1).T)
        mesh = turned(points, triangles[inside])
        net = edges(mesh)
        width = len(points)
        outer = net.ends[net.boundary] @ (width, 1)
        missing = ~np.isin(rim.min(axis=1) * width + rim.max(axis=1), outer)
        if not missing.any() and len(outer) == len(rim):
            return mesh
        if not missing.any():
            break
        new = _divided(points, rim[missing], given)
        if np.hypot(*(points[rim[missing][:, 0]] - new).T).min() < LEAST_EDGE:
            break
        middle = width + np.arange(len(new))
        start, end = rim[missing].T
        points = np.vstack((points, new))
        rim = np.vstack(
            (rim[~missing], np.column_stack((start, middle)), np.column_stack((middle, end)))
        )
    # Outlines too close together for that: GEOS cuts ears.
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3].reshape(-1, 2)
    points, index = np.unique(corners, axis=0, return_inverse=True)
    return turned(points, index.reshape(-1, 3).astype(np.int64))


def _rim(area: shapely.Polygon) -> tuple[FloatArray, IntArray]:
    """Points of the outlines of an area, and the pairs of them that are its edges."""
    xy: list[FloatArray] = []
    pairs: list[IntArray] = []
    for outline in (area.exterior, *area.interiors):
        own = shapely.get_coordinates(outline)[:-1]
        start = sum(map(len, xy)) + np.arange(len(own))
        xy.append(own)
        pairs.append(np.column_stack((start, np.roll(start, -1))))
    # Outlines may touch in a point.
    points, index = np.unique(np.concatenate(xy), axis=0, return_inverse=True)
    return points, index.ravel()[np.concatenate(pairs)]


def _divided(points: FloatArray, pairs: IntArray, given: int) -> FloatArray:
    """Where edges of the outline are divided: halfway, or on a shell around a corner.

    Edges that meet at a sharp angle would divide each other for ever. Divided at a power of two
    from a corner that was `given` they end at the same distance (J. Ruppert, J. Algorithms 18,
    1995, from memory).
    """
    start, end = points[pairs[:, 0]], points[pairs[:, 1]]
    length = np.hypot(*(end - start).T)
    corner = pairs < given
    shell = 2.0 ** np.round(np.log2(length / 2)) / length
    fraction = np.where(corner[:, 0], shell, 1 - shell)
    fraction = np.where(corner[:, 0] == corner[:, 1], 0.5, fraction)
    middle: FloatArray = start + fraction[:, None] * (end - start)
    return middle


def turned(points: FloatArray, triangles: IntArray) -> Mesh:
    """A mesh with all triangles counter-clockwise and none of no area."""
    area = signed_areas(points, triangles)
    triangles = np.where((area < 0)[:, None], triangles[:, ::-1], triangles)
    return Mesh(points, triangles[area != 0])


def signed_areas(points: FloatArray, triangles: IntArray) -> FloatArray:
    """(m,) areas of triangles, mm², negative for clockwise ones."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    area: FloatArray = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    return area


def edges(mesh: Mesh) -> Edges:
    """The edges of a mesh."""
    elements = elements_of(mesh)
    return Edges(elements.facets.T.astype(np.int64), elements.f2t.T.astype(np.int64))


def elements_of(mesh: Mesh) -> Any:
    """The mesh as scikit-fem has it."""
    from skfem import MeshTri

    return MeshTri(
        np.ascontiguousarray(mesh.points.T), np.ascontiguousarray(mesh.triangles.T), validate=False
    )
