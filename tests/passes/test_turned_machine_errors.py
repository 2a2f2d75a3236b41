"""A job whose blank is turned, on a machine that states its errors: what joins are told to be off.

Every join's figure is held against a machine that is played through: it drills the holes, finds
the blank by them and cuts both sides of the join, erring as it states.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from itertools import product

import numpy as np
import pytest

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join
from millprep.passes.error_budget import QUANTILE, HoleErrors
from tests.helpers.pass_grids import CASES, Walked, walk

SEED, SIZE, TRAVEL, BLANK, WORDS = CASES["turned"]
STATED = {
    "none": "",
    "scale": "scale_error = 0.5\nsquareness = 0.05",
    "wave": "periodic_error = 0.02",
    "play": "backlash = 0.04",
    "all": "scale_error = 0.5\nsquareness = 0.05\nperiodic_error = 0.01\nbacklash = 0.02",
}


@pytest.fixture(scope="module")
def on(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Walked]:
    """The job on a machine with the errors of a name; each is planned once."""

    @cache
    def planned(name: str) -> Walked:
        words = {**WORDS, "lead": f"8.0\n{STATED[name]}"}
        return walk(tmp_path_factory.mktemp("erring"), SEED, SIZE, TRAVEL, BLANK, words)

    return planned


def goes(machine: Machine, at: Point, phase: Point, side: Point = (0.0, 0.0)) -> Point:
    """Where the machine stands when told a place, an axis coming from a side (-1 to 1)."""
    x, y = at
    s = 1 + (machine.scale_error or 0.0) / 1000
    lean = math.tan(math.radians(machine.squareness or 0.0))
    a, lead = machine.periodic_error or 0.0, machine.screw_lead or 1.0
    play = (machine.backlash or 0.0) / 2
    wave = [a * math.cos(2 * math.pi * v / lead + p) for v, p in zip(at, phase, strict=True)]
    return (s * x - lean * y + wave[0] - play * side[0], s * y + wave[1] - play * side[1])


def comes_from(run: float) -> tuple[float, ...]:
    """The sides an axis may come from: at rest it stands where it was left."""
    return (-1.0, 1.0) if abs(run) < 1e-3 else (math.copysign(1.0, run),)


def on_hole_and_slot(drilled: list[Point], pins: list[Point]) -> Pose:
    """How a blank lies on two pins: the round hole fixes its place, the slot its turn."""
    (x0, y0), (x1, y1) = drilled
    (u0, v0), (u1, v1) = pins
    turn = math.degrees(math.atan2(v1 - v0, u1 - u0) - math.atan2(y1 - y0, x1 - x0))
    return Pose.shift(-x0, -y0).then(Pose.turn(turn)).then(Pose.shift(u0, v0))


def met(walked: Walked, join: Join) -> float:
    """The worst mismatch across a join over all phases of both screws and sides of play."""
    machine, poses = walked.job.machine, [p.pose for p in walked.done.passes]
    holes = [h for h in walked.done.passes[1].registration if h.role == "locate"]
    assert [hole.free is None for hole in holes] == [True, False]
    n = np.array(join.across)
    along = np.array([n[1], -n[0]])
    worst = 0.0
    waves = np.linspace(0.0, 2 * math.pi, 24, endpoint=False).tolist()
    sides: list[list[Point]] = []
    for pose in poses:
        x, y = (np.array([[pose.a, pose.b], [pose.d, pose.e]]) @ along).tolist()
        sides.append(list(product(comes_from(x), comes_from(y))))
    phases = product(waves, waves[::3]) if machine.periodic_error else [(0.0, 0.0)]
    for phase in phases:
        drilled = [poses[0].inverse().point(goes(machine, poses[0].point(h.blank), phase))
                   for h in holes]  # fmt: skip
        lies = on_hole_and_slot(
            drilled, [goes(machine, poses[1].point(h.blank), phase) for h in holes]
        )
        for one, two in product(*sides):
            first = goes(machine, poses[0].point(join.at), phase, one)
            second = goes(machine, poses[1].point(join.at), phase, two)
            off = np.subtract(lies.inverse().point(second), poses[0].inverse().point(first))
            worst = max(worst, abs(float(off @ n)))
    return worst


@pytest.mark.parametrize("name", STATED)
def test_every_join_has_the_misalignment_that_the_machine_played_through_has(
    on: Callable[[str], Walked], name: str
) -> None:
    walked = on(name)
    holes = walked.done.passes[1].registration
    hole_errors = HoleErrors.of([h for h in holes if h.role != "witness"], 2, keys=False)
    joins = [join for join in walked.done.joins if join.piece is not None]
    assert len(joins) >= 8
    for join in joins:
        assert join.predicted is not None
        sigma = hole_errors.sigma_across(0, 1, join.at, join.across, walked.job.registration.sigma)
        steady = join.predicted - QUANTILE * sigma
        worst = met(walked, join)
        # what is told is the worst of all phases to second order, and no more than a little above
        assert worst <= steady + 3e-5
        assert worst >= 0.9 * steady - 3e-5


def test_half_a_turn_takes_scale_and_squareness_out_but_not_the_wave(
    on: Callable[[str], Walked],
) -> None:
    figures = {}
    for name in ("none", "scale", "wave", "play"):
        walked = on(name)
        assert any(finding.code == "blank-turned" for finding in walked.findings)
        figures[name] = max(j.predicted or 0.0 for j in walked.done.joins if j.piece is not None)
    assert figures["scale"] == pytest.approx(figures["none"], abs=1e-6)
    # a whole number of turns cannot help: the halves run along the screw in opposite senses
    assert figures["wave"] > figures["none"] + 0.02
    # on level rails the other axis rests, so its play counts in full
    assert figures["play"] == pytest.approx(figures["none"] + 0.04, abs=1e-6)
