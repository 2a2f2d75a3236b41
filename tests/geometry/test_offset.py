"""Arcs found again: through the very points, within the fit, and never where none was."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.offset import ARC_FIT, MAX_RADIUS, ON_CIRCLE, from_line, from_points, offset
from millprep.geometry.path import FloatArray, Path
from tests.helpers.chance import examples
from tests.helpers.workshop import disc

QUICK = examples(40)


def farthest(path: Path, points: FloatArray) -> float:
    """Largest distance between a path and a polyline, from either to the other."""
    fine, trail = path.line(1e-5), shapely.LineString(points)
    return float(shapely.hausdorff_distance(fine, trail))


def all_from(path: Path, points: FloatArray) -> bool:
    """Whether every vertex of the path is one of the points."""
    known = set(map(tuple, points.tolist()))
    return all(tuple(v) in known for v in path.xy.tolist())


@st.composite
def trails(draw: st.DrawFn) -> FloatArray:
    """Smooth and jagged trails: chains of chorded arcs and lines, some of them nearly straight."""
    points = [(0.0, 0.0)]
    heading = 0.0
    for _ in range(draw(st.integers(1, 6))):
        turn = draw(st.sampled_from([0.0, 0.0, 0.5, -0.7, 1.6]))
        heading += turn
        x, y = points[-1]
        if draw(st.booleans()):
            length = draw(st.integers(1, 200)) / 20
            points.append((x + length * math.cos(heading), y + length * math.sin(heading)))
            continue
        radius = draw(st.sampled_from([0.05, 0.3, 1.0, 2.5, 20.0, 400.0]))
        sweep = draw(st.integers(2, 60)) / 10 if radius < 3 else draw(st.integers(2, 30)) / 300
        side = draw(st.sampled_from([1, -1]))
        step = 2 * math.acos(1 - 0.002 / radius)
        n = math.ceil(sweep / step)
        cx, cy = x - side * radius * math.sin(heading), y + side * radius * math.cos(heading)
        for k in range(1, n + 1):
            a = heading + side * sweep * k / n
            points.append((cx + side * radius * math.sin(a), cy - side * radius * math.cos(a)))
        heading += side * sweep
    return np.array(points)


@pytest.mark.law
@QUICK
@given(trails())
def test_a_recovered_path_stays_within_the_fit(points: FloatArray) -> None:
    path = from_points(points)
    assert all_from(path, points)
    assert path.start == tuple(points[0])
    assert path.end == tuple(points[-1])
    # a point may lie 1 µm off the circle of a whole run, and chords 4 µm within it
    assert farthest(path, points) <= ARC_FIT + 5 * ON_CIRCLE
    at = shapely.points(points)
    assert shapely.distance(path.line(1e-5), at).max() <= ARC_FIT


@pytest.mark.parametrize("radius", [0.1, 0.5, 1.0, 7.3, 40.0])
@pytest.mark.parametrize("clockwise", [False, True])
def test_a_full_circle_becomes_two_arcs(radius: float, clockwise: bool) -> None:
    points = Path.circle((12.0, -3.0), radius, clockwise=clockwise).flattened()
    path = from_points(points)
    assert len(path) == 2
    assert path.closed
    assert path.length == pytest.approx(2 * math.pi * radius, rel=1e-9)
    assert (path.bulge < 0).all() if clockwise else (path.bulge > 0).all()
    for segment in path.segments():
        assert segment.centre == pytest.approx((12.0, -3.0), abs=1e-7)


def regular(sides: int, radius: float) -> FloatArray:
    angle = np.linspace(0, 2 * math.pi, sides + 1)
    points = np.column_stack((np.cos(angle), np.sin(angle))) * radius
    points[-1] = points[0]
    return points


@pytest.mark.parametrize(("sides", "radius"), [(4, 1.0), (6, 0.5), (8, 0.8), (8, 0.1), (16, 1.0)])
def test_coarse_polygons_stay_polygons(sides: int, radius: float) -> None:
    """An octagonal pad is an octagon: its flats lie farther from the circle than the fit."""
    points = regular(sides, radius)
    path = from_points(points)
    assert not path.bulge.any()
    assert len(path) == sides


def test_the_same_polygon_so_fine_that_its_chords_meet_the_fit_is_a_circle() -> None:
    assert len(from_points(regular(64, 1.0))) == 2


def test_a_stadium_is_two_lines_and_two_arcs() -> None:
    ring = offset(shapely.LineString([(0, 0), (30, 10)]), 0.7)
    assert isinstance(ring, shapely.Polygon)
    path = from_line(ring.exterior)
    assert path.closed
    assert path.length == pytest.approx(2 * math.hypot(30, 10) + 2 * math.pi * 0.7, abs=1e-6)
    assert int((path.bulge != 0).sum()) <= 4
    assert len(path) <= 7


def test_a_closed_path_does_not_start_inside_an_arc() -> None:
    square = shapely.box(0, 0, 10, 10).buffer(1.0, quad_segs=16)
    ring = shapely.get_coordinates(square.exterior)[:-1]
    for start in (0, 5, 9, 20):
        rolled = np.vstack((ring[start:], ring[: start + 1]))
        path = from_points(rolled)
        assert int((path.bulge != 0).sum()) == 4
        assert path.length == pytest.approx(40 + 2 * math.pi, abs=1e-6)


def test_a_nearly_straight_arc_is_a_line() -> None:
    x = np.linspace(0, 40, 30)
    flat = np.column_stack((x, x**2 / (2 * 2 * MAX_RADIUS)))
    assert not from_points(flat).bulge.any()


def test_few_points_and_repeated_points() -> None:
    assert len(from_points(np.array([(0.0, 0.0), (1.0, 0.0)]))) == 1
    assert len(from_points(np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 0.0), (1.0, 1.0)]))) == 2
    triangle = from_points(np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 0.0)]))
    assert triangle.closed
    assert len(triangle) == 3


def test_an_offset_pad_keeps_its_radius() -> None:
    """Rings are made of pads flattened to 2 µm; their laps are circles again, and in place."""
    grown = offset(disc(5.0, 5.0, 0.9), 0.2)
    assert isinstance(grown, shapely.Polygon)
    path = from_line(grown.exterior)
    assert len(path) <= 8
    centre = shapely.Point(5.0, 5.0)
    away = shapely.distance(shapely.points(path.flattened(1e-5)), centre)
    assert abs(away - 1.1).max() <= 0.006
