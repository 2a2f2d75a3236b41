"""Which way round circles are run: programs by hand over round pads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.work import ClearingPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.verify.direction import check_directions
from tests.helpers import small_job
from tests.helpers.programs import BLANK, PASS, end_mill, run_of
from tests.helpers.rules_scene import less

PAD = shapely.Point(20.0, 20.0).buffer(3.0, quad_segs=64)
HOLE = Hole("h1", (20.0, 20.0), 2.0, "c1")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    """Isolation and profile climb."""
    return load(small_job.put(tmp_path_factory.mktemp("ways")))


def circle(radius: float, *, clockwise: bool, z: float = -0.08, x: float = 20.0) -> str:
    word = "G2" if clockwise else "G3"
    return (
        f"G0 X{x + radius:.4f} Y20.\nG1 Z{z:g} F100.\n"
        f"{word} X{x + radius:.4f} Y20. I{-radius:.4f} J0. F300.\nG0 Z2.\n"
    )


def said(
    job: JobPlan,
    words: str,
    cutter: Cutter | None = None,
    pieces: Sequence[shapely.Polygon] = (PAD,),
    mill_pass: MillingPass = PASS,
) -> list[str]:
    """In which direction circles are run that are run the wrong way round."""
    copper = tuple(CopperPiece(f"c{n}", piece) for n, piece in enumerate(pieces, 1))
    placement = Placement(
        0, Board("lamp", shapely.box(2, 2, 58, 38), copper, (HOLE,)), 1, 1, Pose()
    )
    blank = MilledBlank(BLANK, (BoardCopy(placement),), passes=(mill_pass,))
    run = run_of(words, cutter or job.isolation.cutters[0], "isolate", mill_pass)
    findings = list(check_directions(job, blank, [run]))
    assert {(f.code, f.severity, f.frame, f.file) for f in findings} <= {
        ("circle-direction", "stop", "machine", "a")
    }
    return [f.message.split(",")[0].removeprefix("A circle is run ") for f in findings]


def lap(job: JobPlan, radius: float) -> float:
    """The radius of the first lap around a round pad."""
    return radius + job.isolation.uses[0].surface / 2


def test_a_first_lap_has_its_copper_on_the_side_that_the_job_says(job: JobPlan) -> None:
    other = replace(job, isolation=replace(job.isolation, direction="conventional"))
    radius = lap(job, 3.0)
    assert said(job, circle(radius, clockwise=True)) == []
    assert said(job, circle(radius, clockwise=False)) == ["counter-clockwise"]
    assert said(other, circle(radius, clockwise=False)) == []
    assert said(other, circle(radius, clockwise=True)) == ["clockwise"]


def test_within_copper_a_lap_runs_the_other_way(job: JobPlan) -> None:
    round_hole = less(shapely.box(10, 10, 30, 30), PAD)
    radius = 6.0 - lap(job, 3.0)
    assert said(job, circle(radius, clockwise=False), pieces=[round_hole]) == []
    assert said(job, circle(radius, clockwise=True), pieces=[round_hole]) == ["clockwise"]


def test_a_lap_that_is_not_the_first_or_lies_between_two_pieces_may_run_either_way(
    job: JobPlan,
) -> None:
    radius = lap(job, 3.0)
    around = less(shapely.box(10, 10, 30, 30), shapely.Point(20, 20).buffer(2 * radius - 3.0))
    for clockwise in (True, False):
        assert said(job, circle(radius + 0.1, clockwise=clockwise)) == []
        assert said(job, circle(radius, clockwise=clockwise), pieces=[PAD, around]) == []


def test_laps_in_the_middle_of_gaps_and_clearing_may_run_either_way(job: JobPlan) -> None:
    radius = lap(job, 3.0)
    (vee,) = job.isolation.cutters
    clears = replace(job, clearing=ClearingPlan(copper="all", cutters=(vee,), depth=0.08))
    middle = replace(job, isolation=replace(job.isolation, course="middle"))
    for plan in (clears, middle):
        assert said(plan, circle(radius, clockwise=False)) == []


def test_a_bore_climbs_wherever_it_is(job: JobPlan) -> None:
    mill, deep = end_mill(1.0), -0.5
    key = RegistrationHole("r1", (40.0, 20.0), (40.0, 20.0), 4.0, "key", 1, 2)
    found_again = replace(PASS, registration=(key,))
    spoilboard = MillingPass(1, 0, PASS.window, Pose(), (), (1.0, 1.0))
    for x, radius, where in (
        (20.0, 0.5, PASS), (40.0, 1.5, found_again), (50.0, 2.0, spoilboard)
    ):  # fmt: skip
        right, wrong = (
            circle(radius, clockwise=clockwise, z=deep, x=x) for clockwise in (False, True)
        )
        assert said(job, right, mill, mill_pass=where) == []
        assert said(job, wrong, mill, mill_pass=where) == ["clockwise"]
    # wider than the hole it is a lap around a pad, of a mill that does not isolate here
    assert said(job, circle(1.0, clockwise=True, z=deep), mill) == []


def test_two_halves_are_one_circle_and_less_is_none(job: JobPlan) -> None:
    radius = lap(job, 3.0)
    whole = circle(radius, clockwise=False)
    turn = f"G3 X{20 + radius:.4f} Y20. I{-radius:.4f} J0. F300.\n"
    half = f"G3 X{20 - radius:.4f} Y20. I{-radius:.4f} J0. F300.\n"
    back = f"G3 X{20 + radius:.4f} Y20. I{radius:.4f} J0. F300.\n"
    assert turn in whole
    assert said(job, whole.replace(turn, half + back)) == ["counter-clockwise"]
    assert said(job, whole.replace(turn, half)) == []
    # round twice is one circle, and one above the copper is none that cuts
    assert said(job, whole.replace(turn, turn + turn)) == ["counter-clockwise"]
    assert said(job, circle(radius, clockwise=False, z=0.5)) == []
