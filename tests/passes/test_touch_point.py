"""The place where z is zeroed: on copper, uncut, unclamped, within reach."""

from __future__ import annotations

import pytest
import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.finding import Refusal
from millprep.passes import clamping

BLANK = Blank(1, (200.0, 100.0), 1.6, 0.035)
WINDOW = Box(-10.0, -10.0, 150.0, 120.0)
POSE = Pose.shift(10.0, 20.0)
BOARD = shapely.box(15, 15, 185, 85)
NOTHING = shapely.Polygon()


def choose(
    cut: shapely.Polygon = BOARD,
    clamped: shapely.Polygon = NOTHING,
    wished: Point | None = None,
    held: shapely.Polygon | None = None,
) -> Point:
    return clamping.touch_point(
        WINDOW, POSE, BLANK, cut, clamped, wished, 1, held, middle=(80.0, 40.0)
    )


def test_it_lies_on_the_blank_away_from_edge_and_cuts() -> None:
    x, y = POSE.inverse().point(choose())
    assert 2 <= x <= 150 - 2
    assert 2 <= y <= 98
    assert shapely.Point(x, y).distance(BOARD) >= 2


def test_without_clamps_it_is_the_free_place_nearest_to_the_middle_of_what_is_cut() -> None:
    assert POSE.inverse().point(choose()) == (80.0, 13.0)


def test_it_is_near_what_holds_the_blank() -> None:
    clamp = shapely.box(130, 0, 145, 4)
    at = POSE.inverse().point(choose(held=POSE.shape(clamp)))
    assert shapely.Point(at).distance(clamp) <= clamping.HELD
    # of the places so near the one nearest to the middle
    assert at == (107.0, 13.0)


def test_where_nothing_holds_the_blank_near_a_free_place_it_is_the_nearest_to_a_hold() -> None:
    clamp = shapely.box(190, 40, 210, 50)
    x, y = POSE.inverse().point(choose(held=POSE.shape(clamp)))
    assert (x, y) == (149.0, 13.0)


def test_a_clamp_moves_it() -> None:
    free = choose()
    clamp = shapely.Point(free).buffer(30)
    moved = choose(clamped=clamp)
    assert not clamp.contains(shapely.Point(moved))
    assert shapely.Point(POSE.inverse().point(moved)).distance(BOARD) >= 2


def test_a_wish_that_serves_is_granted() -> None:
    wished = POSE.point((5.0, 50.0))
    assert choose(wished=wished) == wished


@pytest.mark.parametrize(
    "place", [(100.0, 50.0), (14.0, 50.0), (1.0, 50.0), (175.0, 5.0), (-4.0, 5.0)]
)
def test_a_wish_on_a_cut_or_off_the_blank_is_refused(place: Point) -> None:
    with pytest.raises(Refusal) as refusal:
        choose(wished=POSE.point(place))
    (finding,) = refusal.value.findings
    assert finding.code == "touch-point-not-free"
    assert finding.frame == "machine"


def test_a_wish_under_a_clamp_is_refused() -> None:
    wished = POSE.point((5.0, 50.0))
    with pytest.raises(Refusal):
        choose(clamped=shapely.Point(wished).buffer(5), wished=wished)


def test_a_blank_cut_all_over_has_no_place() -> None:
    with pytest.raises(Refusal) as refusal:
        choose(cut=shapely.box(0, 0, 200, 100))
    assert refusal.value.findings[0].code == "no-touch-point"
