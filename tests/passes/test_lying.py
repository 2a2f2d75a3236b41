"""How the blank lies in each pass, and how straight it must lie in pass 1."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose
from millprep.model.blank import PROP, Blank, Box, Placement, overhangs
from millprep.model.board import Board, CopperPiece
from millprep.model.milling_pass import EdgeCheck, RegistrationHole
from millprep.passes import lying
from millprep.passes.lying import edge_check
from millprep.passes.shift import plan
from tests.helpers.workshop import MACHINE

TRAVEL = Box(0.0, 0.0, 220.0, 160.0)
BLANK = Blank(1, (600.0, 120.0), 1.6, 0.035)


def test_what_lies_on_the_bed_needs_no_prop() -> None:
    small = Blank(1, (200.0, 100.0), 1.6, 0.035)
    assert overhangs(Pose.shift(5.0, 5.0), small, TRAVEL) == ()
    assert lying.overhang_findings(Pose.shift(5.0, 5.0), small, TRAVEL, 1) == ()


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


def test_an_origin_that_costs_a_pass_is_reported_with_one_that_does_not() -> None:
    machine = replace(MACHINE, travel_size=(300.0, 180.0), travel_margin=2.0)
    need = Box(10.5, 10.0, 200.0, 140.0)
    far = plan(need, machine, (150.0, 0.0), 30.0, 1)
    assert len(far.poses) == 2
    (finding,) = lying.check_origin(far, need, machine, (150.0, 0.0), 30.0, 1)
    assert (finding.code, finding.severity, finding.at) == (
        "origin-costs-passes", "warn", (150.0, 0.0),
    )  # fmt: skip
    assert finding.message.endswith("With [setup] origin = [-8, -8] it takes 1.")
    near = plan(need, machine, (-8.0, -8.0), 30.0, 1)
    assert len(near.poses) == 1
    assert lying.check_origin(near, need, machine, (-8.0, -8.0), 30.0, 1) == ()
    long = Box(10.0, 10.0, 500.0, 140.0)
    two = plan(long, machine, (0.0, 0.0), 30.0, 1)
    assert lying.check_origin(two, long, machine, (0.0, 0.0), 30.0, 1) == ()


def test_only_a_blank_that_tips_is_reported() -> None:
    (note,) = lying.overhang_findings(Pose.shift(-380.0, 0.0), BLANK, TRAVEL, 3)
    assert (note.code, note.severity, note.frame, note.mill_pass) == (
        "blank-overhangs", "note", "machine", 3,
    )  # fmt: skip
    words = "blank 1 overhangs the left end of the travel by 380 mm, 63 % of its length"
    assert words in note.message
    assert lying.overhang_findings(Pose.shift(-190.0, 0.0), BLANK, TRAVEL, 2) == ()


KERF, WALL = 2.0, 2.0
SIZE = (520.0, 120.0)
NOTHING = shapely.Polygon()
HERE = Pose()
HOLE = RegistrationHole("r2", (295.0, 116.0), (0.0, 0.0), 3.02, "locate", 1, 2)


def placement(x0: float, y0: float, x1: float, y1: float) -> Placement:
    outline = shapely.box(x0, y0, x1, y1)
    piece = CopperPiece("c1", shapely.box(x0 + 1, y0 + 1, x0 + 2, y0 + 2))
    return Placement(0, Board("lamp", outline, (piece,), ()), 1, 1, Pose())


def checked(
    boards: Sequence[Placement] = (),
    holes: Sequence[RegistrationHole] = (),
    *,
    size: tuple[float, float] = SIZE,
    pose: Pose = HERE,
    clamped: BaseGeometry = NOTHING,
    outline: shapely.Polygon | None = None,
) -> EdgeCheck | None:
    blank = Blank(1, size, 1.6, 0.035, outline)
    travel = Box(0.0, 0.0, 300.0, 180.0)
    return edge_check(blank, pose, travel, clamped, boards, holes, KERF, WALL)


def stays(edge: EdgeCheck, share: float, kept: BaseGeometry) -> bool:
    """Whether something stays on a blank that is turned by so much of twice what is allowed."""
    lever = math.hypot(*edge.at)
    for sign in (-1.0, 1.0):
        turn = sign * math.atan2(2 * share * edge.within, lever)
        sheet = shapely.affinity.rotate(
            shapely.box(0.0, 0.0, *SIZE), turn, origin=(0, 0), use_radians=True
        )
        if not sheet.buffer(1e-3).covers(kept):
            return False
    return True


def test_a_board_and_the_cut_around_it_stay_on_the_blank() -> None:
    edge = checked([placement(20.0, 12.0, 500.0, 108.0)])
    assert edge is not None
    assert (edge.at, edge.axis, edge.limit) == ((300.0, 0.0), 0, "board lamp")
    # 10 mm of room at 500 mm; half of it is allowed, seen at 300 mm
    assert edge.within == pytest.approx(10.0 / 500.0 * 300.0 / 2, abs=0.01)
    cut = shapely.box(20.0, 12.0, 500.0, 108.0).buffer(KERF, join_style="mitre")
    assert stays(edge, 0.98, cut)
    assert not stays(edge, 1.05, cut)


def test_a_registration_hole_keeps_half_of_its_wall() -> None:
    edge = checked([placement(20.0, 12.0, 500.0, 108.0)], [HOLE])
    assert edge is not None
    assert edge.limit == "registration hole r2"
    room = 120.0 - 116.0 - 1.51 - WALL / 2
    # rounded down, to what is printed
    assert 0 <= room / 295.0 * 300.0 / 2 - edge.within < 0.01
    wall = shapely.Point(HOLE.blank).buffer(1.51 + WALL / 2)
    assert stays(edge, 0.98, wall)
    assert not stays(edge, 1.05, wall)


def test_the_point_is_on_the_machine_where_the_spindle_reaches() -> None:
    clamp = shapely.box(270.0, -20.0, 310.0, 15.0)
    edge = checked([placement(20.0, 12.0, 500.0, 108.0)], clamped=clamp)
    assert edge is not None
    assert edge.at == (260.0, 0.0)
    edge = checked([placement(20.0, 12.0, 400.0, 108.0)], pose=Pose.shift(15.0, 30.0))
    assert edge is not None
    assert edge.at == (295.0, 30.0)


def test_a_blank_that_is_longer_across_is_checked_along_y() -> None:
    edge = checked([placement(10.0, 10.0, 90.0, 150.0)], size=(100.0, 170.0))
    assert edge is not None
    assert (edge.at, edge.axis) == ((0.0, 160.0), 1)


def test_a_board_up_to_the_edge_leaves_no_room() -> None:
    edge = checked([placement(20.0, 0.0, 500.0, 120.0)])
    assert edge is not None
    assert edge.within == 0.0


def test_a_cut_that_runs_off_the_blank_as_planned_does_no_harm() -> None:
    """Boards a millimetre from the edge: only they must stay on the laminate."""
    edge = checked([placement(20.0, 1.0, 500.0, 119.0)])
    assert edge is not None
    assert edge.within == pytest.approx(1.0 / 500.0 * 300.0 / 2, abs=0.011)


def test_an_offcut_and_a_short_edge_have_no_second_point() -> None:
    assert checked(outline=shapely.Polygon([(0, 0), (520, 0), (0, 120)])) is None
    assert checked(size=(30.0, 20.0)) is None
