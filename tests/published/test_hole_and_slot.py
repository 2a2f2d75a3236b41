"""A blank on a hole and a slot: its fit and the misalignment it leaves, against outside sources.

The fit to readings is checked against a general least-squares solver (SciPy), the misalignment
against drawn blanks that are put on by exact geometry, and its covariance against the closed form

    σ²·(f·fᵀ + n·nᵀ/2 + 2·r⊥r⊥ᵀ/B²),

derived here for r from the middle of both holes, f along and n across their line, B their distance:
the hole fixes what lies along the line, the mean of both what lies across it, and their difference
the turn.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.random import default_rng
from scipy.optimize import least_squares

from millprep.at_machine.reading_fit import fit, suspicious
from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.error_budget import QUANTILE, ErrorBudget, HoleErrors

SIGMA = 0.03
PAIRS: dict[str, tuple[Point, Point]] = {
    "diagonal": ((217.0, 4.0), (295.0, 116.0)),
    "across": ((240.0, 4.0), (240.0, 116.0)),
    "one edge": ((215.0, 4.0), (293.0, 4.0)),
}
PLACES: list[Point] = [(255.0, 60.0), (250.0, 110.0), (293.0, 20.0), (500.0, 60.0)]


def along(first: Point, second: Point) -> Point:
    base = math.dist(first, second)
    return ((second[0] - first[0]) / base, (second[1] - first[1]) / base)


def pair(name: str, drilled: int = 1, *, swapped: bool = False) -> list[RegistrationHole]:
    first, second = PAIRS[name]
    if swapped:
        first, second = second, first
    used = drilled + 1
    return [
        RegistrationHole("r1", first, first, 3.02, "locate", drilled, used),
        RegistrationHole(
            "r2", second, second, 3.02, "locate", drilled, used, along(first, second), 0.98
        ),
    ]


def put_on(holes: list[RegistrationHole], errors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn (draws,) and shift (draws, 2) of blanks whose hole and slot are off by (draws, 2, 2).

    The hole goes over its pin exactly; the turn then brings the slot's centre line over the other.
    """
    pins = np.array([hole.blank for hole in holes])
    made = pins + errors
    slot = np.array(holes[1].free)
    # seen from the hole, the pin lies at p; on the blank the slot's line is s away from the hole
    arm = made[:, 1] - made[:, 0]
    p = pins[1] - pins[0]
    line = arm[:, 0] * slot[1] - arm[:, 1] * slot[0]
    # turned by t, p × (R(t)·f) = -line: the line passes through the pin
    turn = np.arcsin(line / np.hypot(*p)) - np.arctan2(p[0] * slot[1] - p[1] * slot[0], p @ slot)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = made[:, 0].T
    return turn, pins[0] - np.column_stack((cos * x - sin * y, sin * x + cos * y))


def missed(turn: FloatArray, shift: FloatArray, at: Point) -> FloatArray:
    """(draws, 2) by how much the pass cuts a place of the blank off."""
    (x, y), cos, sin = at, np.cos(turn), np.sin(turn)
    off: FloatArray = np.column_stack((cos * x - sin * y, sin * x + cos * y)) + shift - at
    return off


@pytest.mark.parametrize("name", PAIRS)
def test_the_misalignment_agrees_with_drawn_blanks(name: str) -> None:
    holes = pair(name)
    budget = ErrorBudget(HoleErrors.of(holes, 2, keys=False), None, SIGMA)
    errors = default_rng(20261128).normal(0.0, SIGMA, (400_000, 2, 2))
    turn, shift = put_on(holes, errors)
    for at in PLACES:
        off = missed(turn, shift, at)
        for across in ((0.0, 1.0), (1.0, 0.0), (0.6, 0.8)):
            seen = np.abs(off @ np.array(across))
            expected = budget.misalignment(0, 1, at, across)
            # from 400 000 draws the rms is good to 0.11 %, the quantile to 0.3 %
            assert float(np.sqrt((seen**2).mean())) == pytest.approx(expected.rms, rel=0.01)
            assert float(np.quantile(seen, 0.997)) == pytest.approx(expected.most, rel=0.01)


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("name", PAIRS)
def test_the_covariance_is_the_closed_form(name: str, swapped: bool) -> None:
    holes = pair(name, swapped=swapped)
    errors = HoleErrors.of(holes, 2, keys=False)
    first, second = (np.array(hole.blank) for hole in holes)
    f = np.array(along(*PAIRS[name]))
    n = np.array([-f[1], f[0]])
    for at in PLACES:
        r = np.array(at) - (first + second) / 2
        turned = np.array([-r[1], r[0]])
        closed = np.outer(f, f) + np.outer(n, n) / 2
        closed += 2 * np.outer(turned, turned) / float((second - first) @ (second - first))
        assert errors.covariance(0, 1, at) == pytest.approx(closed, rel=1e-5, abs=1e-9)


