"""The second point that shows the angle of a blank in pass 1, and how far off the edge may be."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box, Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.milling_pass import EdgeCheck, RegistrationHole
from millprep.passes.straight import edge_check

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
