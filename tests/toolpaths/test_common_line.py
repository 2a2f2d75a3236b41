"""Common stretches of two profiles: found, given to one of the two, left out by the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.offset import from_line, offset
from millprep.geometry.path import Path
from millprep.model.cut import Profile, Tab
from millprep.toolpaths import common_line

RADIUS = 1.0


def board(x: float, y: float, width: float = 30.0, height: float = 20.0) -> Profile:
    grown = offset(shapely.box(x, y, x + width, y + height), RADIUS)
    assert isinstance(grown, shapely.Polygon)
    lap = shapely.LinearRing(list(grown.exterior.coords)[::-1])
    return Profile(from_line(lap), "mill", 1.8, 1.1, (), int(x * 1000 + y), inner=False)


def total(parts: tuple[Profile, ...]) -> float:
    return sum(part.path.length for part in parts)


def test_neighbours_one_kerf_apart_have_their_edge_in_common() -> None:
    one, other = board(0, 0), board(32, 5)
    first, second = common_line.common([one, other])
    assert (first.board, first.other, second.board) == (0, 1, 1)
    for stretch in (first, second):
        assert stretch.end - stretch.start == pytest.approx(15.0)
        assert {round(x, 4) for x, _ in stretch.ends} == {31.0}
        assert sorted(round(y, 4) for _, y in stretch.ends) == [5.0, 20.0]


@pytest.mark.parametrize("apart", [1.9, 2.01, 2.5, 6.0])
def test_boards_at_another_distance_have_nothing_in_common(apart: float) -> None:
    assert common_line.common([board(0, 0), board(30 + apart, 0)]) == ()


def test_a_short_stretch_and_cut_outs_are_not_shared() -> None:
    assert common_line.common([board(0, 0), board(32, 13)]) == ()
    assert common_line.common([board(0, 0), replace(board(32, 0), inner=True)]) == ()


@pytest.mark.law
@given(st.floats(-10.0, 10.0))
def test_all_is_cut_by_the_two_together(shift: float) -> None:
    profiles = [board(0, 0), board(32, round(shift, 4))]
    stretches = common_line.common(profiles)
    order = common_line.holding_order(2, stretches, lambda *_: True)
    parts = [
        common_line.without(one, common_line.cut_by_neighbours(n, stretches, order))
        for n, one in enumerate(profiles)
    ]
    cut = shapely.union_all([p.path.line() for mine in parts for p in mine]).buffer(0.003)
    assert all(cut.covers(one.path.line()) for one in profiles)
    common = stretches[0].end - stretches[0].start
    saved = sum(one.path.length for one in profiles) - total(parts[0]) - total(parts[1])
    assert saved == pytest.approx(common - 2 * common_line.OVER, abs=0.01)
    # what a board left out would have cut, its neighbour cuts
    assert common_line.cut_by_neighbours(order[0], stretches, order, left_out={order[1]}) == ()


def test_tabs_stay_on_what_is_left() -> None:
    one, other = board(0, 0), board(32, 0)
    stretches = common_line.common([one, other])
    (mine,) = [s for s in stretches if s.board == 0]
    middle = (mine.start + mine.end) / 2
    far = (middle + one.path.length / 2) % one.path.length
    tabbed = replace(one, tabs=tuple(sorted((Tab(far, far + 4.0),), key=lambda tab: tab.start)))
    (part,) = common_line.without(tabbed, common_line.cut_by_neighbours(0, stretches, (0, 1)))
    (tab,) = part.tabs
    assert tab.end - tab.start == pytest.approx(4.0)
    at = part.path.point_at(tab.start)
    assert at == pytest.approx(one.path.point_at(far))


def test_boards_are_held_from_the_frame_inward() -> None:
    """Three in a row, of which the first alone lies beside the frame."""
    profiles = [board(64, 0), board(32, 0), board(0, 0)]
    stretches = common_line.common(profiles)
    order = common_line.holding_order(
        3, stretches, lambda n, beside, barred: n == 2 or bool(beside)
    )
    assert order == (2, 1, 0)
    # each leads to the one before it, and cuts what both have in common
    for n, number in enumerate(order):
        neighbour, _ = common_line.tab_places(number, stretches, order)
        assert len(neighbour) == min(n, 1)
        assert len(common_line.cut_by_neighbours(number, stretches, order)) == (n < 2)


def line(*xs: float) -> Profile:
    """An open part of a profile along y = 0."""
    xy = np.array([[x, 0.0] for x in xs])
    path = Path(xy, np.zeros(len(xs) - 1))
    return Profile(path, "mill", 1.8, 1.1, (Tab(20.0, 24.0),), 0, inner=False)


@pytest.mark.parametrize(
    ("gone", "left"),
    [
        ((0.0, 10.0), [(10.0 - common_line.OVER, 30.0)]),
        ((5.0, 18.0), [(0.0, 5.0 + common_line.OVER), (18.0 - common_line.OVER, 30.0)]),
        ((25.0, 40.0), [(0.0, 25.0 + common_line.OVER)]),
        ((-5.0, 40.0), []),
        ((12.0, 12.0 + 2 * common_line.OVER), [(0.0, 30.0)]),
    ],
)
def test_of_a_part_of_a_profile_the_rest_is_cut(
    gone: tuple[float, float], left: list[tuple[float, float]]
) -> None:
    """Ends run on into what the neighbour cuts; ends of the part itself do not."""
    parts = common_line.without(line(0.0, 30.0), [((gone[0], 0.0), (gone[1], 0.0))])
    assert [(part.path.start[0], part.path.end[0]) for part in parts] == [
        pytest.approx(span) for span in left
    ]
    tabs = [(part.path.start[0] + tab.start, tab.end - tab.start) for part in parts
            for tab in part.tabs]  # fmt: skip
    assert tabs == ([pytest.approx((20.0, 4.0))] if left else [])


def test_a_place_is_on_a_common_line_of_its_own_board_alone() -> None:
    gone = {1: [((0.0, 0.0), (0.0, 5.0)), ((10.0, 0.0), (20.0, 0.0))]}
    assert common_line.on_common_line((15.0, 0.0), gone, 1)
    assert common_line.on_common_line((0.0, 5.0), gone, 1)
    assert not common_line.on_common_line((15.0, 0.0), gone, 2)
    assert not common_line.on_common_line((15.0, 0.1), gone, 1)
    assert not common_line.on_common_line((20.1, 0.0), gone, 1)
