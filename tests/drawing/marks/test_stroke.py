"""Laws of a stroke: its edge lies half a width from its centre line, everywhere."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.drawing.marks.mark import Source, Stroke
from millprep.drawing.marks.stroke import areas
from millprep.geometry.path import SAGITTA, Path
from millprep.geometry.pose import Affine
from tests.helpers.chance import examples

HERE = Source("foil", "LWPOLYLINE", "2A", 0)


def stroke(
    vertices: list[tuple[float, float]],
    bulges: list[float],
    width: float,
    *,
    closed: bool = False,
    to_mm: Affine | None = None,
) -> Stroke:
    return Stroke(
        HERE,
        np.array(vertices),
        np.array(bulges),
        np.full(len(bulges) or 1, width),
        closed,
        to_mm or Affine(),
    )


def joined(one: Stroke) -> shapely.Polygon:
    area = shapely.union_all(areas(one))
    assert isinstance(area, shapely.Polygon)
    return area


def centre_line(one: Stroke) -> shapely.LineString:
    xy = np.vstack((one.vertices, one.vertices[:1])) if one.closed else one.vertices
    return Path(xy, one.bulges).line(1e-6)


def edge_points(area: shapely.Geometry) -> np.ndarray:
    return shapely.get_coordinates(area)


@pytest.mark.parametrize("width", [0.1, 0.8, 3.0])
def test_one_straight_line_is_a_stadium(width: float) -> None:
    area = joined(stroke([(1, 2), (11, 2)], [0], width))
    exact = 10 * width + math.pi * width**2 / 4
    # an inscribed polygon lacks at most two thirds of the sagitta along its curved edge
    assert 0 <= exact - area.area <= SAGITTA * math.pi * width
    h = width / 2
    assert area.bounds == pytest.approx((1 - h, 2 - h, 11 + h, 2 + h), abs=1e-12)


def test_every_vertex_lies_on_the_true_edge() -> None:
    one = stroke([(0, 0), (10, 0), (15, 5), (15, 12)], [0.0, 0.3, 0.0], 1.0)
    area = joined(one)
    away = np.asarray(shapely.distance(shapely.points(edge_points(area)), centre_line(one)))
    assert away == pytest.approx(np.full(away.shape, 0.5), abs=2e-6)


def test_tangent_line_and_arc_leave_no_slivers() -> None:
    # a U-turn: line, half circle, line
    one = stroke([(0, 0), (10, 0), (10, 4), (0, 4)], [0, 1, 0], 1.0)
    area = joined(one)
    assert area.geom_type == "Polygon"
    assert len(area.interiors) == 0
    exact = 20 + math.pi * 2 + math.pi * 0.25
    assert area.area == pytest.approx(exact, abs=0.02)
    steps = np.hypot(*np.diff(edge_points(area), axis=0).T)
    assert steps.min() > 1e-3


def test_a_circle_with_a_width_is_a_ring() -> None:
    one = stroke([(0, 0), (2, 0)], [1, 1], 0.5, closed=True)
    (ring,) = areas(one)
    radii = np.hypot(*(edge_points(ring) - [1, 0]).T)
    assert set(np.round(radii, 9)) == {0.75, 1.25}
    assert ring.area == pytest.approx(math.pi * (1.25**2 - 0.75**2), rel=0.003)


def test_two_half_circles_as_wide_as_their_diameter_are_a_dot() -> None:
    (dot,) = areas(stroke([(0.0, 0.0), (1.0, 0.0)], [1, 1], 1.0, closed=True))
    assert not dot.interiors
    assert np.hypot(*(edge_points(dot) - [0.5, 0]).T) == pytest.approx(1.0)


def test_an_arc_narrower_than_its_pen_has_no_hole() -> None:
    one = stroke([(0, 0), (1, 0)], [0.8], 2.0)
    area = joined(one)
    assert not area.interiors
    away = np.asarray(shapely.distance(shapely.points(edge_points(area)), centre_line(one)))
    assert away == pytest.approx(np.full(away.shape, 1.0), abs=SAGITTA)


def test_an_arc_of_more_than_half_a_circle() -> None:
    bulge = math.tan(math.radians(300) / 4)
    one = stroke([(0, 0), (1, 0)], [bulge], 0.1)
    area = joined(one)
    radius = 1 / (2 * math.sin(math.radians(30)))
    exact = math.radians(300) * radius * 0.1 + math.pi * 0.05**2
    assert area.area == pytest.approx(exact, rel=0.01)
    assert area.geom_type == "Polygon"


def test_a_stroke_of_no_length_is_a_dot() -> None:
    one = stroke([(3, 4)], [], 1.0)
    (dot,) = areas(one)
    assert dot.area == pytest.approx(math.pi * 0.25, rel=0.01)


def test_uneven_scale_makes_an_oval_of_the_round_end() -> None:
    squeezed = Affine(a=2.0, e=0.5)
    area = joined(stroke([(0, 0), (4, 0)], [0], 2.0, to_mm=squeezed))
    assert area.bounds == pytest.approx((-2, -0.5, 10, 0.5))
    x, y = edge_points(area).T
    left = x < -1e-9
    assert (x[left] / 2) ** 2 + (y[left] / 0.5) ** 2 == pytest.approx(1.0)


def test_changing_widths_meet_in_the_larger_disc() -> None:
    one = Stroke(HERE, np.array([(0, 0), (5, 0), (10, 0)], dtype=float), np.zeros(2),
                 np.array([1.0, 2.0]), False, Affine())  # fmt: skip
    area = joined(one)
    assert area.bounds == pytest.approx((-0.5, -1, 11, 1))
    assert area.contains(shapely.Point(4.1, 0.0))


coordinate = st.integers(-40, 40).map(lambda n: n / 4)
vertex = st.tuples(coordinate, coordinate)
bulge = st.one_of(st.just(0.0), st.integers(-24, 24).map(lambda n: n / 10))


@pytest.mark.law
@examples(60)
@given(
    st.lists(vertex, min_size=2, max_size=5, unique=True),
    st.lists(bulge, min_size=4, max_size=4),
    st.sampled_from([0.2, 0.8, 2.5]),
)
def test_the_edge_of_any_stroke_lies_half_a_width_away(
    vertices: list[tuple[float, float]], bulges: list[float], width: float
) -> None:
    one = stroke(vertices, bulges[: len(vertices) - 1], width)
    line = centre_line(one)
    area = joined(one)
    away = shapely.distance(shapely.points(edge_points(area)), line)
    # flattened edges may cut each other up to the sagitta off: inside of outer curves,
    # outside of inner ones
    assert away.max() <= width / 2 + SAGITTA + 1e-5
    assert away.min() >= width / 2 - 1.5 * SAGITTA
    assert shapely.covers(area.buffer(1e-6), line)
    # the round pen itself, held at many places of the centre line (a general buffer
    # would not do: it smooths shallow hollows by a hundredth of the width)
    at = shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.linspace(0, 1, 40), normalized=True)
    )
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    pen = np.column_stack((np.cos(turn), np.sin(turn))) * (width / 2 - 1.2 * SAGITTA)
    inked = shapely.points((at[:, None] + pen[None]).reshape(-1, 2))
    shapely.prepare(area)
    assert shapely.covers(area, inked).all()


def test_the_edge_check_can_fail() -> None:
    one = stroke([(0, 0), (10, 0)], [0], 1.0)
    wrong = shapely.LineString(one.vertices).buffer(0.52)
    away = shapely.distance(shapely.points(edge_points(wrong)), centre_line(one))
    assert away.max() > 0.5 + SAGITTA + 1e-5
