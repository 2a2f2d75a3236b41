"""The rigid fit's laws, its alarm, and the hole it blames."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.random import default_rng

from millprep.at_machine.reading_fit import bad_hole, fit, suspicious
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose

SIGMA = 0.03
HOLES: list[Point] = [
    (200.0, 6.0), (280.0, 114.0), (221.0, 6.0), (212.0, 114.0), (266.0, 8.0), (247.0, 112.0),
]  # fmt: skip


def read(count: int, random: np.random.Generator, turn: float = 0.4) -> list[Point]:
    """Honest readings of the first holes, blank turned and moved."""
    pose = Pose.turn(turn).then(Pose.shift(-200.3, 1.7))
    exact = pose.points(HOLES[:count])
    return [(x, y) for x, y in (exact + random.normal(0.0, SIGMA, exact.shape)).tolist()]


@pytest.mark.law
@given(
    turn=st.floats(-180, 180),
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    count=st.integers(2, 6),
)
def test_a_rigid_move_is_found_to_the_last_digits(
    turn: float, x: float, y: float, count: int
) -> None:
    pose = Pose.turn(turn).then(Pose.shift(x, y))
    found = fit(HOLES[:count], [pose.point(hole) for hole in HOLES[:count]])
    for corner in ((0.0, 0.0), (520.0, 0.0), (520.0, 120.0)):
        assert found.pose.point(corner) == pytest.approx(pose.point(corner), abs=1e-9)
    assert not suspicious(found, SIGMA)


@given(turn=st.floats(-180, 180), seed=st.integers(0, 10**6))
def test_a_fit_never_mirrors(turn: float, seed: int) -> None:
    mirrored = Pose(e=-1.0).then(Pose.turn(turn))
    found = fit(HOLES[:4], [mirrored.point(hole) for hole in HOLES[:4]])
    assert not found.pose.mirrored
    assert suspicious(found, SIGMA)


def test_no_other_pose_fits_better() -> None:
    readings = read(4, default_rng(1))
    best = fit(HOLES[:4], readings)
    least = float((best.residuals**2).sum())
    random = default_rng(2)
    for size in (1e-2, 1e-3, 1e-4):
        for _ in range(50):
            turn, x, y = random.normal(0.0, size, 3).tolist()
            other = best.pose.then(Pose.turn(turn / 100)).then(Pose.shift(x, y))
            assert float(((np.array(readings) - other.points(HOLES[:4])) ** 2).sum()) > least


@pytest.mark.parametrize("count", [2, 3, 4, 6])
def test_one_honest_set_of_readings_in_a_hundred_raises_the_alarm(count: int) -> None:
    random = default_rng(count)
    draws = 4000
    alarms = sum(suspicious(fit(HOLES[:count], read(count, random)), SIGMA) for _ in range(draws))
    # sqrt(0.01 · 0.99 / 4000) = 0.0016, four of them
    assert alarms / draws == pytest.approx(0.01, abs=0.0064)


@pytest.mark.parametrize("count", [4, 5, 6])
def test_the_hole_that_is_off_is_named(count: int) -> None:
    """Ten standard deviations off, in any direction: all but the unluckiest are named."""
    random = default_rng(30 + count)
    named, alarms, tries = 0, 0, 300
    for n in range(tries):
        readings, wrong = read(count, random), n % count
        angle = random.uniform(0.0, 2 * math.pi)
        x, y = readings[wrong]
        readings[wrong] = (x + 0.3 * math.cos(angle), y + 0.3 * math.sin(angle))
        alarms += suspicious(fit(HOLES[:count], readings), SIGMA)
        named += bad_hole(HOLES[:count], readings, SIGMA) == wrong
    assert alarms >= 0.95 * tries
    assert named >= 0.9 * tries


def test_three_holes_name_none_and_two_bad_ones_are_not_blamed_on_one() -> None:
    readings = read(3, default_rng(7))
    readings[1] = (readings[1][0] + 1.0, readings[1][1])
    assert suspicious(fit(HOLES[:3], readings), SIGMA)
    assert bad_hole(HOLES[:3], readings, SIGMA) is None
    readings = read(5, default_rng(7))
    readings[1] = (readings[1][0] + 1.0, readings[1][1])
    readings[3] = (readings[3][0], readings[3][1] + 1.0)
    assert bad_hole(HOLES[:5], readings, SIGMA) is None


def test_the_scale_is_shown() -> None:
    found = fit(HOLES[:4], [(1.001 * x, 1.001 * y) for x, y in HOLES[:4]])
    assert found.scale == pytest.approx(1.001, abs=1e-12)


@pytest.mark.parametrize(
    ("holes", "readings", "words"),
    [
        ([(0.0, 0.0)], [(1.0, 1.0)], "two or more"),
        ([(0.0, 0.0), (1.0, 0.0)], [(1.0, 1.0)], "two or more"),
        ([(2.0, 3.0), (2.0, 3.0)], [(0.0, 0.0), (1.0, 0.0)], "in one place"),
    ],
)
def test_what_cannot_be_fitted_is_refused(
    holes: list[Point], readings: list[Point], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        fit(holes, readings)
