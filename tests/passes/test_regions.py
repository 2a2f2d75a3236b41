"""Regions of passes: every place has one, and a board within one is cut whole."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from millprep.geometry.path import Path, Point
from millprep.model.blank import Box
from millprep.passes.regions import Regions, profile_overrun, stretches_by_region
from millprep.passes.shift import ShiftPlan, plan
from tests.helpers.workshop import MACHINE

REACH = 1.0
ROW = Box(5.0, 5.0, 500.0, 95.0), (300.0, 100.0)
GRID = Box(5.0, 5.0, 260.0, 190.0), (155.0, 120.0)


def planned(need: Box, travel: tuple[float, float]) -> ShiftPlan:
    machine = replace(MACHINE, travel_size=travel, screw_lead=8.0)
    return plan(need, machine, (0.0, 0.0), 24.0, 1)


@pytest.mark.parametrize(("need", "travel"), [ROW, GRID])
def test_every_place_lies_in_the_region_of_its_owner(
    need: Box, travel: tuple[float, float]
) -> None:
    regions = Regions.of(planned(need, travel), profile_overrun(REACH))
    areas = regions.areas()
    for x in range(6, int(need.x1), 7):
        for y in range(6, int(need.y1), 7):
            holding = [k for k, area in enumerate(areas) if area.covers(shapely.Point(x, y))]
            assert regions.owner((x, y)) in holding
            assert (
                len(holding) == 1
                or min(line.distance(shapely.Point(x, y)) for line in regions.join_lines()) <= 1e-9
            )


@pytest.mark.parametrize(("need", "travel"), [ROW, GRID])
def test_a_board_is_whole_where_no_seam_meets_its_profile(
    need: Box, travel: tuple[float, float]
) -> None:
    shift = planned(need, travel)
    regions = Regions.of(shift, profile_overrun(REACH))
    boards = {
        x * 1000 + y: shapely.box(x, y, x + 20, y + 10)
        for x in range(6, int(need.x1) - 20, 3)
        for y in range(6, int(need.y1) - 10, 9)
    }
    whole = regions.whole(boards, REACH)
    across = regions.across(boards, REACH, (need.x1 + 20, need.y1 + 20))
    assert whole
    assert across
    assert set(whole) | set(across) == set(boards)
    assert not set(whole) & set(across)
    for number, board in boards.items():
        swept = board.buffer(REACH - 1e-4, join_style="mitre")
        meets = any(line.crosses(swept) for line in regions.join_lines())
        assert meets == (number in across)
        if number in whole:
            assert shift.polygon(whole[number]).covers(swept)


def test_a_board_longer_than_any_region_is_not_parted_for_nothing() -> None:
    regions = Regions.of(planned(*ROW), profile_overrun(REACH))
    long = {1: shapely.box(10, 10, 490, 90)}
    assert regions.whole(long, REACH) == {}
    assert regions.across(long, REACH, (510, 100)) == ()


def test_one_pass_parts_nothing() -> None:
    one = Regions.of(planned(Box(5, 5, 100, 90), (300.0, 100.0)), profile_overrun(REACH))
    board = {1: shapely.box(10, 10, 20, 20)}
    assert (one.whole(board, REACH), one.across(board, REACH, (200, 100)), one.join_lines()) == (
        {}, (), (),
    )  # fmt: skip


def test_a_place_that_no_window_reaches_belongs_to_the_nearest() -> None:
    regions = Regions.of(planned(*ROW), profile_overrun(REACH))
    assert regions.owner((-5.0, 20.0)) == 0
    assert regions.owner((900.0, 20.0)) == len(regions.inner) - 1


def test_regions_that_share_a_corner_alone_have_no_join_line() -> None:
    assert Regions((Box(0, 0, 10, 10), Box(10, 10, 20, 20))).join_lines() == ()
    # nor where rounding lets them share a little more
    assert Regions((Box(0, 0, 10, 10), Box(10, 10 - 1e-7, 20, 20))).join_lines() == ()
    assert len(Regions((Box(0, 0, 10, 10), Box(10, 0, 20, 10))).join_lines()) == 1


@pytest.mark.parametrize("edge", [20.0, 24.0])
def test_a_short_stretch_between_two_of_one_pass_stays_with_them(edge: float) -> None:
    """Around a closed path of 100 mm: passes 0, 1, 0 and, for 4 mm, 2; 1 or 0 has the longest."""
    path = Path.lines([(0, 0), (40, 0), (40, 10), (0, 10), (0, 0)])

    def owner(at: Point) -> int:
        x, y = at
        return 1 if x > edge else 2 if y > 5 and 10 < x < 14 else 0

    lines = [(0, 10.0), (0, 14.0), (0, edge)]
    found = stretches_by_region(path, lines, owner, 6.0)
    assert sorted(side for *_, side in found) == [0, 1]
    second = 2 * (40.0 - edge) + 10.0
    assert {side: end - start for start, end, side in found} == {0: 100.0 - second, 1: second}
    # the same where the path starts within the long stretch of pass 0, next to the short one
    again = stretches_by_region(path.started_at(3), lines, owner, 6.0)
    assert {side: end - start for start, end, side in again} == {0: 100.0 - second, 1: second}
