"""How deep cutters go, and how much at once: programs by hand over one board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.work import ClearingPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.verify.depths import Depths
from millprep.verify.read_back import Run
from tests.helpers import small_job
from tests.helpers.programs import PASS, cut, end_mill, plunge, run_of

BLANK = Blank(1, (60.0, 40.0), 1.6, 0.035)
SLOT = Hole("h2", (30.0, 20.0), 2.0, "c1", (40.0, 20.0))
BOARD = Board(
    "lamp",
    shapely.box(10.0, 10.0, 50.0, 30.0),
    (CopperPiece("c1", shapely.box(12.0, 12.0, 48.0, 28.0)),),
    (Hole("h1", (20.0, 20.0), 1.0, "c1"), SLOT),
)
PLACEMENT = Placement(0, BOARD, 1, 1, Pose())
SPOILBOARD = MillingPass(1, 0, PASS.window, Pose(), (), (1.0, 1.0))
POINT = 0.3004
"""Length of the point of the 1 mm drill of 118 degrees."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(small_job.put(tmp_path_factory.mktemp("deep")))


def said(
    job: JobPlan, run: Run, passes: Sequence[MillingPass] | None = (PASS,)
) -> list[tuple[str, str]]:
    findings = list(Depths(job, BLANK, [PLACEMENT], passes).check(run))
    assert {(f.severity, f.file, f.blank) for f in findings} <= {("stop", "a", 1)}
    assert all(f.line is not None for f in findings)
    return [(f.code, f.message.split(". Do not")[0]) for f in findings]


def drill_of(job: JobPlan) -> Cutter:
    return job.drilling.cutters[0]


def layers(points: Sequence[tuple[float, float]], *depths: float) -> str:
    """The same way again and again, deeper each time."""
    return "".join(cut(points, -depth) for depth in depths)


def test_a_groove_has_the_depth_of_its_use(job: JobPlan) -> None:
    (vee,), way = job.isolation.cutters, [(12.0, 15.0), (20.0, 15.0)]
    assert said(job, run_of(cut(way), vee, "isolate")) == []
    deep = said(job, run_of(cut(way, -0.1), vee, "isolate"))
    assert set(deep) == {("cut-depth", "vee goes 0.100 mm deep here, the job says 0.08 mm")}
    clearing = ClearingPlan(copper="all", cutters=(vee,), depth=0.1)
    assert said(replace(job, clearing=clearing), run_of(cut(way, -0.1), vee, "isolate")) == []


def test_a_cutter_without_a_groove_goes_down_in_holes_and_along_edges_alone(job: JobPlan) -> None:
    mill, way = job.profile.cutter, [(9.0, 15.0), (9.0, 25.0)]
    assert said(job, run_of(layers(way, 0.6, 1.2, 1.8, 1.9), mill, "profile")) == []
    inside = run_of(layers([(14.0, 15.0), (14.0, 25.0)], 0.6), mill, "profile")
    assert set(said(job, inside)) == {
        ("cut-depth", "mill goes 0.600 mm deep here, the job has no such cut")
    }
    assert said(job, run_of(plunge(20.0, 20.0, -0.5), end_mill(1.0), "drill")) == []


def test_what_cuts_nothing_has_no_depths(job: JobPlan) -> None:
    deep = cut([(14.0, 15.0), (14.0, 25.0)], -3.0)
    for work in ("dry-run", "probe"):
        assert said(job, run_of(deep, job.profile.cutter, work)) == []


def test_a_drill_goes_through_and_its_point_with_it(job: JobPlan) -> None:
    drill, depth = drill_of(job), 1.6 + 0.3 + POINT
    assert said(job, run_of(plunge(20.0, 20.0, -depth), drill, "drill")) == []
    assert said(job, run_of(plunge(20.0, 20.0, -1.9), drill, "drill")) == [
        ("hole-depth", f"drill drills 1.900 mm deep, the job says {depth:.3f} mm")
    ]
    # coming up slowly makes a hole no shallower
    slowly = f"G0 X20. Y20.\nG1 Z{-depth:.4f} F60.\nG1 Z-1.\nG0 Z2.\n"
    assert said(job, run_of(slowly, drill, "drill")) == []


