"""From the job's values to nesting and back, copies left out or made alone."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from millprep.model.board import Board, CopperPiece
from millprep.model.finding import Refusal
from millprep.model.job.board import BoardPlan
from millprep.model.job.job import BlankPlan
from millprep.model.job.keys import NamedFile
from millprep.model.job.layers import DrawingPlan, LayersTable
from millprep.nesting.nest import Effort, nest
from millprep.nesting.wanted import (
    area_of,
    check_choice,
    layout_of,
    only,
    sheet_of,
    wanted_of,
)

OUTLINE = shapely.box(100, -50, 160, -20).difference(shapely.box(150, -30, 160, -20))
assert isinstance(OUTLINE, shapely.Polygon)
BOARD = Board("lamp", OUTLINE, (CopperPiece("c1", shapely.box(101, -49, 103, -48)),), ())
PLAN = BoardPlan(
    name="lamp", drawing=DrawingPlan(NamedFile(Path("/lamp.dxf"), "lamp.dxf")), count=3,
    drawn_from="components", layers=LayersTable(copper=("c",), outline=("o",), holes=()),
    turns=(0.0, 90.0), priority=2,
)  # fmt: skip
BLANK = BlankPlan(
    size=(150.0, 100.0),
    thickness=1.6,
    copper=0.035,
    margin=8.0,
    spacing=3.0,
    count=2,
    modulus=22.0,
)
OFFCUT = BlankPlan(
    size=(90, 90), thickness=1.6, copper=0.035, margin=8.0, spacing=3.0, modulus=22.0,
    outline=((0, 0), (90, 0), (90, 60), (60, 90), (0, 90)),
)  # fmt: skip
EFFORT = Effort(750, 1)


def test_the_layout_has_the_poses_of_the_spots() -> None:
    wanted = [wanted_of(BOARD, PLAN)]
    assert wanted[0].mirrored
    assert (wanted[0].copies, wanted[0].priority) == ((1, 2, 3), 2)
    plans = [BLANK, OFFCUT]
    nested = nest(wanted, [sheet_of(plan) for plan in plans], EFFORT)
    layout = layout_of(nested.spots, nested.blanks, wanted, {"lamp": BOARD}, plans)
    assert [p.copy for p in layout.placements] == [1, 2, 3]
    assert [p.index for p in layout.placements] == [0, 1, 2]
    assert all(p.pose.mirrored for p in layout.placements)
    for placement, spot in zip(layout.placements, nested.spots, strict=True):
        area = placement.pose.shape(placement.board.outline)
        assert area.equals_exact(area_of(wanted[0], spot), 1e-12)
        assert area.bounds[:2] == pytest.approx((spot.x, spot.y), abs=1e-12)
    assert [blank.size for blank in layout.blanks] == [plans[n].size for n in nested.blanks]


def test_an_offcut_keeps_its_outline() -> None:
    wanted = [wanted_of(BOARD, PLAN)]
    nested = nest(only(wanted, {("lamp", 2)}), [sheet_of(OFFCUT)], EFFORT)
    (spot,) = nested.spots
    assert (spot.board, spot.copy) == ("lamp", 2)
    layout = layout_of(nested.spots, nested.blanks, wanted, {"lamp": BOARD}, [OFFCUT])
    outline = layout.blanks[0].outline
    assert outline is not None
    assert outline.equals(sheet_of(OFFCUT).outline)
    assert outline.contains(area_of(wanted[0], spot))


def test_unknown_copies_are_reported() -> None:
    wanted = [wanted_of(BOARD, PLAN)]
    with pytest.raises(Refusal, match="no board lamp copy 4"):
        check_choice(wanted, {("lamp", 4), ("lamp", 1)}, ())
    with pytest.raises(Refusal, match="no board bell copy 1") as refused:
        only(wanted, {("bell", 1)})
    assert refused.value.exit_code == 2
