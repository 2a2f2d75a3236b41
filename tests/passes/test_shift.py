"""The shift plan: the fewest passes, whole turns of the screw, or a refusal that helps."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.blank import Box
from millprep.model.finding import Refusal
from millprep.passes.lying import check_screw_turns
from millprep.passes.shift import MOST, ShiftPlan, least_travel, plan
from tests.helpers.chance import examples
from tests.helpers.workshop import MACHINE

LEAST = 30.0


def planned(
    length: float, travel: float, lead: float | None, *, along: int = 0, least: float = LEAST
) -> ShiftPlan:
    """A strip 60 mm wide, from 3 mm before the blank's corner, on a machine 100 mm wide."""
    size = (travel, 100.0) if along == 0 else (100.0, travel)
    machine = replace(MACHINE, travel_size=size, screw_lead=lead)
    low = 3.0
    need = Box(-low, 5.0, length - low, 65.0) if along == 0 else Box(5.0, -low, 65.0, length - low)
    origin = (low, 0.0) if along == 0 else (0.0, low)
    return plan(need, machine, origin, least, 1)


@pytest.mark.parametrize("along", [0, 1])
def test_480_on_290(along: int) -> None:
    """480 mm and 3 mm run-out at both ends: D within 196 to 260, of which 200 is 25 × 8 mm."""
    made = planned(486.0, 290.0, 8.0, along=along)
    assert made.axis == along
    assert len(made.poses) == 2
    assert made.shift == 200.0
    overlap = made.shared(0, 1)
    assert overlap is not None
    span = (overlap.x1 - overlap.x0, overlap.y1 - overlap.y0)
    assert span[along] == pytest.approx(90.0)


def test_700_on_210() -> None:
    """Four passes, D within 165.3 to 180."""
    made = planned(706.0, 210.0, 8.0)
    assert len(made.poses) == 4
    assert 165.3 <= made.shift <= 180.0
    assert made.shift % 8 == 0
    made = planned(706.0, 210.0, None)
    assert (len(made.poses), made.shift) == (4, 166.0)


def test_what_fits_is_cut_in_one_pass() -> None:
    made = planned(290.0, 290.0, 8.0)
    assert (len(made.poses), made.shift) == (1, 0.0)
    assert len(planned(290.01, 290.0, 8.0).poses) == 2


def test_a_lead_without_a_fitting_multiple_gives_way() -> None:
    made = planned(550.0, 290.0, 100.0)
    assert made.shift == 260.0
    assert planned(549.6, 290.0, 100.0).shift == 260.0


@pytest.mark.law
@examples(60)
@given(
    st.integers(50, 900),
    st.integers(60, 300),
    st.sampled_from([None, 2.0, 5.0, 8.0]),
    st.sampled_from([0, 1]),
)
def test_the_windows_reach_everything_and_share_enough(
    length: int, travel: int, lead: float | None, along: int
) -> None:
    if travel < least_travel(float(length), LEAST):
        with pytest.raises(Refusal):
            planned(float(length), float(travel), lead, along=along)
        return
    made = planned(float(length), float(travel), lead, along=along)
    count = len(made.poses)
    first, last = made.windows[0], made.windows[-1]
    assert (first.x0, first.y0)[along] == -3.0
    assert (last.x1, last.y1)[along] >= length - 3.0 - 1e-9
    ends = [((w.x0, w.y0)[along], (w.x1, w.y1)[along]) for w in made.windows]
    for (low, high), (next_low, _) in itertools.pairwise(ends):
        assert high - next_low >= LEAST - 1e-9
        assert next_low - low == pytest.approx(made.shift)
    # fewer passes would not reach
    if count > 1:
        assert travel + (count - 2) * (travel - LEAST) < length
    for pose, window in zip(made.poses, made.windows, strict=True):
        assert pose.point((window.x0, window.y0)) == pytest.approx((0.0, 0.0))


def refused(*, origin: tuple[float, float], need: Box, least: float = LEAST) -> list[str]:
    machine = replace(MACHINE, travel_size=(290.0, 180.0))
    with pytest.raises(Refusal) as refusal:
        plan(need, machine, origin, least, 1)
    return [f.code for f in refusal.value.findings]


