"""Weak joins are told with place, figures and remedy; the assumption is told as one."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from millprep.passes.verdict import ENOUGH, judge
from millprep.values.board import Board, CopperPiece
from millprep.values.finding import Finding
from millprep.values.layout import Placement
from millprep.values.milling_pass import Join
from millprep.values.plan import RegistrationPlan
from millprep.values.pose import Pose

PLAN = RegistrationPlan(
    method="pins", hole=3.02, key=4.0, wall=2.0, cutters=(), pin=2.98, pin_depth=4.0, overrun=0.4
)
BOARD = Board("lamp", shapely.box(0, 0, 9, 9), (CopperPiece("c1", shapely.box(1, 1, 2, 2)),), ())
JOIN = Join(1, 0, "c1", (250.0, 40.0), (1, 2), 0.4, (0.0, 1.0), 0.1, 0.4, 0.3)


def told(*joins: Join, plan: RegistrationPlan = PLAN) -> tuple[Finding, ...]:
    return judge(joins, plan, {0: Placement(0, BOARD, 3, 1, Pose())}, 1)


def test_strong_joins_leave_a_note_that_says_what_is_assumed() -> None:
    (note,) = told(JOIN, replace(JOIN, predicted=0.12))
    assert (note.code, note.severity, note.blank) == ("mismatch-assumed", "note", 1)
    for words in ("At the 2 places", "0.100 to 0.120 mm", "stands 0.400 mm", "0.03 mm per axis",
                  "assumed", "drill_error"):  # fmt: skip
        assert words in note.message


def test_a_stated_error_is_not_called_assumed() -> None:
    (note,) = told(JOIN, plan=replace(PLAN, sigma=0.02, assumed=False))
    assert note.code == "mismatch-predicted"
    assert "assumed" not in note.message
    assert "0.02 mm per axis" in note.message


@pytest.mark.parametrize(("stands", "weak"), [(0.149, True), (0.151, False)])
def test_a_join_is_weak_below_one_and_a_half_times_the_mismatch(stands: float, weak: bool) -> None:
    assert ENOUGH == 1.5
    found = told(replace(JOIN, tolerance_electrical=stands))
    assert (len(found) == 2) == weak
    if weak:
        finding = found[1]
        assert (finding.code, finding.severity) == ("join-weak", "warn")
        assert (finding.frame, finding.at) == ("blank", JOIN.at)
        assert (finding.board, finding.copy, finding.mill_pass) == ("lamp", 3, 2)
        for words in ("0.149 mm", "0.100 mm", "passes 1 and 2", "piece c1", "wider", "lens"):
            assert words in finding.message


def test_joins_of_profiles_are_not_judged() -> None:
    assert told(replace(JOIN, piece=None, tolerance_electrical=None, tolerance_gap=None)) == ()
    assert told() == ()
