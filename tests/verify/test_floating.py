"""Floating copper that is left in the gaps of boards that are cut in the middle of their gaps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.job.job import JobPlan
from millprep.verify.floating import check_middle
from tests.helpers import small_job

OUTLINE = shapely.box(0.0, 0.0, 30.0, 20.0)
BOARD = Board("lamp", OUTLINE, (CopperPiece("c1", shapely.box(5, 5, 9, 9)),), ())
FRAME = OUTLINE.difference(OUTLINE.buffer(-0.2, join_style="mitre"))
"""Along the edge, where the outermost groove ends and the board does."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    text = small_job.changed("gap = 0.3", 'gap = 0.6\ncourse = "middle"')
    return load(small_job.put(tmp_path_factory.mktemp("middle"), text))


def codes(job: JobPlan, pose: Pose, *floating: Any) -> list[str]:
    left = AsCut(1, (), tuple(CopperPart(shape, ()) for shape in floating))
    return [f.code for f in check_middle(job, left, (Placement(0, BOARD, 1, 1, pose),))]


@pytest.mark.parametrize("rounded", [0.0, 1e-14, -1e-14, 4e-5, -4e-5])
def test_a_ridge_along_the_edge_is_noted_however_the_pose_is_rounded(
    job: JobPlan, rounded: float
) -> None:
    """The report holds poses to four decimals; `prepare` and `verify` have to agree."""
    pose = Pose.shift(95.8, 13.8)
    frame = pose.shape(FRAME)
    assert codes(job, replace(pose, c=pose.c + rounded), frame) == ["copper-ridge"]


def test_what_is_wider_than_the_gap_or_around_the_board_is_no_ridge(job: JobPlan) -> None:
    wide = OUTLINE.difference(OUTLINE.buffer(-0.7, join_style="mitre"))
    around = OUTLINE.buffer(0.3).difference(OUTLINE)
    assert codes(job, Pose(), wide, around) == []
    assert codes(job, Pose(), shapely.box(12.0, 5.0, 12.4, 9.0)) == ["copper-ridge"]
