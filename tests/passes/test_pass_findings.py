"""What hangs over the travel, and where it is held up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.geometry.pose import Pose
from millprep.model.blank import PROP, Blank, Box, overhangs
from millprep.passes import pass_findings
from millprep.passes.shift import plan
from tests.helpers.workshop import MACHINE

TRAVEL = Box(0.0, 0.0, 220.0, 160.0)
BLANK = Blank(1, (600.0, 120.0), 1.6, 0.035)


def test_what_lies_on_the_bed_needs_no_prop() -> None:
    small = Blank(1, (200.0, 100.0), 1.6, 0.035)
    assert overhangs(Pose.shift(5.0, 5.0), small, TRAVEL) == ()
    assert pass_findings.overhang_findings(Pose.shift(5.0, 5.0), small, TRAVEL, 1) == ()


def test_a_prop_stands_outside_the_travel_under_the_blank() -> None:
    (right,) = overhangs(Pose(), BLANK, TRAVEL)
    assert (right.side, right.by) == ("right", 380.0)
    assert right.share == pytest.approx(380.0 / 600.0)
    assert right.prop == pytest.approx((220.0 + PROP * 380.0, 60.0), abs=0.05)
    (left,) = overhangs(Pose.shift(-380.0, 0.0), BLANK, TRAVEL)
    assert left.side == "left"
    assert left.prop == pytest.approx((-PROP * 380.0, 60.0), abs=0.05)


def test_both_ends_and_front_and_back() -> None:
    both = overhangs(Pose.shift(-100.0, -30.0), BLANK, TRAVEL)
    assert [one.side for one in both] == ["left", "right", "front"]
    turned = Pose.turn(180).then(Pose.shift(600.0, 200.0))
    assert [one.side for one in overhangs(turned, BLANK, TRAVEL)] == ["right", "back"]


def test_an_origin_that_costs_a_pass_is_told_with_one_that_does_not() -> None:
    machine = replace(MACHINE, travel_size=(300.0, 180.0), travel_margin=2.0)
    need = Box(10.5, 10.0, 200.0, 140.0)
    far = plan(need, machine, (150.0, 0.0), 30.0, 1)
    assert len(far.poses) == 2
    (finding,) = pass_findings.check_origin(far, need, machine, (150.0, 0.0), 30.0, 1)
    assert (finding.code, finding.severity, finding.at) == (
        "origin-costs-passes", "warn", (150.0, 0.0),
    )  # fmt: skip
    assert finding.message.endswith("With [setup] origin = [-8, -8] it takes 1.")
    near = plan(need, machine, (-8.0, -8.0), 30.0, 1)
    assert len(near.poses) == 1
    assert pass_findings.check_origin(near, need, machine, (-8.0, -8.0), 30.0, 1) == ()
    long = Box(10.0, 10.0, 500.0, 140.0)
    two = plan(long, machine, (0.0, 0.0), 30.0, 1)
    assert pass_findings.check_origin(two, long, machine, (0.0, 0.0), 30.0, 1) == ()


def test_only_a_blank_that_tips_is_told() -> None:
    (note,) = pass_findings.overhang_findings(Pose.shift(-380.0, 0.0), BLANK, TRAVEL, 3)
    assert (note.code, note.severity, note.frame, note.mill_pass) == (
        "blank-overhangs", "note", "machine", 3,
    )  # fmt: skip
    words = "blank 1 overhangs the left end of the travel by 380 mm, 63 % of its length"
    assert words in note.message
    assert pass_findings.overhang_findings(Pose.shift(-190.0, 0.0), BLANK, TRAVEL, 2) == ()
