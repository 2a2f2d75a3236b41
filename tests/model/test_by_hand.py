"""What a person does at the machine: counted, and in minutes of the job."""

from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.model.by_hand import ByHand, by_hand, by_hand_in, cutter_changes
from millprep.model.machine_time import RunningTime, TimeFit, TimePlan
from millprep.model.program import Figures, Resumption
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


def test_the_first_cutter_of_a_pass_is_a_change_and_the_same_one_again_is_none() -> None:
    first, second, third = invented(1).passes[0].programs
    assert cutter_changes(()) == 0
    assert cutter_changes((first, second, third)) == 3
    assert cutter_changes((first, first, second, second, first)) == 3


def test_two_passes_with_measured_holes() -> None:
    whole = replace(invented(4), locating="measure", flatness=0.05)
    first, second = (by_hand_in(whole, each) for each in whole.passes)
    # three programs of three cutters, and how flat the blank lies; later three holes as well
    assert first == ByHand(3, 1, 1, 3 * 3 + 5 + 1, assumed=True)
    assert second == ByHand(3, 1, 4, 3 * 3 + 5 + 4, assumed=True)
    assert by_hand(whole) == ByHand(6, 2, 5, 33, assumed=True)


def test_pins_need_no_reading_of_holes() -> None:
    whole = replace(invented(4), locating="pins")
    assert by_hand(whole).readings == 0


def test_minutes_of_the_job_count() -> None:
    time = TimePlan(change=2.0, placing=10.0, reading=0.5)
    whole = invented(4)
    whole = replace(whole, locating="measure", machine=replace(whole.machine, time=time))
    assert by_hand(whole) == ByHand(6, 2, 3, 6 * 2 + 2 * 10 + 3 * 0.5, assumed=False)
    half = replace(whole, machine=replace(whole.machine, time=replace(time, placing=None)))
    assert by_hand(half) == ByHand(6, 2, 3, 6 * 2 + 2 * 5 + 3 * 0.5, assumed=True)


def test_the_spoilboard_costs_changes_alone() -> None:
    whole = invented(1)
    pins = replace(whole.programs[1], mill_pass=0)
    plain, pinned = by_hand(whole), by_hand(with_blank(whole, spoilboard=(pins,)))
    assert pinned.changes == plain.changes + 1
    assert (pinned.placings, pinned.readings) == (plain.placings, plain.readings)


def test_a_resumed_blank_lies_there_already() -> None:
    whole = replace(invented(1), flatness=0.05)
    part = Resumption("a.ngc", "b.ngc", "--after 1", 1, 2, (0.0, 0.0, -0.1), None, 1)
    assert by_hand(replace(whole, resumed=(part,))) == ByHand(3, 0, 0, 9, assumed=True)


def test_a_blank_that_is_read_lies_there_already() -> None:
    whole = replace(invented(4), locating="measure")
    second = replace(whole.passes[1], read=("holes",))
    assert by_hand_in(whole, second) == ByHand(3, 0, 0, 9, assumed=True)


def test_running_time_is_known_once_all_is_written() -> None:
    programs = invented(1).programs
    costs = [Figures(70.0, 60.0, 1.0, 1.0, 40.0), Figures(80.0, 66.0, 1.0, 1.0, 50.0)]
    written = [replace(p, figures=cost) for p, cost in zip(programs, costs, strict=False)]
    running = RunningTime.of(written)
    assert running == RunningTime(150.0, 126.0, 90.0)
    assert running is not None
    assert running.ratio == pytest.approx(1.4)
    assert RunningTime.of([]) is None
    assert RunningTime.of([*written, replace(programs[2], figures=None)]) is None
    assert RunningTime(2.0, 2.0, 0.0).ratio is None


def test_a_fit_is_the_median_of_what_runs_took() -> None:
    assert TimeFit.of([]) is None
    assert TimeFit.of([(10.0, 11.0)]) == TimeFit(1.1, 1, 0.0)
    # 1.0, 1.2 and 2.0 times the estimate: the second, and the last is 2/3 off
    fit = TimeFit.of([(10.0, 10.0), (5.0, 6.0), (1.0, 2.0)])
    assert fit is not None
    assert fit.factor == pytest.approx(1.2)
    assert fit.runs == 3
    assert fit.spread == pytest.approx(2 / 1.2 - 1)


@pytest.mark.parametrize("bad", [(0.0, 1, 0.0), (1.0, 0, 0.0), (1.0, 1, -0.1)])
def test_a_fit_without_runs_is_none(bad: tuple[float, int, float]) -> None:
    with pytest.raises(ValueError, match="runs"):
        TimeFit(*bad)
