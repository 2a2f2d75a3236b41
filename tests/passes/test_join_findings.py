"""Weak joins are told with place, figures and remedy; the assumption is told as one."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.finding import Finding
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import Join
from millprep.passes.join_findings import ENOUGH, check_joins, gouge_findings, scale_findings
from millprep.passes.neighbours import Gouge, Pair
from tests.helpers.workshop import MACHINE

PLAN = RegistrationPlan(
    method="pins",
    hole=3.02,
    key=4.0,
    wall=2.0,
    cutters=(),
    pin=2.98,
    pin_depth=4.0,
    overrun=0.4,
    pin_diameter=3.0,
)
BOARD = Board("lamp", shapely.box(0, 0, 9, 9), (CopperPiece("c1", shapely.box(1, 1, 2, 2)),), ())
JOIN = Join(1, 0, "c1", (250.0, 40.0), (1, 2), 0.4, (0.0, 1.0), 0.1, 0.4, 0.3)


def findings_of(*joins: Join, plan: RegistrationPlan = PLAN) -> tuple[Finding, ...]:
    return check_joins(joins, plan, {0: Placement(0, BOARD, 3, 1, Pose())}, 1)


def test_strong_joins_leave_a_note_that_says_what_is_assumed() -> None:
    (note,) = findings_of(JOIN, replace(JOIN, predicted=0.12))
    assert (note.code, note.severity, note.blank) == ("misalignment-assumed", "note", 1)
    for words in ("2 joins on copper", "0.100 to 0.120 mm", "tolerates 0.400 mm",
                  "0.03 mm per axis",
                  "assumed", "drill_error"):  # fmt: skip
        assert words in note.message


def test_the_note_says_the_rms_where_it_is_known() -> None:
    (note,) = findings_of(replace(JOIN, predicted_rms=0.034))
    assert "misalignment 0.034 mm rms, 0.100 mm (99.7 %" in note.message
    (bare,) = findings_of(JOIN)
    assert "expected misalignment 0.100 mm" in bare.message


def test_a_stated_error_is_not_called_assumed() -> None:
    (note,) = findings_of(JOIN, plan=replace(PLAN, drill_error=0.012, locate_error=0.016))
    assert note.code == "misalignment-predicted"
    assert "assumed" not in note.message
    assert "0.02 mm per axis" in note.message


@pytest.mark.parametrize(("stands", "weak"), [(0.149, True), (0.151, False)])
def test_a_join_is_weak_below_one_and_a_half_times_the_mismatch(stands: float, weak: bool) -> None:
    assert ENOUGH == 1.5
    _, finding = findings_of(replace(JOIN, tolerance_electrical=stands))
    assert (finding.code == "join-weak") == weak
    if weak:
        assert finding.severity == "warn"
        assert (finding.frame, finding.at) == ("blank", JOIN.at)
        assert (finding.board, finding.copy, finding.mill_pass) == ("lamp", 3, 2)
        for words in ("0.149 mm", "0.100 mm", "passes 1 and 2", "piece c1", "wider", "lens"):
            assert words in finding.message


@pytest.mark.parametrize(("stands", "enough"), [(0.299, False), (0.3, True)])
def test_a_join_that_ticks_could_not_raise_is_named(stands: float, enough: bool) -> None:
    found = findings_of(replace(JOIN, tolerance_electrical=stands))
    assert len(found) == (1 if enough else 2)
    if not enough:
        finding = found[1]
        assert (finding.code, finding.severity) == ("join-without-room", "note")
        assert (finding.frame, finding.at, finding.mill_pass) == ("blank", JOIN.at, 2)
        for words in ("piece c1", "0.299 mm", "3.0 times", "no room for any"):
            assert words in finding.message
        (_, short) = findings_of(replace(JOIN, tolerance_electrical=stands, tick=0.15))
        assert "room for 0.15 mm of them" in short.message


def placed(width: float, height: float) -> Placement:
    board = replace(BOARD, outline=shapely.box(0, 0, width, height))
    return Placement(0, board, 1, 1, Pose())


def test_scale_and_squareness_count_over_the_whole_board() -> None:
    """0.05 % of 480 mm is 0.24 mm, 0.05 degrees across 90 mm is 0.079 mm, by hand."""
    machine = replace(MACHINE, scale_error=0.5, squareness=0.05)
    longer, leans = scale_findings(machine, [placed(480.0, 90.0)], 1)
    assert (longer.code, leans.code) == ("board-stretched", "board-leans")
    assert "480.0 mm 0.24 mm longer" in longer.message
    assert "0.08 mm" in leans.message
    (shorter,) = scale_findings(replace(MACHINE, scale_error=-0.5), [placed(480.0, 90.0)], 1)
    assert "0.24 mm shorter" in shorter.message
    assert scale_findings(MACHINE, [placed(480.0, 90.0)], 1) == ()
    assert scale_findings(machine, [placed(10.0, 10.0)], 1) == ()
    assert scale_findings(machine, [], 1) == ()


def test_gouges_give_one_note_at_the_deepest() -> None:
    pair = Pair((0, "c1"), (0, "c2"), 0.02, (250.0, 40.0), (0.0, 1.0))
    by_index = {0: placed(480.0, 90.0)}
    (note,) = gouge_findings([Gouge(pair, (0, 1), 0.04), Gouge(pair, (1, 0), 0.01)], by_index)
    assert (note.code, note.severity, note.at) == ("groove-gouges-neighbour", "note", (250.0, 40.0))
    for words in ("2 places", "piece c1", "pass 1", "0.040 mm into piece c2", "pass 2"):
        assert words in note.message
    assert gouge_findings([], by_index) == ()


def test_joins_of_profiles_are_not_judged() -> None:
    assert (
        findings_of(replace(JOIN, piece=None, tolerance_electrical=None, tolerance_gap=None)) == ()
    )
    assert findings_of() == ()
