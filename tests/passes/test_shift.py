"""The shift plan: the fewest passes, whole turns of the screw, or a refusal that helps."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from millprep.passes.shift import ShiftPlan, plan
from millprep.values.blank import Box
from millprep.values.finding import Refusal
from tests.paths.bench import MACHINE

LEAST = 30.0


def planned(
    length: float, travel: float, lead: float | None, *, along: int = 0, least: float = LEAST
) -> ShiftPlan:
    """A strip 60 mm wide, from 3 mm before the blank's corner, on a machine 100 mm wide."""
    size = (travel, 100.0) if along == 0 else (100.0, travel)
    machine = replace(MACHINE, travel=Box(0.0, 0.0, *size), screw_lead=lead)
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
    overlap = made.overlap(0)
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
    made = planned(550.0, 290.0, 300.0)
    assert made.shift == 260.0
    assert planned(549.6, 290.0, 300.0).shift == 260.0


@settings(max_examples=60, deadline=None)
@given(
    st.integers(50, 900),
    st.integers(60, 300),
    st.sampled_from([None, 2.0, 5.0, 8.0]),
    st.sampled_from([0, 1]),
)
def test_the_windows_reach_everything_and_share_enough(
    length: int, travel: int, lead: float | None, along: int
) -> None:
    made = planned(float(length), float(travel), lead, along=along)
    count = len(made.poses)
    first, last = made.windows[0], made.windows[-1]
    assert (first.x0, first.y0)[along] == -3.0
    assert (last.x1, last.y1)[along] >= length - 3.0 - 1e-9
    for k in range(count - 1):
        assert made.high(k) - made.low(k + 1) >= LEAST - 1e-9
        assert made.low(k + 1) - made.low(k) == pytest.approx(made.shift)
    # fewer passes would not reach
    if count > 1:
        assert travel + (count - 2) * (travel - LEAST) < length
    for pose, window in zip(made.poses, made.windows, strict=True):
        assert pose.point((window.x0, window.y0)) == pytest.approx((0.0, 0.0))


def refused(*, origin: tuple[float, float], need: Box, least: float = LEAST) -> list[str]:
    machine = replace(MACHINE, travel=Box(0.0, 0.0, 290.0, 180.0))
    with pytest.raises(Refusal) as refusal:
        plan(need, machine, origin, least, 1)
    return [f.code for f in refusal.value.findings]


def test_refusals() -> None:
    assert refused(origin=(0.0, 0.0), need=Box(-1.0, 0.0, 100.0, 90.0)) == ["outside-travel"]
    assert refused(origin=(0.0, 0.0), need=Box(-1.0, -2.0, 100.0, 90.0)) == ["outside-travel"] * 2
    assert refused(origin=(5.0, 5.0), need=Box(0.0, 0.0, 400.0, 200.0)) == ["too-large-both-ways"]
    long = Box(0.0, 0.0, 400.0, 90.0)
    assert refused(origin=(0.0, 0.0), need=long, least=290.0) == ["travel-too-short"]


def test_a_refusal_names_an_origin_that_would_do() -> None:
    machine = replace(MACHINE, travel=Box(0.0, 0.0, 290.0, 180.0))
    need = Box(-1.25, 0.0, 100.0, 90.0)
    with pytest.raises(Refusal, match=r"\[setup\] origin\[0\] at least 1\.250"):
        plan(need, machine, (0.0, 0.0), LEAST, 1)
    assert len(plan(need, machine, (1.25, 0.0), LEAST, 1).poses) == 1