def test_refusals() -> None:
    assert refused(origin=(0.0, 0.0), need=Box(-1.0, 0.0, 100.0, 90.0)) == ["outside-travel"]
    assert refused(origin=(0.0, 0.0), need=Box(-1.0, -2.0, 100.0, 90.0)) == ["outside-travel"] * 2
    long = Box(0.0, 0.0, 400.0, 90.0)
    assert refused(origin=(0.0, 0.0), need=long, least=290.0) == ["travel-too-short"]


def test_a_refusal_names_an_origin_that_would_do() -> None:
    machine = replace(MACHINE, travel_size=(290.0, 180.0))
    need = Box(-1.25, 0.0, 100.0, 90.0)
    with pytest.raises(Refusal, match=r"\[setup\] origin\[0\] at least 1\.250"):
        plan(need, machine, (0.0, 0.0), LEAST, 1)
    assert len(plan(need, machine, (1.25, 0.0), LEAST, 1).poses) == 1


def test_windows_keep_the_margin_to_the_ends_of_the_travel() -> None:
    """2 mm less at each end: the passes are those of a travel 4 mm shorter, 2 mm farther in."""
    machine = replace(MACHINE, travel_size=(294.0, 104.0), travel_margin=2.0, screw_lead=8.0)
    need, origin = Box(-3.0, 5.0, 483.0, 65.0), (5.0, 0.0)
    made = plan(need, machine, origin, LEAST, 1)
    assert (len(made.poses), made.shift) == (2, 200.0)
    for pose, window in zip(made.poses, made.windows, strict=True):
        assert pose.point((window.x0, window.y0)) == pytest.approx((2.0, 2.0))
        assert pose.point((window.x1, window.y1)) == pytest.approx((292.0, 102.0))
    with pytest.raises(Refusal, match=r"less travel_margin of 2 mm .* origin\[0\] at least 5\.000"):
        plan(need, machine, (4.0, 0.0), LEAST, 1)
    with pytest.raises(Refusal) as refusal:
        plan(Box(0.0, 5.0, 400.0, 65.0), replace(machine, travel_size=(34.0, 104.0)), origin, 30, 1)
    (finding,) = refusal.value.findings
    enough = float(finding.message.split("at least ")[1].split()[0])
    enough_is = replace(machine, travel_size=(enough, 104.0))
    assert len(plan(Box(0.0, 5.0, 400.0, 65.0), enough_is, (2.0, 0.0), 30, 1).poses) == MOST


@pytest.mark.parametrize("length", [400.0, 733.3, 1200.0])
@pytest.mark.parametrize("along", [0, 1])
def test_a_refusal_names_the_least_travel_that_would_do(length: float, along: int) -> None:
    """With it the plan is made, with a tenth less it is not."""
    with pytest.raises(Refusal) as refusal:
        planned(length, LEAST, None, along=along)
    (finding,) = refusal.value.findings
    found = re.search(r"Use a travel of at least (\d+\.\d) mm", finding.message)
    assert found
    enough = float(found[1])
    assert len(planned(length, enough, None, along=along).poses) == MOST
    with pytest.raises(Refusal):
        planned(length, enough - 0.1, None, along=along)


def grid(need: Box, lead: float | None = 8.0) -> ShiftPlan:
    machine = replace(MACHINE, travel_size=(290.0, 180.0), screw_lead=lead)
    return plan(need, machine, (0.0, 0.0), LEAST, 1)


def test_what_is_too_long_both_ways_is_cut_in_a_grid() -> None:
    made = grid(Box(5.0, 5.0, 500.0, 300.0))
    assert made.cells == ((0, 0), (1, 0), (1, 1), (0, 1))
    assert made.pairs == ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))
    for pose, window in zip(made.poses, made.windows, strict=True):
        assert pose.point((window.x0, window.y0)) == pytest.approx((0.0, 0.0))
    # a pass is cut short only where another takes over
    inner = made.inner(1, 3.0)
    window = made.windows[1]
    assert (inner.x0, inner.y1) == (window.x0 + 3.0, window.y1 - 3.0)
    assert (inner.x1, inner.y0) == (window.x1, window.y0)


