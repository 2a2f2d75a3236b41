from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.verify.rules.mesh import Mesh, edges, halved, joined, smallest_angles
from millprep.verify.rules.meshing import LEAST_ANGLE, meshed, triangulate
from tests.helpers.chance import examples

POINT = st.tuples(st.floats(0, 30), st.floats(0, 30))


def tracks(ends: list[tuple[float, float]]) -> shapely.Polygon:
    """Tracks 1 mm wide from point to point; the largest part of them."""
    copper = shapely.LineString(ends).buffer(0.5, quad_segs=4)
    assert isinstance(copper, shapely.Polygon)
    return copper


def whole(mesh: Mesh, shape: shapely.Polygon) -> None:
    """The mesh covers the shape once, edge to edge."""
    assert (mesh.areas > 0).all()
    assert mesh.areas.sum() == pytest.approx(shape.area)
    net = edges(mesh.triangles)
    along = mesh.points[net.ends[net.boundary]]
    around = np.hypot(*(along[:, 1] - along[:, 0]).T).sum()
    assert around == pytest.approx(shape.length)


@examples(30)
@given(st.lists(POINT, min_size=2, max_size=5, unique=True))
def test_every_area_is_covered_once(ends: list[tuple[float, float]]) -> None:
    shape = tracks(ends)
    whole(triangulate(shape), shape)
    mesh = meshed(shape)
    whole(mesh, shape)
    angle, _ = smallest_angles(mesh)
    # A few stay bad: more than a few would cost more points than they spoil.
    assert np.median(angle) > LEAST_ANGLE


@examples(30)
@given(st.lists(POINT, min_size=2, max_size=4, unique=True), st.integers(0, 1000))
def test_halving_keeps_every_old_edge(ends: list[tuple[float, float]], seed: int) -> None:
    shape = tracks(ends)
    mesh = meshed(shape)
    marked = np.random.default_rng(seed).random(len(mesh.triangles)) < 0.2
    finer = halved(mesh, marked)
    whole(finer, shape)
    assert (finer.points[: len(mesh.points)] == mesh.points).all()
    old = np.asarray(shapely.polygons(mesh.points[mesh.triangles]))
    tree = shapely.STRtree(old)
    middle = finer.points[finer.triangles].mean(axis=1)
    small = np.asarray(shapely.polygons(finer.points[finer.triangles]))
    for n, parent in zip(*tree.query(shapely.points(middle), predicate="within"), strict=True):
        over = shapely.difference(small[n], old[parent].buffer(1e-9))
        assert over.is_empty


def test_nothing_marked_changes_nothing() -> None:
    mesh = meshed(shapely.box(0, 0, 3, 1))
    assert halved(mesh, np.zeros(len(mesh.triangles), dtype=bool)) is mesh


def test_a_longest_edge_that_is_asked_for() -> None:
    assert meshed(shapely.box(0, 0, 10, 10), 0.7).lengths.max() <= 0.7


def test_a_sharp_outline_keeps_its_angle_and_ends() -> None:
    wedge = shapely.Polygon([(0, 0), (20, 0), (20, 0.4)])
    whole(meshed(wedge), wedge)


def test_two_areas_share_nothing() -> None:
    mesh = joined([meshed(shapely.box(0, 0, 1, 1)), meshed(shapely.box(2, 0, 4, 1))])
    assert mesh.areas.sum() == pytest.approx(3)
    net = edges(mesh.triangles)
    assert net.boundary.sum() == len(np.unique(net.ends[net.boundary]))


def test_an_empty_area() -> None:
    with pytest.raises(ValueError, match="no triangles"):
        triangulate(shapely.Polygon())
