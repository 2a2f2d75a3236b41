"""Laps of split pieces and clearings, handed to the passes that cut them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as File

import pytest
import shapely

from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Box
from millprep.model.board import Hole
from millprep.model.cut import Clearing, Cut, Lap
from millprep.passes.blank_cuts import cuts
from millprep.passes.cuts_by_pass import share_clearings, share_laps
from millprep.passes.joins import JoinPlan
from millprep.passes.lap_splitting import PlannedJoin, SplitLap
from millprep.passes.shift import ShiftPlan
from tests.helpers import small_job
from tests.helpers.workshop import BLANK, placed

# two windows that share x from 80 to 110
TWO = ShiftPlan(
    0, 80.0, (Pose(), Pose.shift(-80.0, 0.0)), (Box(0, 0, 110, 60), Box(80, 0, 190, 60))
)
OVERRUN, REACH = 0.4, 0.5


def lap(points: list[Point], number: int = 0) -> Lap:
    return Lap(Path.lines(points), 0, "c1", number, "vee", 0.1)


def split(path: Path, first: int, *joins: tuple[float, int]) -> SplitLap:
    """A lap that changes over to other passes so far along it."""
    planned, now = [], first
    for distance, after in joins:
        planned.append(PlannedJoin(distance, path.point_at(distance), now, after, (0.0, 1.0)))
        now = after
    return SplitLap(path, first, tuple(planned))


def spans(cuts: tuple[Cut, ...]) -> list[tuple[float, float]]:
    """From where to where each cut reaches in x."""
    paths = [cut.path for cut in cuts if isinstance(cut, Lap | Clearing)]
    return [(path.xy[:, 0].min(), path.xy[:, 0].max()) for path in paths]


def test_an_open_lap_overruns_at_its_join_and_not_at_its_ends() -> None:
    whole = lap([(10.0, 20.0), (180.0, 20.0)])
    plan = JoinPlan({}, {(0, "c1"): (split(whole.path, 0, (85.0, 1)),)})
    shared = share_laps([whole], plan, TWO, OVERRUN, REACH, 3)
    assert spans(shared.by_pass[0]) == [pytest.approx((10.0, 95.0 + OVERRUN))]
    assert spans(shared.by_pass[1]) == [pytest.approx((95.0 - OVERRUN, 180.0))]
    (join,) = shared.joins
    assert (join.blank, join.passes) == (3, (1, 2))
    assert join.at == pytest.approx((95.0, 20.0))


def test_a_join_beside_a_lap_that_stays_in_one_pass_does_not_split_it() -> None:
    """A short lap between changes over next to an outer one, whose copper pass 1 cuts."""
    outer = lap([(10.0, 20.4), (100.0, 20.4)], number=1)
    first = split(Path.lines([(10.0, 20.1), (100.0, 20.1)]), 0)
    short = split(Path.lines([(80.0, 20.0), (90.0, 20.0)]), 0, (5.0, 1))
    shared = share_laps([outer], JoinPlan({}, {(0, "c1"): (first, short)}), TWO, 0.4, 0.5, 1)
    assert shared.by_pass == ((outer,), ())
    assert shared.joins == ()


def test_a_closed_lap_may_begin_within_a_stretch() -> None:
    """Of three joins next to an outer lap the first divides nothing."""
    ring = [(10.0, 10.0), (180.0, 10.0), (180.0, 50.0), (10.0, 50.0), (10.0, 10.0)]
    outer = lap([(x + (x - 95) / 850, y + (y - 30) / 200) for x, y in ring], number=1)
    first = split(Path.lines(ring), 0, (85.0, 1), (295.0, 0))
    short = split(Path.lines([(40.0, 10.05), (60.0, 10.05)]), 0, (10.0, 1))
    shared = share_laps([outer], JoinPlan({}, {(0, "c1"): (first, short)}), TWO, 0.4, 0.5, 1)
    assert spans(shared.by_pass[0]) == [pytest.approx((9.9, 95.4), abs=0.05)]
    assert spans(shared.by_pass[1]) == [pytest.approx((94.6, 180.1), abs=0.05)]


def clearing(points: list[Point], placement: int = 0) -> Clearing:
    return Clearing(Path.lines(points), placement, "mill", 0.1)


def test_an_open_clearing_overruns_where_a_later_window_begins() -> None:
    by_pass = share_clearings([clearing([(10.0, 20.0), (180.0, 20.0)])], TWO, OVERRUN)
    ((start, middle),), ((again, end),) = map(spans, by_pass)
    assert (start, end) == pytest.approx((10.0, 180.0))
    assert middle - again == pytest.approx(2 * OVERRUN)
    assert 80.0 < again < middle < 110.0


def test_a_closed_clearing_overruns_on_both_sides() -> None:
    ring = [(10.0, 10.0), (180.0, 10.0), (180.0, 50.0), (10.0, 50.0), (10.0, 10.0)]
    by_pass = share_clearings([clearing(ring)], TWO, OVERRUN)
    ((start, middle),), ((again, end),) = map(spans, by_pass)
    assert (start, end) == pytest.approx((10.0, 180.0))
    assert middle - again == pytest.approx(2 * OVERRUN)


def test_a_clearing_stays_whole_with_its_board_or_in_a_window_that_holds_it() -> None:
    low, high = clearing([(10.0, 20.0), (60.0, 20.0)]), clearing([(120.0, 20.0), (180.0, 20.0)])
    both = clearing([(85.0, 20.0), (105.0, 20.0)], placement=1)
    assert share_clearings([low, high, both], TWO, OVERRUN, {1: 1}) == ((low,), (high, both))


def test_a_clearing_that_one_region_owns_is_not_split() -> None:
    """It reaches beyond every window by less than what would be split."""
    tall = clearing([(20.0, -1.0), (20.0, 61.0)])
    assert share_clearings([tall], TWO, OVERRUN) == ((tall,), ())


def test_where_a_hole_leaves_no_copper_there_are_holes_and_profiles_but_no_laps(
    tmp_path: File,
) -> None:
    job, edge = load(small_job.put(tmp_path)), shapely.box(5.0, 5.0, 45.0, 35.0)
    for diameter, code in ((1.2, "copper-drilled-away"), (0.5, None)):
        hole = Hole("h1", (25.0, 20.0), diameter, "c1")
        copy = placed(edge, [hole])
        copy = replace(copy, board=replace(copy.board, name=job.boards[0].name))
        made, findings = cuts(job, BLANK, (copy,))
        stops = [finding.code for finding in findings if finding.severity == "stop"]
        assert code is None or stops[0] == code
        assert bool(made.laps) == (code is None)
        assert len(made.profiles) == 1