def test_a_drill_takes_three_diameters_at_once(job: JobPlan) -> None:
    """A hole for a pin is as deep as the job says, here deeper than a thin drill may go at once."""
    drill = drill_of(job)
    pecked = plunge(20.0, 20.0, -3.0) + plunge(20.0, 20.0, -4.5)
    assert said(job, run_of(pecked, drill, "drill", SPOILBOARD)) == []
    assert said(job, run_of(plunge(20.0, 20.0, -4.5), drill, "drill", SPOILBOARD)) == [
        ("step-too-deep", "drill goes 4.50 mm deeper in one go, at most 3 mm are allowed")
    ]
    short = run_of(plunge(20.0, 20.0, -3.0), drill, "drill", SPOILBOARD)
    assert said(job, short) == [("hole-depth", "drill drills 3.000 mm deep, the job says 4.500 mm")]


def test_a_mill_goes_into_the_spoilboard_as_deep_as_pins_need(job: JobPlan) -> None:
    mill = replace(job.profile.cutter, step=5.0)
    assert said(job, run_of(plunge(20.0, 20.0, -4.5), mill, "drill", SPOILBOARD)) == []
    (deep,) = said(job, run_of(plunge(20.0, 20.0, -4.6), mill, "drill", SPOILBOARD))
    assert deep[0] == "cut-depth"


def test_a_mill_takes_no_more_than_its_step(job: JobPlan) -> None:
    mill, way = job.profile.cutter, [(9.0, 15.0), (9.0, 25.0)]
    assert said(job, run_of(layers(way, 0.6, 1.2, 1.9), mill, "profile")) == [
        ("step-too-deep", "mill goes 0.70 mm deeper in one go, at most 0.6 mm are allowed")
    ]


def test_both_ways_of_a_ramp_in_a_slot_are_taken_at_once(job: JobPlan) -> None:
    """There and back down a ramp: where it turns, twice its step lies ahead."""
    mill = end_mill(2.0)
    places = [(30.0, 0.0), (40.0, 0.5), (30.0, 1.0), (40.0, 1.5), (30.0, 1.9), (40.0, 1.9)]
    words = "G0 X30. Y20.\n" + "".join(
        f"G1 X{x:g} Y20. Z{-depth:g} F60.\n" for x, depth in places
    ) + "G0 Z2.\n"  # fmt: skip
    assert said(job, run_of(words, mill, "drill")) == []
    bare = Placement(0, replace(BOARD, holes=()), 1, 1, Pose())
    elsewhere = list(Depths(job, BLANK, [bare], (PASS,)).check(run_of(words, mill, "drill")))
    assert "step-too-deep" in {f.code for f in elsewhere}


def test_a_registration_hole_is_bored_like_any_other(job: JobPlan) -> None:
    hole = RegistrationHole("r1", (5.0, 5.0), (5.0, 5.0), 3.02, "locate", 1, 2)
    words, mill = plunge(5.0, 5.0, -0.5), end_mill(2.0)
    second = replace(PASS, number=2, registration=(hole,))
    assert said(job, run_of(words, mill, "drill"), (PASS, second)) == []
    cross = replace(second, registration=(replace(hole, role="witness"),))
    (fault,) = said(job, run_of(words, mill, "drill"), (PASS, cross))
    assert fault[0] == "cut-depth"


def test_a_resumed_program_may_begin_in_what_was_cut_before(job: JobPlan) -> None:
    """It takes up a groove that the earlier run cut; what follows a rapid across is its own."""
    mill, way = job.profile.cutter, [(9.0, 15.0), (9.0, 25.0)]
    goes_on = cut(way, -1.9)
    assert said(job, run_of(goes_on, mill, "profile"), None) == []
    later = goes_on + cut([(51.0, 15.0), (51.0, 25.0)], -1.9)
    assert said(job, run_of(later, mill, "profile"), None) == [
        ("step-too-deep", "mill goes 1.90 mm deeper in one go, at most 0.6 mm are allowed")
    ]
    (deep, *_) = said(job, run_of(cut(way, -2.0), mill, "profile"), None)
    assert deep[0] == "cut-depth"
