"""Boards cut out: outside the line, held by tabs, corners told."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from millprep.geometry.path import SAGITTA
from millprep.geometry.pose import Pose
from millprep.model.cut import Profile
from millprep.toolpaths.profile import frame, holds, profile, with_tabs
from tests.helpers import workshop

NOWHERE = shapely.Point(1e6, 1e6)
PANEL = shapely.box(0, 0, 60, 40)


def only(outline: shapely.Polygon) -> Profile:
    cuts, _ = profile([workshop.placed(outline)], workshop.BLANK, workshop.profiling())
    (one,) = cuts
    return one


def test_the_cutter_stays_outside_the_line_and_touches_it() -> None:
    one = only(PANEL)
    kerf = one.path.line().buffer(1.0, quad_segs=64)
    assert kerf.intersection(PANEL).area < 200 * SAGITTA
    assert kerf.intersection(PANEL.buffer(-SAGITTA - 1e-4)).area == 0
    assert kerf.distance(PANEL) == 0
    assert one.path.length == pytest.approx(200 + 2 * math.pi, abs=0.01)
    assert one.depth == pytest.approx(1.8)
    assert one.tab_depth == pytest.approx(1.1)
    assert not one.inner


def test_cut_outs_come_first_and_keep_inside_their_line() -> None:
    window = shapely.box(20, 10, 40, 30)
    cuts, findings = profile(
        [workshop.placed(workshop.less(PANEL, window))], workshop.BLANK, workshop.profiling()
    )
    assert [c.inner for c in cuts] == [True, False]
    assert window.buffer(1e-3).contains(cuts[0].path.line().buffer(1.0, quad_segs=64))
    assert [f.code for f in findings] == ["corner-not-reached"] * 4
    # each corner keeps (4 - pi) r² / 4, the opening of a rectangle by a disc
    kept = [float(f.message.split()[0]) for f in findings]
    assert kept == pytest.approx([(4 - math.pi) / 4] * 4, abs=0.006)


@pytest.mark.parametrize("pose", [Pose(), Pose.mirror_y(40.0)])
@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_climbing_has_the_board_on_the_right(direction: str, pose: Pose) -> None:
    board = workshop.less(PANEL, workshop.disc(30, 20, 8))
    cuts, _ = profile(
        [workshop.placed(board, pose=pose)], workshop.BLANK, workshop.profiling(direction=direction)
    )
    for one in cuts:
        ccw = shapely.LinearRing(one.path.flattened()).is_ccw
        assert ccw == (one.inner == (direction == "climb"))


def test_inner_corners_of_the_outline_are_reported_outer_ones_not() -> None:
    notched = workshop.less(PANEL, shapely.box(20, 30, 40, 40))
    _, findings = profile([workshop.placed(notched)], workshop.BLANK, workshop.profiling())
    assert [f.code for f in findings] == ["corner-not-reached"] * 2
    places = sorted((round(f.at[0]), round(f.at[1])) for f in findings if f.at)
    assert places == [(20, 30), (40, 30)]
    rounded = notched
    for by in (-1.5, 3.0, -1.5):
        rounded = workshop.one(rounded.buffer(by, quad_segs=32))
    _, findings = profile([workshop.placed(rounded)], workshop.BLANK, workshop.profiling())
    assert not findings


def test_a_cut_out_narrower_than_the_cutter() -> None:
    slot = shapely.box(20, 10, 40, 11.9)
    cuts, findings = profile(
        [workshop.placed(workshop.less(PANEL, slot))], workshop.BLANK, workshop.profiling()
    )
    assert [f.code for f in findings] == ["cutout-too-narrow"]
    assert findings[0].severity == "stop"
    assert [c.inner for c in cuts] == [False]


def test_a_notch_the_cutter_does_not_enter_is_reported() -> None:
    slit = workshop.less(PANEL, shapely.box(29.5, 20, 30.5, 40))
    _, findings = profile([workshop.placed(slit)], workshop.BLANK, workshop.profiling())
    assert "corner-not-reached" in {f.code for f in findings}


def straight(one: Profile, start: float, end: float) -> bool:
    return not one.path.part(start, end).bulge.any()


@pytest.mark.parametrize("tab_every", [25.0, 60.0, 500.0])
def test_tabs_are_enough_on_straight_stretches_and_apart(tab_every: float) -> None:
    plan = workshop.profiling(tab_every=tab_every)
    tabbed, findings = with_tabs(only(PANEL), plan, NOWHERE, [])
    assert not findings
    total = tabbed.path.length
    tabs = tabbed.tabs
    assert len(tabs) == max(3, math.ceil(total / tab_every))
    for tab in tabs:
        # the cutter is lifted over the bridge and its own width
        assert tab.end - tab.start == pytest.approx(4.0)
        assert 0 <= tab.start < tab.end <= total
        assert straight(tabbed, tab.start, tab.end)
    gaps = [(b.start - a.end) % total for a, b in zip(tabs, (*tabs[1:], tabs[0]), strict=True)]
    assert min(gaps) > 2.0
    # corners push a tab off its even place by half its width at most
    assert max(gaps) <= total / len(tabs) + 4.0


def test_tabs_stay_off_pads_and_joins() -> None:
    plan = workshop.profiling(tab_every=70.0)
    one = only(PANEL)
    # pads all along the lower edge and the left half of the upper one
    pads = shapely.MultiPoint(
        [(x, 1.5) for x in range(0, 61, 2)] + [(x, 38.5) for x in range(0, 31, 2)]
    )
    joins = [(61.0, 20.0), (-1.0, 20.0)]
    tabbed, _ = with_tabs(one, plan, pads, joins)
    assert len(tabbed.tabs) == 3
    for tab in tabbed.tabs:
        middle = shapely.Point(tabbed.path.point_at((tab.start + tab.end) / 2))
        assert middle.distance(pads) >= 3.0
        # a join is run over by both passes, a tab there would be cut
        assert all(middle.distance(shapely.Point(j)) >= 4.0 for j in joins)


def test_a_round_board_has_no_place_for_tabs() -> None:
    one = only(workshop.disc(30, 20, 15))
    tabbed, findings = with_tabs(one, workshop.profiling(), NOWHERE, [])
    assert not tabbed.tabs
    assert [f.code for f in findings] == ["no-place-for-tabs"]


def test_a_small_cut_out_needs_no_tab() -> None:
    board = workshop.less(PANEL, shapely.box(20, 10, 24, 13))
    cuts, _ = profile([workshop.placed(board)], workshop.BLANK, workshop.profiling())
    assert cuts[0].inner
    tabbed, findings = with_tabs(cuts[0], workshop.profiling(), NOWHERE, [])
    assert not tabbed.tabs
    assert not findings


def neighbours(gap: float) -> tuple[Profile, ...]:
    """Three boards in a column that fills the blank from edge to edge but for the sides."""
    boards = [shapely.box(20, 4 + k * (20 + gap), 80, 24 + k * (20 + gap)) for k in range(3)]
    cuts, _ = profile([workshop.placed(b) for b in boards], workshop.BLANK, workshop.profiling())
    return cuts


def test_tabs_end_on_firm_laminate_never_in_a_neighbours_kerf() -> None:
    # kerfs of 2 mm on both sides leave a web of 0.5 mm between the boards
    cuts = neighbours(4.5)
    hold = frame(workshop.BLANK, cuts, 1.0)
    tabbed, _ = with_tabs(cuts[1], workshop.profiling(), NOWHERE, [], hold)
    places = [cuts[1].path.point_at((t.start + t.end) / 2) for t in tabbed.tabs]
    assert places
    # only the short sides stand beside the frame
    assert all(x < 20 or x > 80 for x, _ in places)
    # left to themselves, tabs would stand on the long sides too
    careless, _ = with_tabs(cuts[1], workshop.profiling(), NOWHERE, [])
    middles = [cuts[1].path.point_at((t.start + t.end) / 2) for t in careless.tabs]
    assert any(20 < x < 80 for x, _ in middles)


def test_a_web_between_kerfs_holds_tabs() -> None:
    cuts = neighbours(6.5)
    hold = frame(workshop.BLANK, cuts, 1.0)
    tabbed, _ = with_tabs(cuts[1], workshop.profiling(), NOWHERE, [], hold)
    places = [cuts[1].path.point_at((t.start + t.end) / 2) for t in tabbed.tabs]
    assert any(20 < x < 80 for x, _ in places)


def test_a_board_with_no_frame_beside_it_is_reported() -> None:
    one = only(PANEL)
    tabbed, findings = with_tabs(one, workshop.profiling(), NOWHERE, [], shapely.box(90, 0, 95, 40))
    assert not tabbed.tabs
    assert [f.code for f in findings] == ["no-place-for-tabs"]


def test_cut_outs_are_no_part_of_what_the_frame_loses() -> None:
    board = workshop.less(PANEL, shapely.box(20, 10, 40, 30))
    cuts, _ = profile([workshop.placed(board)], workshop.BLANK, workshop.profiling())
    assert [cut.inner for cut in cuts] == [True, False]
    assert frame(workshop.BLANK, cuts, 1.0).equals(frame(workshop.BLANK, cuts[1:], 1.0))


def test_a_tab_may_lead_to_a_board_that_is_held_and_never_to_what_a_neighbour_cuts() -> None:
    """No frame is near: only the stretch beside a held board is firm."""
    one, plan = only(PANEL), workshop.profiling()
    far = shapely.box(90, 0, 95, 40)
    (start, length) = max(
        zip(np.cumsum([0.0, *one.path.lengths]).tolist(), one.path.lengths.tolist(), strict=False),
        key=lambda segment: segment[1],
    )
    firm = (start, start + length / 2)
    assert not holds(one, plan, far, [], [])
    assert holds(one, plan, far, [firm], [])
    assert not holds(one, plan, far, [firm], [firm])
    tabbed, findings = with_tabs(one, plan, NOWHERE, [], far, [firm])
    assert findings == ()
    assert tabbed.tabs
    assert all(firm[0] <= tab.start and tab.end <= firm[1] for tab in tabbed.tabs)


def test_tabs_that_would_be_too_near_each_other_are_left_out() -> None:
    """All but one stretch of 8 mm is barred: it takes one tab of the three."""
    one, plan = only(PANEL), workshop.profiling()
    width = plan.tab_width + 2.0
    free = (24.0, 32.0)
    barred = [(0.0, free[0]), (free[1], one.path.length)]
    tabbed, findings = with_tabs(one, plan, NOWHERE, [], barred=barred)
    assert findings == ()
    (tab,) = tabbed.tabs
    assert free[0] <= tab.start
    assert tab.end <= free[1]
    assert tab.end - tab.start == pytest.approx(width)
