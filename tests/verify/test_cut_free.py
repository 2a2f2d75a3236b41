"""Edges of boards as they are cut, and their tabs: programs by hand around one board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
import shapely
from shapely.ops import substring

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Join
from millprep.verify.cut_free import check_cut_free
from millprep.verify.read_back import Run
from millprep.verify.sweep import steps_of
from tests.helpers import small_job
from tests.helpers.programs import end_mill, run_of
from tests.helpers.rules_scene import less

BLANK = Blank(1, (80.0, 60.0), 1.6, 0.035)
BOX = shapely.box(15.0, 15.0, 65.0, 45.0)
WINDOW = shapely.box(25.0, 20.0, 55.0, 40.0)
THROUGH, LIFTED, LIFT = -1.9, -1.2, 5.0
"""Through the blank, over a tab, and how long the cutter is up there for a tab of 3 mm."""
TABS = (5.0, 60.0, 110.0)
"""Where the cutter goes up, mm along an edge of some 166 mm."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(small_job.put(tmp_path_factory.mktemp("free")))


def axis(area: shapely.Polygon, by: float = 1.0) -> shapely.LinearRing:
    """The cutter's line around an area, counter-clockwise from the middle of its lower side."""
    line = shapely.orient_polygons(area.buffer(by, quad_segs=64)).exterior
    x0, y0, x1, _ = line.bounds
    start = line.project(shapely.Point((x0 + x1) / 2, y0))
    ends = (*substring(line, start, line.length).coords, *substring(line, 0, start).coords[1:])
    return shapely.LinearRing(ends)


def milled(
    line: shapely.LinearRing,
    tabs: Sequence[float] = TABS,
    *,
    lift: float = LIFT,
    clockwise: bool = True,
    low: float = THROUGH,
) -> str:
    """Once along a line, up for a tab from these places on, mm from its start."""
    places: list[tuple[float, float, float]] = []
    for a, b in pairwise(sorted({0.0, line.length, *tabs, *(at + lift for at in tabs)})):
        z = LIFTED if a in tabs else low
        places += [(x, y, z) for x, y in substring(line, a, b).coords]
    (x, y, _), *_ = places = places[::-1] if clockwise else places
    words = [f"G1 X{x:.4f} Y{y:.4f} Z{z:.4f} F120." for x, y, z in places]
    return "\n".join([f"G0 X{x:.4f} Y{y:.4f}", *words, "G0 Z2.", ""])


def board(outline: shapely.Polygon) -> Board:
    return Board("lamp", outline, (CopperPiece("c1", shapely.box(18.0, 17.0, 60.0, 19.0)),), ())


def checked(
    job: JobPlan, blank: Blank, placement: Placement, joins: Sequence[Join], run: Run
) -> tuple[list[Finding], list[Point]]:
    cuts = steps_of([(run.trace, run.program.cutter, run.mill_pass)])
    digit = job.machine.dialect.digit
    return check_cut_free(job.profile, digit, blank, [placement], joins, cuts)


def said(
    job: JobPlan,
    words: str,
    outline: shapely.Polygon = BOX,
    joins: Sequence[Join] = (),
    blank: Blank = BLANK,
) -> tuple[list[tuple[str, str]], list[Point]]:
    placement = Placement(0, board(outline), 1, 1, Pose())
    run = run_of(words, job.profile.cutter, "profile")
    findings, tabs = checked(job, blank, placement, joins, run)
    assert {(f.severity, f.blank, f.board) for f in findings} <= {("stop", 1, "lamp")}
    return [(f.code, f.message.split(". ")[0]) for f in findings], tabs


def test_an_edge_cut_as_the_job_says_is_no_fault_and_its_tabs_are_known(job: JobPlan) -> None:
    line = axis(BOX)
    findings, tabs = said(job, milled(line))
    assert findings == []
    assert len(tabs) == len(TABS)
    for at in TABS:
        middle = line.interpolate(at + LIFT / 2)
        assert min(middle.distance(shapely.Point(tab)) for tab in tabs) < 0.2
    other = replace(job, profile=replace(job.profile, direction="conventional"))
    assert said(other, milled(line, clockwise=False))[0] == []


def test_an_edge_cut_the_wrong_way_round_is_refused(job: JobPlan) -> None:
    assert said(job, milled(axis(BOX), clockwise=False))[0] == [
        ("profile-direction", "The edge is cut the wrong way round, the job says climb")
    ]


def test_an_edge_that_nothing_cuts_is_refused(job: JobPlan) -> None:
    short = milled(axis(WINDOW), ())
    uncut = (
        f"The edge is not cut through along {axis(BOX).length:.1f} mm, and that is no tab: there "
    )
    assert said(job, short)[0] == [("edge-not-cut", f"{uncut}the cutter goes 0.00 mm deep")]
    # another cutter's cuts are none of the profile's
    placement = Placement(0, board(BOX), 1, 1, Pose())
    run = run_of(milled(axis(BOX)), end_mill(2.0, "other"), "profile")
    (fault,), tabs = checked(job, BLANK, placement, (), run)
    assert (fault.code, tabs) == ("edge-not-cut", [])


