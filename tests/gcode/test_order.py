"""Visiting orders: everything once, and never longer than the order before improvement."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode import order
from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.geometry.tour import least_travel, way
from tests.helpers.chance import examples

PLACES = st.lists(
    st.tuples(st.floats(0, 300), st.floats(0, 180)), min_size=1, max_size=40, unique=True
)
QUICK = examples(40)


def length(places: list[Point], tour: list[int], start: Point) -> float:
    ends = [start, *(places[n] for n in tour)]
    return sum(math.dist(a, b) for a, b in itertools.pairwise(ends))


def nearest_next(places: list[Point], start: Point) -> list[int]:
    left, here, tour = set(range(len(places))), start, []
    while left:
        n = min(left, key=lambda k: (math.dist(places[k], here), k))
        tour.append(n)
        left.remove(n)
        here = places[n]
    return tour


@pytest.mark.law
@QUICK
@given(PLACES)
def test_every_place_is_visited_once_and_no_farther_than_by_nearest_next(
    places: list[Point],
) -> None:
    visits = way(places, (0.0, 0.0))
    assert sorted(visits) == list(range(len(places)))
    plain = nearest_next(places, (0.0, 0.0))
    assert length(places, visits, (0.0, 0.0)) <= length(places, plain, (0.0, 0.0)) + 1e-6


def test_a_row_is_walked_along() -> None:
    places = [(float(x), 0.0) for x in (50, 10, 40, 20, 30)]
    assert [places[n][0] for n in way(places, (0.0, 0.0))] == [10, 20, 30, 40, 50]


def test_a_crossing_is_undone() -> None:
    rng = np.random.default_rng(5)
    places = [(float(x), float(y)) for x, y in rng.uniform(0, 100, (200, 2))]
    ours = length(places, way(places, (0.0, 0.0)), (0.0, 0.0))
    plain = length(places, nearest_next(places, (0.0, 0.0)), (0.0, 0.0))
    assert ours < 0.95 * plain


def test_no_place_gives_no_tour() -> None:
    assert way([], (0.0, 0.0)) == []
    assert order.paths([], (0.0, 0.0)) == []


def test_open_paths_keep_their_start_and_closed_ones_are_entered_nearby() -> None:
    far = Path.lines([(100.0, 0.0), (60.0, 0.0)])
    loop = Path.lines([(40.0, 10.0), (40.0, 0.0), (50.0, 0.0), (50.0, 10.0), (40.0, 10.0)])
    found = order.paths([far, loop], (0.0, 0.0))
    assert [k for k, _ in found] == [1, 0]
    # entered at the corner nearest to where the cutter comes from
    assert loop.xy[found[0][1]].tolist() == [40.0, 0.0]
    assert found[1] == (0, 0)


@QUICK
@given(st.floats(-200, 200), st.floats(-200, 200), st.sampled_from([0.0, 90.0, 180.0, 270.0]))
def test_an_order_is_the_same_wherever_its_courses_lie(x: float, y: float, turn: float) -> None:
    """A grid of squares, all as far from each other: what is as near is taken as it is listed."""
    pose = Pose.turn(turn).then(Pose.shift(x, y))
    ring = np.array([(0, 0), (2, 0), (2, 2), (0, 2), (0, 0)], dtype=float)
    squares = [Path.lines(ring + np.array([5 * i, 5 * j])) for i in range(4) for j in range(4)]
    moved = [path.transformed(pose) for path in squares]
    assert order.paths(moved, moved[0].mean_point) == order.paths(squares, squares[0].mean_point)


def test_no_way_between_lines_is_shorter_than_their_spanning_tree() -> None:
    rng = np.random.default_rng(8)
    places = [(float(x), float(y)) for x, y in rng.uniform(0, 100, (60, 2))]
    bound = least_travel([np.array([place]) for place in places])
    tour = way(places, places[0])
    assert 0.6 * length(places, tour, places[0]) < bound <= length(places, tour, places[0])


def test_the_spanning_tree_of_lines_is_as_near_as_they_come() -> None:
    rows = [np.array([(0.0, y), (50.0, y)]) for y in (0.0, 7.0, 20.0)]
    assert least_travel(rows) == pytest.approx(20.0 - 2 * 0.5, abs=1e-6)
    assert least_travel(rows[:1]) == 0.0
    on_a_line = [np.array([(x, 0.0)]) for x in (0.0, 30.0, 10.0)]
    assert least_travel(on_a_line) == pytest.approx(30.0)


def test_lines_that_share_all_their_places_take_no_travel() -> None:
    square = np.array([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)], dtype=float)
    assert least_travel([square, square[::-1]]) == pytest.approx(0.0, abs=1e-6)
    off = [square, square[::-1], square + np.array([30.0, 0.0])]
    assert least_travel(off) == pytest.approx(20.0 - 0.5, abs=1e-6)


@QUICK
@given(PLACES, st.tuples(st.floats(0, 300), st.floats(0, 180)))
def test_a_round_trip_is_no_longer_than_a_way_and_back(places: list[Point], start: Point) -> None:
    around, there = order.round_trip(places, start), way(places, start)
    assert sorted(around) == list(range(len(places)))

    def trip(visits: list[int]) -> float:
        return length(places, visits, start) + math.dist(places[visits[-1]], start)

    assert trip(around) <= trip(there) + 1e-3


def test_a_round_trip_goes_out_on_one_side_and_back_on_the_other() -> None:
    rows = [(float(x), y) for y in (10.0, 20.0) for x in range(10, 100, 10)]
    around = order.round_trip(rows, (0.0, 15.0))
    ends = math.dist((0.0, 15.0), (10.0, 10.0))
    assert length(rows, around, (0.0, 15.0)) == pytest.approx(ends + 80.0 + 10.0 + 80.0)
