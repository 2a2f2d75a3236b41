"""Floating copper left in areas to be cleared, and gaps that are cut in their middle."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.job.job import JobPlan
from millprep.model.job.work import ClearingPlan
from millprep.model.milling_pass import Join
from millprep.verify.floating import check_cleared, check_in_middle, check_middle
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
    ridge = shapely.box(12.0, 5.0, 12.4, 9.0)
    assert codes(job, Pose(), ridge) == ["copper-ridge"]
    around_copper = replace(job, isolation=replace(job.isolation, course="copper"))
    assert codes(around_copper, Pose(), ridge) == []


def test_what_is_to_be_cleared_is_free_wherever_the_cutter_fits(job: JobPlan) -> None:
    (vee,) = job.isolation.cutters
    plan = replace(job, clearing=ClearingPlan(copper="areas", cutters=(vee,), depth=0.1))
    width = vee.width(0.1)
    area = shapely.box(10.0, 2.0, 25.0, 18.0)
    here, there = (Placement(n, BOARD, n + 1, 1, Pose()) for n in range(2))

    def left(shape: shapely.Polygon) -> list[tuple[str, str]]:
        copper = AsCut(1, (), (CopperPart(shape, ()), CopperPart(area, ((0, "c1"),))))
        found = list(check_cleared(plan, copper, (there, here), {0: area}))
        return [(f.code, f"{f.message.split(',')[0]}, copy {f.copy}") for f in found]

    assert left(shapely.box(12.0, 5.0, 12.0 + width, 15.0)) == []
    assert left(shapely.box(12.0, 5.0, 12.1 + width, 15.0)) == [
        ("area-not-cleared", "floating copper is left in an area to be cleared, copy 1")
    ]
    assert left(shapely.box(2.0, 5.0, 9.9, 15.0)) == []
    everywhere = AsCut(1, (), (CopperPart(OUTLINE, ()),))
    assert list(check_cleared(plan, everywhere, (here,), {})) == []
    assert list(check_cleared(job, everywhere, (here,), {0: area})) == []


MIDDLE = Board(
    "lamp",
    OUTLINE,
    (
        CopperPiece("c1", shapely.box(2.0, 8.0, 14.7, 12.0)),
        CopperPiece("c2", shapely.box(15.3, 8.0, 28.0, 12.0)),
    ),
    (),
)
JOIN = Join(1, 0, "c1", (15.2, 10.0), (1, 2), 0.4, (0.0, 1.0))


def off(
    job: JobPlan, x: float, *, length: float = 3.0, joins: tuple[Join, ...] = (), y: float = 8.2
) -> list[str]:
    """The findings for a cut up the gap of 0.6 mm at x = 15."""
    lines = np.array([[x, y, x, y + length / 2], [x, y + length / 2, x, y + length]])
    boards = [Placement(n, MIDDLE, n + 1, 1, Pose.shift(0.0, 40.0 * n)) for n in range(2)]
    findings = list(check_in_middle(job, 0.035, lines, boards, joins))
    assert all(f.severity == "note" and f.at is not None for f in findings)
    return [f"{f.code}, copy {f.copy}" for f in findings]


def test_a_lap_runs_in_the_middle_of_its_gap(job: JobPlan) -> None:
    """It may be as far off as the gap is wider than the groove; joins are left out."""
    assert off(job, 15.0) == []
    assert off(job, 15.0, y=48.2) == []
    narrow = replace(job, isolation=replace(job.isolation, given_gap=0.2))
    assert off(narrow, 15.0) == []
    assert off(narrow, 15.2) == ["lap-off-middle, copy 1"]
    assert off(narrow, 15.2, y=48.2) == ["lap-off-middle, copy 2"]
    assert off(narrow, 15.2, length=0.7) == [], "where laps meet they run a little beyond"
    assert off(narrow, 15.2, length=2.0, joins=(JOIN,), y=9.0) == []
    by_hand = replace(narrow, isolation=replace(narrow.isolation, course="copper"))
    assert off(by_hand, 15.2) == []
    assert list(check_in_middle(narrow, 0.035, np.zeros((0, 4)), (), ())) == []
