"""Marks outside the boards: each at its place, and nothing else is engraved there."""

from __future__ import annotations

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.marks import CROSS, check_marks
from millprep.verify.read_back import BlankRuns, Run
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, HEAD, TAIL, cut
from tests.helpers.sample_job import write

X, Y = 20.0, 10.0
WITNESS = RegistrationHole("w1", (X, Y), (X, Y), 1.0, "witness", 1, 2)
PASS = MillingPass(1, 1, shapely.box(0, 0, 60, 40), Pose(), (WITNESS,), (1.0, 1.0))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(write(tmp_path_factory.mktemp("job")))


def marks(plan: JobPlan, text: str) -> list[Finding]:
    """What is wrong with what an engraver cuts on a blank without boards."""
    (engraver,) = plan.isolation.cutters
    program = Program(
        file="a.ngc", blank=1, mill_pass=1, cutter=engraver, works=("isolate",), depth=0.08,
        spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip
    run = Run(program, read(HEAD + text + TAIL, file="a.ngc"), PASS)
    return list(check_marks(plan, BlankRuns(MilledBlank(BLANK, passes=(PASS,)), (run,)), 1.0))


def cross(x: float = X, y: float = Y, arm: float = CROSS) -> str:
    return cut([(x - arm, y), (x + arm, y)]) + cut([(x, y - arm), (x, y + arm)])


def test_a_cross_at_its_place_is_good(plan: JobPlan) -> None:
    assert marks(plan, cross()) == []
    assert marks(plan, cross(arm=CROSS + 0.1)) == []


@pytest.mark.parametrize(
    "text", ["", cross(x=X + 0.05), cross(arm=CROSS - 0.1), cut([(X - CROSS, Y), (X + CROSS, Y)])]
)
def test_a_cross_that_is_not_engraved_at_its_place_is_found(plan: JobPlan, text: str) -> None:
    (found,) = marks(plan, text)
    assert found.message.startswith("The cross w1 is not engraved at its place.")
    assert (found.code, found.severity, found.at) == ("mark-off", "stop", (X, Y))
    assert (found.frame, found.blank, found.mill_pass) == ("blank", 1, 1)


def test_a_line_that_is_part_of_no_mark_is_found(plan: JobPlan) -> None:
    (found,) = marks(plan, cross() + cut([(40, 30), (44, 30)]))
    assert found.message.startswith("A line is engraved outside all boards")
    assert (found.code, found.at) == ("mark-unexpected", (42.0, 30.0))
    # what is deeper than any groove is a hole or an edge, and no mark
    assert marks(plan, cross() + cut([(40, 30), (44, 30)], -1.6)) == []


def test_a_pass_that_engraves_nothing_lacks_its_cross(plan: JobPlan) -> None:
    (found,) = check_marks(plan, BlankRuns(MilledBlank(BLANK, passes=(PASS,)), ()), 1.0)
    assert (found.code, found.at) == ("mark-off", (X, Y))