def test_the_draws_can_disagree() -> None:
    """Taken for round holes that share their errors, the pair would miss by less along its line."""
    holes = pair("diagonal")
    both = [replace(hole, free=None, slot=0.0) for hole in holes]
    across = along(*PAIRS["diagonal"])
    at = (256.0, 60.0)
    slot, round_ = (
        HoleErrors.of(some, 2, keys=False).sigma_across(0, 1, at, across, SIGMA)
        for some in (holes, both)
    )
    assert slot == pytest.approx(math.sqrt(2) * round_, rel=0.01)


def test_three_passes_in_a_row_by_drawn_blanks() -> None:
    """Passes 1 and 3: what pass 2 is off, its holes for pass 3 inherit."""
    second = pair("diagonal", 1)
    third = [
        replace(
            hole, id=f"t{n}", blank=(hole.blank[0] + 203.0, hole.blank[1]), drilled_in=2, used_in=3
        )
        for n, hole in enumerate(pair("diagonal", 2))
    ]
    errors = HoleErrors.of([*second, *third], 3, keys=False)
    rng = default_rng(7)
    turn2, shift2 = put_on(second, rng.normal(0.0, SIGMA, (200_000, 2, 2)))
    # where pass 2 drills on the blank: what it misses, seen from the blank, is the other way
    inherited = np.stack([-missed(turn2, shift2, hole.blank) for hole in third], axis=1)
    turn3, shift3 = put_on(third, inherited + rng.normal(0.0, SIGMA, (200_000, 2, 2)))
    at, across = (500.0, 40.0), (0.0, 1.0)
    off = missed(turn3, shift3, at) @ np.array(across)
    expected = errors.sigma_across(0, 2, at, across, SIGMA)
    assert float(off.std()) == pytest.approx(expected, rel=0.01)
    relative = (missed(turn3, shift3, at) - missed(turn2, shift2, at)) @ np.array(across)
    expected = errors.sigma_across(1, 2, at, across, SIGMA)
    assert float(relative.std()) == pytest.approx(expected, rel=0.01)


def solved(
    holes: list[Point], read: FloatArray, free: list[Point | None]
) -> tuple[FloatArray, FloatArray]:
    """The fit by a general solver: (θ, x, y) and the residuals of every coordinate that counts."""

    def residuals(motion: FloatArray) -> FloatArray:
        turn, x, y = motion
        turned = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        rows: list[float] = []
        for hole, seen, slot in zip(np.array(holes), read, free, strict=True):
            off = seen - turned @ hole - (x, y)
            if slot is None:
                rows += off.tolist()
            else:
                u, v = turned @ slot
                rows.append(float(off @ (-v, u)))
        return np.array(rows)

    start = np.array([0.0, *(read.mean(axis=0) - np.mean(holes, axis=0))])
    made = least_squares(residuals, start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return made.x, made.fun


@pytest.mark.parametrize("seed", range(12))
def test_the_fit_of_hole_and_slot_agrees_with_a_general_solver(seed: int) -> None:
    rng = default_rng(seed)
    first, second = PAIRS["diagonal"]
    places = [first, second, (217.0, 111.0), (420.0, 100.0)][: 2 + seed % 3]
    slots: list[Point | None] = [None, along(first, second), None, (1.0, 0.0)][: len(places)]
    angle = rng.uniform(-2.0, 2.0)
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    pose = Pose(cos, -sin, -203.0, sin, cos, 14.0)
    read = pose.points(places) + rng.normal(0.0, SIGMA, (len(places), 2))
    # along a slot the reading may be anywhere
    for n, slot in enumerate(slots):
        if slot is not None:
            read[n] += rng.uniform(-0.4, 0.4) * np.array(
                [cos * slot[0] - sin * slot[1], sin * slot[0] + cos * slot[1]]
            )
    mine = fit(places, [tuple(at) for at in read.tolist()], slots)
    motion, residuals = solved(places, read, slots)
    assert math.radians(mine.turn) == pytest.approx(motion[0], abs=1e-9)
    # the solver stops where its sum of squares does, which is flat to first order
    for at in places:
        x, y = at
        there = (
            math.cos(motion[0]) * x - math.sin(motion[0]) * y + motion[1],
            math.sin(motion[0]) * x + math.cos(motion[0]) * y + motion[2],
        )
        assert mine.pose.point(at) == pytest.approx(there, abs=1e-7)
    assert float((mine.residuals**2).sum()) == pytest.approx(float(residuals @ residuals), abs=1e-9)
    assert mine.spare == len(residuals) - 3


def test_a_hole_and_a_slot_have_nothing_to_spare() -> None:
    first, second = PAIRS["diagonal"]
    slots = [None, along(first, second)]
    read = [first, (second[0] + 3.0, second[1] - 2.0)]
    made = fit([first, second], read, slots)
    assert made.spare == 0
    assert made.scale is None
    assert np.abs(made.residuals).max() < 1e-9
    assert not suspicious(made, SIGMA)
    # and the key shows what is wrong
    key = (217.0, 111.0)
    assert suspicious(fit([first, second, key], [*read, key], [*slots, None]), SIGMA)


def test_the_quantile_is_that_of_a_normal_error() -> None:
    assert math.erf(QUANTILE / math.sqrt(2)) == pytest.approx(0.997, abs=5e-5)
