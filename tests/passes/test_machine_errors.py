"""The machine's errors at joins: what cancels, what does not, against a machine simulated."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from millprep.at_machine.reading_fit import fit
from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.machine import Machine
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.error_budget import QUANTILE, ErrorBudget, HoleErrors, MachineErrors
from tests.helpers.workshop import MACHINE

PLACES: list[Point] = [(240.0, 12.0), (231.3, 60.0), (262.1, 97.0)]
UP: Point = (0.0, 1.0)
ALONG: Point = (1.0, 0.0)


def holes(poses: list[Pose]) -> list[RegistrationHole]:
    """Two holes between pass 1 and pass 2."""
    return [
        RegistrationHole(f"r{n}", at, poses[1].point(at), 3.0, "locate", 1, 2)
        for n, at in enumerate([(213.0, 6.0), (277.0, 114.0)], 1)
    ]


def shifted(by: float) -> list[Pose]:
    return [Pose.shift(20.0, 10.0), Pose.shift(20.0 - by, 10.0)]


def turned() -> list[Pose]:
    """The second pass sees the blank turned by half a turn."""
    return [Pose.shift(20.0, 10.0), Pose.turn(180).then(Pose.shift(520.0, 130.0))]


def erring(stated: dict[str, Any]) -> Machine:
    return replace(MACHINE, **stated)


def machine_errors(poses: list[Pose], **stated: float) -> MachineErrors:
    return MachineErrors.of(erring(stated), poses, holes(poses), keys=False)


def played(poses: list[Pose], machine: Machine, phase: Point, at: Point) -> FloatArray:
    """The mismatch at a place on a machine that errs so, played through step by step."""

    def goes(xy: Point) -> Point:
        x, y = xy
        s = 1 + (machine.scale_error or 0.0) / 1000
        lean = math.tan(math.radians(machine.squareness or 0.0))
        a, lead = machine.periodic_error or 0.0, machine.screw_lead or 1.0
        wave = [a * math.cos(2 * math.pi * v / lead + p) for v, p in zip(xy, phase, strict=True)]
        return (s * x - lean * y + wave[0], s * y + wave[1])

    mine = holes(poses)
    # where the holes really are on the blank as it lies in pass 1, and where the pins are
    drilled = [poses[0].inverse().point(goes(poses[0].point(h.blank))) for h in mine]
    pins = [goes(poses[1].point(h.blank)) for h in mine]
    lies = fit(drilled, pins).pose
    first = poses[0].inverse().point(goes(poses[0].point(at)))
    second = lies.inverse().point(goes(poses[1].point(at)))
    return np.subtract(second, first, dtype=float)


@pytest.mark.parametrize("stated", [{"scale_error": 0.5}, {"squareness": 0.05}])
def test_scale_and_squareness_cancel_at_the_joins_of_a_shift(stated: dict[str, float]) -> None:
    for at in PLACES:
        for across in (UP, ALONG):
            assert machine_errors(shifted(200.0), **stated).across(0, 1, at, across) < 1e-12


def test_a_periodic_error_cancels_when_the_shift_is_whole_turns_of_the_screw() -> None:
    wave = {"periodic_error": 0.02, "screw_lead": 8.0}
    for at in PLACES:
        assert machine_errors(shifted(200.0), **wave).across(0, 1, at, ALONG) < 1e-12
    # half a turn more is the worst, 4 amplitudes at most
    worst = max(machine_errors(shifted(196.0), **wave).across(0, 1, at, ALONG) for at in PLACES)
    assert 0.04 < worst <= 0.08


@pytest.mark.parametrize("poses", [shifted(196.0), shifted(198.5), turned()])
def test_it_agrees_with_a_machine_played_through(poses: list[Pose]) -> None:
    """The worst of many phases of the screws is what is said, to second order."""
    machine = replace(MACHINE, periodic_error=0.02, screw_lead=8.0)
    made = MachineErrors.of(machine, poses, holes(poses), keys=False)
    phases = np.linspace(0.0, 2 * math.pi, 48, endpoint=False).tolist()
    for at in PLACES:
        for across in (UP, ALONG, (0.6, 0.8)):
            met = [abs(float(played(poses, machine, (p, q), at) @ np.array(across)))
                   for p in phases for q in phases[::4]]  # fmt: skip
            said = made.across(0, 1, at, across)
            assert max(met) <= said + 1e-5
            # sixteen phases of one screw and four of the other miss the worst by a little
            assert max(met) >= 0.9 * said - 1e-6


@pytest.mark.parametrize("stated", [{"scale_error": 0.5}, {"squareness": 0.05}])
def test_scale_and_squareness_played_through(stated: dict[str, float]) -> None:
    machine = erring(stated)
    for poses in (shifted(197.3), turned()):
        made = MachineErrors.of(machine, poses, holes(poses), keys=False)
        for at in PLACES:
            met = abs(float(played(poses, machine, (0.0, 0.0), at)[1]))
            assert met == pytest.approx(made.across(0, 1, at, UP), abs=2e-5)


def test_backlash_counts_where_an_axis_rests_or_turns_back_and_nowhere_else() -> None:
    made = machine_errors(shifted(200.0), backlash=0.04)
    slant = (-math.sqrt(0.5), math.sqrt(0.5))
    # along x the y axis stands where it was left
    assert made.across(0, 1, PLACES[0], UP) == pytest.approx(0.04)
    # both axes move, and the same way in both passes
    assert made.across(0, 1, PLACES[0], slant) == 0.0
    # a turned blank runs through the same path the other way
    back = machine_errors(turned(), backlash=0.04)
    assert back.across(0, 1, PLACES[0], slant) == 0.0, "both halves of the play turn as well"


def test_what_is_not_stated_adds_nothing() -> None:
    made = machine_errors(shifted(196.0), periodic_error=0.02)
    assert made.fields == (), "a periodic error without a lead cannot be placed"
    assert made.across(0, 1, PLACES[0], UP) == 0.0


def test_random_and_steady_errors_together() -> None:
    poses = shifted(196.0)
    hole_errors = HoleErrors.of(holes(poses), 2, keys=False)
    none, wave = machine_errors(poses), machine_errors(poses, periodic_error=0.02, screw_lead=8.0)
    at, across = PLACES[1], (0.6, 0.8)
    sigma, steady = hole_errors.sigma_across(0, 1, at, across, 0.03), wave.across(0, 1, at, across)
    assert steady > 0.01
    for by, extra in ((ErrorBudget(hole_errors, None, 0.03), 0.0),
                      (ErrorBudget(hole_errors, none, 0.03), 0.0),
                      (ErrorBudget(hole_errors, wave, 0.03), steady)):  # fmt: skip
        expected = (math.hypot(sigma, extra), QUANTILE * sigma + extra)
        assert by.misalignment(0, 1, at, across) == pytest.approx(expected)
        assert by.most(0, 1, at, across) == by.misalignment(0, 1, at, across).most
