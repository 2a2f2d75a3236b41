"""Holes and slots go to a pass that holds them whole, their pads' if it can."""

from __future__ import annotations

import pytest

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.cut import HoleCut
from millprep.model.finding import Refusal
from millprep.passes.cuts_by_pass import share_holes
from millprep.passes.joins import JoinPlan
from millprep.passes.shift import ShiftPlan

# two windows that share x from 80 to 100
TWO = ShiftPlan(
    0, 80.0, (Pose(), Pose.shift(-80.0, 0.0)), (Box(0, 0, 100, 60), Box(80, 0, 180, 60))
)
PADS = JoinPlan({(0, "first"): 0, (0, "second"): 1}, {})


def slot(at: Point, end: Point | None, piece: str | None = None) -> HoleCut:
    return HoleCut(at, 2.0, "mill", 1.8, "bore", 0, "h1", piece, end)


@pytest.mark.parametrize(
    ("at", "end", "piece", "taken"),
    [
        ((85.0, 20.0), (95.0, 20.0), "first", 0),
        ((85.0, 20.0), (95.0, 20.0), "second", 1),
        ((85.0, 20.0), (95.0, 20.0), None, 0),
        # a piece without laps is cut by no pass
        ((85.0, 20.0), (95.0, 20.0), "not cut", 0),
        # one end in what both reach, the other not: the pad's pass does not hold it
        ((70.0, 20.0), (90.0, 30.0), "second", 0),
        ((90.0, 20.0), (120.0, 20.0), "first", 1),
        # its width too must lie within the window
        ((80.5, 20.0), (80.5, 30.0), "second", 0),
        ((81.0, 20.0), (81.0, 30.0), "second", 1),
        ((99.5, 20.0), None, "first", 1),
    ],
)
def test_a_slot_goes_to_the_pass_that_holds_it_whole(
    at: Point, end: Point | None, piece: str | None, taken: int
) -> None:
    one = slot(at, end, piece)
    by_pass = share_holes([one], PADS, TWO)
    assert by_pass[taken] == (one,)
    assert by_pass[1 - taken] == ()


def test_a_slot_that_no_pass_holds_is_refused_with_its_place() -> None:
    long = slot((70.0, 20.0), (110.0, 20.0), "first")
    with pytest.raises(Refusal) as refused:
        share_holes([slot((85.0, 20.0), (95.0, 20.0)), long, long], PADS, TWO, 3)
    assert [f.code for f in refused.value.findings] == ["slot-in-no-pass"] * 2
    finding = refused.value.findings[0]
    assert (finding.at, finding.blank, finding.severity) == ((70.0, 20.0), 3, "stop")
    assert "42.0 mm long" in finding.message
    assert "two slots that overlap" in finding.message


def test_what_one_window_cannot_hold_is_reported_by_the_motion_rules() -> None:
    alone = ShiftPlan(0, 0.0, (Pose(),), (Box(0, 0, 100, 60),))
    one = slot((70.0, 20.0), (110.0, 20.0))
    assert share_holes([one], JoinPlan({}, {}), alone) == ((one,),)
