"""Profiles as moves: all the way through, never into a tab, never a step or ramp too steep."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.gcode import moves
from millprep.geometry.path import FloatArray, Path
from millprep.model.cut import Profile, Tab
from millprep.model.cutter import EndMill
from millprep.model.job.work import ProfilePlan
from millprep.model.program import Move
from tests.helpers.gcode_trail import ROUNDED, START, allowed_rapid, pen, trail
from tests.helpers.workshop import MACHINE, mill, profiling

MILL = mill(2.0, step=0.5)
PLAN = profiling(MILL)
DEPTH, TAB_DEPTH = 1.8, 1.1
BIN = 0.05

OPEN = ROUNDED.part(10.0, 130.0)
TABS = (Tab(20.0, 24.0), Tab(70.0, 74.0), Tab(110.0, 114.0))
COURSES = {
    "closed, no tabs": (ROUNDED, ()),
    "closed": (ROUNDED, TABS),
    "closed, tab at its start": (ROUNDED, (Tab(0.0, 4.0), Tab(90.0, 94.0))),
    "closed, one tab": (ROUNDED, (Tab(30.0, 34.0),)),
    "closed, clockwise": (ROUNDED.reversed(), TABS),
    "open, no tabs": (OPEN, ()),
    "open": (OPEN, TABS),
    "open, tab in the ramp": (OPEN, (Tab(1.0, 5.0), Tab(60.0, 64.0))),
    "open, cut off within a tab": (OPEN, (Tab(0.0, 1.5), Tab(118.0, OPEN.length))),
    "open, tab where the ramp begins": (OPEN, (Tab(0.5, 4.5),)),
    "short closed": (Path.circle((10.0, 10.0), 0.6), ()),
    "short open": (Path.lines([(0, 0), (3, 0)]), ()),
}


def run(path: Path, tabs: tuple[Tab, ...], plan: ProfilePlan = PLAN) -> list[Move]:
    assert isinstance(plan.cutter, EndMill)
    one = pen(plan.cutter)
    cut = Profile(path, plan.cutter.name, DEPTH, TAB_DEPTH, tabs, 0, inner=False)
    moves.profile(one, cut, plan)
    return one.moves


def floors(path: Path, made: list[Move], step: float) -> FloatArray:
    """Lowest z along the path after all moves; fails where one lap takes more than a step."""
    line = path.line(1e-4)
    floor = np.zeros(math.ceil(path.length / BIN) + 1)
    for move, at in trail(START, made):
        low = at[at[:, 2] < 0]
        if not len(low):
            continue
        assert move.motion != "rapid" or (at[0, :2] == at[-1, :2]).all()
        place = shapely.points(low[:, :2])
        assert shapely.distance(line, place).max() <= 0.001
        along = shapely.line_locate_point(line, place, normalized=True) * path.length
        bins = np.minimum((along / BIN).astype(int), len(floor) - 1)
        before = floor.copy()
        np.minimum.at(floor, bins, low[:, 2])
        # within a bin a ramp goes down by its slope, no more
        taken = before - floor
        assert taken.max() <= step + 2 * BIN * math.tan(math.radians(PLAN.ramp))
    return floor


@pytest.mark.parametrize("name", COURSES)
def test_full_depth_outside_the_tabs_and_tabs_left_standing(name: str) -> None:
    path, tabs = COURSES[name]
    floor = floors(path, run(path, tabs), MILL.step)
    middle = (np.arange(len(floor)) + 0.5) * BIN
    in_tab = np.zeros(len(floor), dtype=bool)
    near_tab = np.zeros(len(floor), dtype=bool)
    for tab in tabs:
        in_tab |= (middle > tab.start + BIN) & (middle < tab.end - BIN)
        near_tab |= (middle > tab.start - BIN) & (middle < tab.end + BIN)
    ends = (middle < BIN) | (middle > path.length - BIN)
    assert floor[in_tab].min(initial=0.0) >= -TAB_DEPTH - 1e-9
    through = floor[~near_tab & ~ends]
    assert through.max() == pytest.approx(-DEPTH, abs=1e-9)
    assert through.min() == pytest.approx(-DEPTH, abs=1e-9)
    # the tab itself is cut down to its height, so the bridge is as thin as asked
    assert floor[in_tab].max(initial=-TAB_DEPTH) <= -TAB_DEPTH + 1e-9


def test_last_digits_do_not_decide_where_a_profile_starts() -> None:
    """A blank that lies turned changes them; of equal free stretches the first counts."""
    path = Path.lines([(0, 0), (40, 0), (40, 40), (0, 40), (0, 0)])
    starts = {
        (move.x, move.y)
        for off in (-1e-9, 0.0, 1e-9)
        for tabs in [(Tab(8.0, 12.0), Tab(88.0 + off, 92.0 + off))]
        for move in run(path, tabs)[:1]
    }
    assert starts == {(12.0, 0.0)}


@pytest.mark.parametrize("ramp", [2.0, 10.0, 45.0, 90.0])
@pytest.mark.parametrize("name", COURSES)
def test_no_ramp_is_steeper_than_required(name: str, ramp: float) -> None:
    path, tabs = COURSES[name]
    plan = replace(PLAN, ramp=ramp)
    slope = math.tan(math.radians(ramp))
    lowest = 0.0
    for _, at in trail(START, run(path, tabs, plan)):
        run_, fall = float(np.hypot(*np.diff(at[:, :2], axis=0).T).sum()), at[0, 2] - at[-1, 2]
        if run_ > 1e-9:
            assert fall <= slope * run_ * 1.001 + 1e-9
        lowest = min(lowest, float(at[:, 2].min()))
    assert lowest == pytest.approx(-DEPTH)


@pytest.mark.parametrize("name", [n for n in COURSES if "tab" not in n or "no tabs" in n])
def test_without_tabs_in_the_way_the_cutter_is_never_pushed_straight_down(name: str) -> None:
    """Straight down it goes only through what is already cut."""
    path, _ = COURSES[name]
    line = path.line(1e-4)
    floor = np.zeros(math.ceil(path.length / BIN) + 1)
    for _, at in trail(START, run(path, ())):
        along = shapely.line_locate_point(line, shapely.points(at[:, :2]), normalized=True)
        bins = np.minimum((along * path.length / BIN).astype(int), len(floor) - 1)
        if (at[0, :2] == at[-1, :2]).all() and at[-1, 2] < at[0, 2]:
            assert at[-1, 2] >= floor[max(bins[0] - 1, 0) : bins[0] + 2].min() - 1e-9
        np.minimum.at(floor, bins, at[:, 2])


@pytest.mark.parametrize("name", COURSES)
def test_rapids_only_at_clearance_or_straight(name: str) -> None:
    path, tabs = COURSES[name]
    made = run(path, tabs)
    for move, at in trail(START, made):
        if move.motion == "rapid":
            assert allowed_rapid(at)
    assert made[-1].z == MACHINE.clearance


def test_both_sides_of_a_join_end_in_the_same_direction() -> None:
    """On an open course the last cut at every place runs forward; backlash then cancels."""
    last: dict[int, bool] = {}
    line = OPEN.line(1e-4)
    for _, at in trail(START, run(OPEN, ())):
        if at[-1, 2] >= 0 or (at[0, :2] == at[-1, :2]).all():
            continue
        along = np.asarray(shapely.line_locate_point(line, shapely.points(at[:, :2])))
        for s in along[1:-1].tolist():
            last[int(s / BIN)] = bool(along[-1] > along[0])
    assert len(last) > 0.95 * OPEN.length / BIN
    assert all(last.values())


def test_the_tab_test_can_fail() -> None:
    """The same moves without the tab go through the place where it should stand."""
    floor = floors(OPEN, run(OPEN, ()), MILL.step)
    assert floor[int(72.0 / BIN)] < -TAB_DEPTH - 0.5


def test_the_step_test_can_fail() -> None:
    blunt = replace(PLAN, cutter=replace(MILL, step=0.9))
    with pytest.raises(AssertionError):
        floors(OPEN, run(OPEN, (), blunt), MILL.step)


def test_a_closed_path_may_start_anywhere() -> None:
    square = Path.lines([(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0), (0.0, 0.0)])
    for origin in (0.0, 1e-9, 40.0 - 1e-9, 40.0, 70.0 + 1e-10, 140.0 - 1e-9, 12.3):
        turned = moves._turned(square, origin)
        assert turned.closed
        assert turned.length == pytest.approx(square.length)
        assert turned.start == pytest.approx(square.point_at(origin), abs=1e-6)
