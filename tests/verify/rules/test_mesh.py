from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from millprep.verify.rules.mesh import Mesh, edges, triangulated
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
    net = edges(mesh)
    along = mesh.points[net.ends[net.boundary]]
    around = np.hypot(*(along[:, 1] - along[:, 0]).T).sum()
    assert around == pytest.approx(shape.length)


@examples(30)
@given(st.lists(POINT, min_size=2, max_size=5, unique=True))
@example([(0.0, 0.0), (0.0, 1.175494351e-38)])
def test_every_area_is_covered_once(ends: list[tuple[float, float]]) -> None:
    shape = tracks(ends)
    whole(triangulated([shape]), shape)
    whole(triangulated([shapely.segmentize(shape, 0.5)]), shape)


@examples(30)
@given(st.lists(POINT, min_size=2, max_size=4, unique=True))
def test_no_point_lies_within_the_circle_around_a_triangle(ends: list[tuple[float, float]]) -> None:
    """Delaunay: across an inner edge the two opposite angles are at most 180° together."""
    mesh = triangulated([shapely.segmentize(tracks(ends), 0.5)])
    net = edges(mesh)
    inner = ~net.boundary
    a, b = net.ends[inner].T
    total = np.zeros(len(a))
    for side in net.sides[inner].T:
        c = mesh.triangles[side].sum(axis=1) - a - b
        u, v = mesh.points[a] - mesh.points[c], mesh.points[b] - mesh.points[c]
        total += np.arctan2(np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]), (u * v).sum(axis=1))
    assert total.max(initial=0.0) <= np.pi + 1e-6


def test_a_sharp_outline_keeps_its_angle() -> None:
    wedge = shapely.Polygon([(0, 0), (20, 0), (20, 0.4)])
    whole(triangulated([wedge]), wedge)


def test_outlines_too_close_for_a_delaunay_triangulation() -> None:
    slit = shapely.box(0.5, 0.50000, 9.5, 0.50001)
    shape = shapely.difference(shapely.box(0, 0, 10, 1), slit)
    assert isinstance(shape, shapely.Polygon)
    whole(triangulated([shape]), shape)


def test_two_areas_have_no_common_point() -> None:
    mesh = triangulated([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 4, 1)])
    assert mesh.areas.sum() == pytest.approx(3)
    net = edges(mesh)
    assert net.boundary.sum() == len(np.unique(net.ends[net.boundary]))


def test_an_empty_area() -> None:
    with pytest.raises(ValueError, match="no triangles"):
        triangulated([shapely.Polygon()])


def test_a_triangle_of_no_area_is_none() -> None:
    """Of points on one line the triangulation makes a triangle that no area is in."""
    copper = shapely.LineString([(2, 1), (1, 1), (2, 2)]).buffer(0.5, quad_segs=1)
    assert isinstance(copper, shapely.Polygon)
    whole(triangulated([shapely.segmentize(copper, 0.5)]), copper)


@pytest.mark.parametrize("rounds", [0, 1, 2])
def test_an_outline_that_is_divided_too_often_is_covered_all_the_same(
    rounds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("millprep.verify.rules.mesh.MOST_ROUNDS", rounds)
    wedge = shapely.Polygon([(0, 0), (20, 0), (20, 0.4), (19, 0.39)])
    whole(triangulated([wedge]), wedge)