@pytest.mark.law
@examples(40)
@given(st.integers(100, 900), st.integers(100, 700), st.sampled_from([None, 5.0, 8.0]))
def test_windows_of_a_grid_cover_the_blank_and_every_move_is_one_shift(
    x: int, y: int, lead: float | None
) -> None:
    made = grid(Box(0.0, 0.0, float(x), float(y)), lead)
    windows = shapely.union_all([made.polygon(k) for k in range(len(made.poses))])
    assert windows.covers(shapely.box(0.0, 0.0, x, y))
    for k in range(len(made.poses) - 1):
        step = made.step(k, k + 1)
        assert abs(step[0]) + abs(step[1]) == 1
        shared = made.shared(k, k + 1)
        assert shared is not None
        across = 0 if step[0] else 1
        assert (shared.x1 - shared.x0, shared.y1 - shared.y0)[across] >= LEAST - 1e-9
    # each place is at home in a pass that reaches it
    for at in [(0.0, 0.0), (float(x), float(y)), (x / 2, y / 3), (x / 3, float(y))]:
        k = [made.cell(n) for n in range(len(made.poses))].index(made.home(at))
        assert made.windows[k].contains(*at)


def test_a_shift_of_no_whole_turns_is_reported_with_what_it_costs() -> None:
    machine = replace(MACHINE, screw_lead=100.0)
    (finding,) = check_screw_turns(planned(550.0, 290.0, 100.0), machine, 1)
    assert (finding.code, finding.severity) == ("shift-not-whole-turns", "warn")
    # 2.6 turns of 100 mm: 2·|sin(2.6·π)| = 1.902
    assert "2.600 turns" in finding.message
    words = "1.90 times its amplitude, 0.019 mm with an assumed amplitude of 0.01 mm"
    assert words in finding.message
    stated = replace(machine, periodic_error=0.02)
    (finding,) = check_screw_turns(planned(550.0, 290.0, 100.0), stated, 1)
    assert "0.038 mm with the stated 0.02 mm" in finding.message
    assert check_screw_turns(planned(486.0, 290.0, 8.0), replace(MACHINE, screw_lead=8.0), 1) == ()
    assert check_screw_turns(planned(486.0, 290.0, None), MACHINE, 1) == ()


def test_the_least_shift_that_does_least_harm_serves() -> None:
    machine = replace(MACHINE, travel_size=(290.0, 100.0), screw_lead=8.0)
    need = Box(-3.0, 5.0, 483.0, 65.0)
    required: list[float] = []

    def join_costs(made: ShiftPlan) -> int:
        required.append(made.shift)
        return {200.0: 2, 208.0: 1, 216.0: 1}.get(made.shift, 3)

    assert plan(need, machine, (3.0, 0.0), LEAST, 1, cost=join_costs).shift == 208.0
    # the longest leaves the overlap that is asked
    assert required == [200.0, 208.0, 216.0, 224.0, 232.0, 240.0, 248.0, 256.0]
    required.clear()
    assert plan(need, machine, (3.0, 0.0), LEAST, 1, cost=lambda _: 0).shift == 200.0


def test_a_grid_is_shifted_farther_along_either_axis() -> None:
    machine = replace(MACHINE, travel_size=(155.0, 120.0), screw_lead=8.0)
    need = Box(5.0, 5.0, 230.0, 170.0)
    least = plan(need, machine, (0.0, 0.0), 24.0, 1)

    def step(made: ShiftPlan) -> tuple[float, float]:
        return (max(w.x0 for w in made.windows), max(w.y0 for w in made.windows))

    dx, dy = step(least)
    for wished in ((dx + 8, dy), (dx, dy + 8), (dx + 8, dy + 8)):

        def join_costs(made: ShiftPlan, wished: tuple[float, float] = wished) -> int:
            return int(step(made) != wished)

        assert step(plan(need, machine, (0.0, 0.0), 24.0, 1, cost=join_costs)) == wished