def test_a_small_cut_out_needs_no_tab(job: JobPlan) -> None:
    """What comes loose there is no larger than three tabs and their cutters' ways."""
    small = shapely.box(40.0, 25.0, 44.0, 30.0)
    inside = milled(axis(small, -1.0), (), clockwise=False)
    assert said(job, milled(axis(BOX)) + inside, less(BOX, small))[0] == []


def test_a_depth_that_is_not_the_jobs_is_refused(job: JobPlan) -> None:
    (deep,), _ = said(job, milled(axis(BOX), low=-2.4))
    assert deep == (
        "profile-depth", "The profile goes 2.40 mm deep at the edge, the job says 1.9 mm"
    )  # fmt: skip
    (uncut,), _ = said(job, milled(axis(BOX), low=-1.5))
    assert uncut[0] == "edge-not-cut"
    assert uncut[1].startswith("The edge is not cut through along ")
    assert "there the cutter goes 1.50 mm deep" in uncut[1]


def test_a_tab_may_lie_where_the_line_begins(job: JobPlan) -> None:
    """A line of the proof begins somewhere; a tab across that place is one tab all the same."""
    disc = shapely.Point(80.0, 80.0).buffer(60.0, quad_segs=128)
    line = axis(disc)
    start = line.project(shapely.Point(disc.exterior.coords[0]))
    tabs = [(start + k * line.length / 6) % line.length - LIFT / 2 for k in range(6)]
    laminate = Blank(1, (160.0, 160.0), 1.6, 0.035)
    findings, left = said(job, milled(line, tabs), disc, blank=laminate)
    assert findings == []
    assert len(left) == 6
    assert min(shapely.Point(at).distance(line.interpolate(start)) for at in left) < 0.3


def test_a_tab_of_another_width_is_refused(job: JobPlan) -> None:
    faults, _ = said(job, milled(axis(BOX), lift=6.0))
    assert [code for code, _ in faults] == ["tab-width"] * 3
    for _, words in faults:
        width, job_says = words.removeprefix("A tab is ").split(" mm wide, ")
        assert float(width) == pytest.approx(4.0, abs=0.3)
        assert job_says == "the job says 3 mm"


def test_a_tab_round_a_corner_is_refused(job: JobPlan) -> None:
    corner = axis(BOX).project(shapely.Point(65.0, 15.0)) - LIFT / 2
    assert said(job, milled(axis(BOX), (corner, *TABS[1:])))[0] == [
        ("tab-place", "A tab lies round a corner of the edge, where it breaks off with the edge")
    ]


def test_too_few_tabs_are_refused_where_there_is_room_for_more(job: JobPlan) -> None:
    few = (
        "tabs-missing",
        "The edge is held by {} tabs, and there is room for 3: one every 70 mm, 3 at least",
    )
    for tabs in ((), TABS[:1], TABS[:2]):
        (fault,), _ = said(job, milled(axis(BOX), tabs))
        assert fault == (few[0], few[1].format(len(tabs)))


def test_no_tab_is_required_where_none_can_be(job: JobPlan) -> None:
    """Passes meet everywhere along this edge, and a tab keeps off such places."""
    line = axis(BOX)
    places = [line.interpolate(k * 4.0) for k in range(42)]
    joins = [Join(1, 0, None, (at.x, at.y), (1, 2), 0.4, (0.0, 1.0)) for at in places]
    assert said(job, milled(line, ()), joins=joins)[0] == []
    # those on copper do not matter
    on_copper = [replace(join, piece="c1") for join in joins]
    assert said(job, milled(line, ()), joins=on_copper)[0][0][0] == "tabs-missing"


def test_tabs_next_to_each_other_are_refused(job: JobPlan) -> None:
    assert said(job, milled(axis(BOX), (60.0, 68.0, 76.0)))[0] == [
        (
            "tab-place",
            "Two tabs of the edge are 150 mm apart, at most 116 mm are right for their number",
        )
    ]


def test_a_cut_out_has_tabs_of_its_own(job: JobPlan) -> None:
    """Within a board a cutter climbs counter-clockwise, and two tabs are enough."""
    board = less(BOX, WINDOW)
    inside = axis(WINDOW, -1.0)
    edge = milled(axis(BOX))
    assert said(job, edge + milled(inside, (4.0, 50.0), clockwise=False), board)[0] == []
    assert said(job, edge + milled(inside, (4.0, 50.0)), board)[0] == [
        ("profile-direction", "The cut-out is cut the wrong way round, the job says climb")
    ]
    (fault,), _ = said(job, edge + milled(inside, (4.0,), clockwise=False), board)
    assert fault[0] == "tabs-missing"
    assert fault[1].startswith("The cut-out is held by 1 tabs, and there is room for 2")
