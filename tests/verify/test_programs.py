"""Programs of a pass as a whole: their order, what is shown first, and pins in the spoilboard."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Box, Clamp
from millprep.model.cut import Work
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole, Vernier
from millprep.model.program import Program
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.verify.programs import _tabs_elsewhere, check_names, check_passes
from millprep.verify.read_back import BlankRuns, Run
from millprep.verify.reader import read
from tests.helpers.invented_set import invented
from tests.helpers.programs import BLANK, HEAD, TAIL, cut, end_mill, vee
from tests.helpers.programs import MACHINE as SMALL
from tests.helpers.sample_job import write

MACHINE = dataclasses.replace(SMALL, max_plunge=300.0)
HOLE = RegistrationHole("r1", (20.0, 10.0), (20.0, 10.0), 3.0, "locate", 1, 2, pin="p1")
FIRST = MillingPass(1, 1, shapely.box(0, 0, 60, 40), Pose(), (), (1.0, 1.0))
BED = dataclasses.replace(FIRST, number=0)
SECOND = dataclasses.replace(FIRST, number=2, registration=(HOLE,))
AROUND = "G0 X0. Y0.\nG1 X60. F600.\nG1 Y40.\nG1 X0.\nG1 Y0.\nG0 X1. Y1.\n"
SHOW = "G0 X20. Y10.\nG1 Z1. F100.\nG4 P4.\nG0 Z2.\n"
CUT = cut([(10, 10), (20, 10), (20, 20)])


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    loaded = load(write(tmp_path_factory.mktemp("job")))
    by_readings = dataclasses.replace(loaded.registration, method="measure")
    return dataclasses.replace(loaded, machine=MACHINE, registration=by_readings)


def run_of(
    text: str,
    work: Work,
    mill_pass: MillingPass = FIRST,
    number: int = 1,
    cutter: Cutter | None = None,
    head: str = HEAD,
) -> Run:
    file = f"blank-1/pass-{mill_pass.number}/{number:02d}-{work}-x.ngc"
    program = Program(
        file=file, blank=1, mill_pass=mill_pass.number, cutter=cutter or vee(), works=(work,),
        depth=0.1, spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip
    return Run(program, read(head + text + TAIL, file=file), mill_pass)


def named(run: Run, number: int) -> Program:
    """The program of a run as another one of its pass."""
    file = run.program.file.replace("/02-", f"/{number:02d}-")
    return dataclasses.replace(run.program, file=file)


def codes(plan: JobPlan, runs: Sequence[Run], **blank: object) -> list[str]:
    passes = {run.mill_pass.number: run.mill_pass for run in runs if run.mill_pass.number}
    whole = MilledBlank(BLANK, passes=tuple(passes.values()))
    whole = dataclasses.replace(whole, **blank)  # type: ignore[arg-type]
    return [finding.code for finding in check_passes(plan, BlankRuns(whole, tuple(runs)))]


def test_a_pass_with_a_dry_run_and_one_program(plan: JobPlan) -> None:
    dry, main = run_of(AROUND, "dry-run"), run_of(CUT, "isolate", number=2)
    assert codes(plan, [dry, main]) == []
    # programs alone are looked at here; that a pass has some is looked at elsewhere
    assert codes(plan, [dry, main], passes=(FIRST, SECOND)) == []
    assert codes(plan, [run_of(CUT, "isolate")]) == ["dry-run-missing"]
    assert codes(plan, [run_of(AROUND.replace("G1 X0.\n", ""), "dry-run"), main]) == [
        "dry-run-incomplete"
    ]
    bare = HEAD.replace("G1 Z1. F100.\nM0 (look: 1 mm)\nG0 Z2.\n", "")
    assert codes(plan, [run_of(AROUND, "dry-run", head=bare), main]) == []


def test_where_no_clamp_can_be_passed_over_no_dry_run_is_required(plan: JobPlan) -> None:
    tall = Clamp(Box(70.0, 50.0, 80.0, 60.0), MACHINE.above + 1.0)
    setup = dataclasses.replace(plan.setup, clamps=(tall,))
    assert codes(dataclasses.replace(plan, setup=setup), [run_of(CUT, "isolate")]) == []


def test_a_pass_that_cuts_nothing_needs_no_dry_run(plan: JobPlan) -> None:
    assert codes(plan, [run_of("", "isolate")]) == ["program-empty"]
    assert codes(plan, [run_of(AROUND, "dry-run")]) == []


def test_what_shows_places_comes_first(plan: JobPlan) -> None:
    dry, main = run_of(AROUND, "dry-run"), run_of(CUT, "isolate", number=2)
    late = run_of(AROUND, "dry-run", number=3)
    assert codes(plan, [dry, main, late]) == ["program-order"]


def test_holes_of_a_pass_are_shown_and_touched(plan: JobPlan) -> None:
    main = run_of(CUT, "isolate", SECOND, 2)
    shown = run_of(AROUND + SHOW, "dry-run", SECOND)
    assert codes(plan, [shown, main]) == []
    for wrong in ("", SHOW.replace("P4.", "P.9"), SHOW.replace("Z1.", "Z.9"), "G4 P4.\n"):
        dry = run_of(AROUND + wrong, "dry-run", SECOND)
        assert codes(plan, [dry, main]) == ["mark-not-shown"], wrong
    probe = dataclasses.replace(plan.registration, probe="electrical", probe_cutter=end_mill(2.0))
    touched = dataclasses.replace(plan, registration=probe)
    assert codes(touched, [shown, main]) == ["program-missing"]
    assert (
        codes(touched, [shown, run_of("", "probe", SECOND, 2), run_of(CUT, "isolate", SECOND, 3)])
        == []
    )


def test_names_rise_in_the_folder_of_their_pass() -> None:
    good = ["blank-1/pass-1/01-dry-run-x.ngc", *["blank-1/pass-1/02-isolate-x.ngc"] * 2]
    assert list(check_names(FIRST, good)) == []
    for files in (
        [good[1], good[0]], [good[0].replace("pass-1", "pass-2")], ["isolate.ngc"],
        [good[0].replace("blank-1", "blank-2")],
    ):  # fmt: skip
        (finding,) = check_names(FIRST, files)
        assert finding.message.startswith(f"{files[-1]} is listed where it is not run"), files
    (twice,) = check_names(FIRST, [good[0], good[1], good[0]])
    assert (twice.code, twice.file) == ("program-order", good[0])
    assert twice.message.startswith("a file is run twice in a pass.")


def test_a_pin_has_its_hole_in_the_spoilboard(plan: JobPlan) -> None:
    method = dataclasses.replace(plan.registration, method="pins", pin_depth=4.0, pin_diameter=3.0)
    pins = dataclasses.replace(plan, registration=method)
    runs = [run_of(AROUND + SHOW, "dry-run", SECOND), run_of(CUT, "isolate", SECOND, 2)]
    assert codes(pins, runs) == ["program-missing"]
    for out, z, wrong in (
        (0.5, -4.0, []),
        (0.5, -3.9, ["pin-hole"]),
        (0.45, -4.0, ["pin-hole"]),
        (2.0, -4.0, ["pin-hole"]),
    ):
        around = [(20 + out, 10), (20, 10 + out), (20 - out, 10), (20, 10 - out), (20 + out, 10)]
        bored = run_of(cut(around, z), "bore", BED, cutter=end_mill(2.0))
        assert codes(pins, [bored, *runs], spoilboard=(bored.program,)) == wrong, (out, z)
    # where the blank was read the pins are where they were, and the holes are not
    read_ = dataclasses.replace(SECOND, read=("holes",))
    shown = [run_of(AROUND + SHOW, "dry-run", read_), run_of(CUT, "isolate", read_, 2)]
    assert codes(pins, [bored, *shown], spoilboard=(bored.program,)) == []


def test_a_cutter_has_one_program_in_a_pass(plan: JobPlan) -> None:
    dry = run_of(AROUND, "dry-run")
    first, again = (run_of(CUT, "isolate", number=n) for n in (2, 3))
    assert codes(plan, [dry, first, again]) == ["program-unexpected"]
    assert codes(plan, [dry, first, run_of(CUT, "drill", number=3, cutter=end_mill())]) == []


def test_a_second_comb_may_have_a_program_of_its_own(plan: JobPlan) -> None:
    vernier = Vernier("v1", 1, (15.0, 30.0), "x", (1, 2), 1.0, 0.1, 3)
    combed = dataclasses.replace(SECOND, verniers=(vernier,))
    dry = run_of(AROUND + SHOW, "dry-run", combed)
    comb, main, again = (run_of(CUT, "isolate", combed, n) for n in (2, 3, 4))
    assert codes(plan, [dry, comb, main]) == []
    assert codes(plan, [dry, comb, main, again]) == ["program-unexpected"]


def test_what_frees_the_boards_comes_last(plan: JobPlan) -> None:
    dry = run_of(AROUND, "dry-run")
    edge = run_of(CUT, "profile", number=2, cutter=plan.profile.cutter)
    main = run_of(CUT, "isolate", number=3)
    assert codes(plan, [dry, edge, main]) == ["program-order"]
    assert codes(plan, [dry, main, dataclasses.replace(edge, program=named(edge, 4))]) == []


def test_tabs_are_where_the_report_has_them() -> None:
    placement = invented(1).layout.placements[0]
    blank = MilledBlank(BLANK, copies=(BoardCopy(placement, tabs=((10.0, 5.0), (20.0, 5.0))),))
    assert list(_tabs_elsewhere(blank, [(10.3, 5.0), (20.0, 4.7)])) == []
    more, less = _tabs_elsewhere(blank, [(10.0, 5.0), (30.0, 5.0)])
    assert (more.code, more.at) == ("tab-place", (30.0, 5.0))
    assert more.message.startswith("The programs leave a tab where report.json has none.")
    assert (less.code, less.at) == ("tab-place", (20.0, 5.0))
    assert less.message.startswith("report.json has a tab where the programs leave none.")
    # an older report does not say where its tabs are
    old = MilledBlank(BLANK, copies=(BoardCopy(placement),))
    assert list(_tabs_elsewhere(old, [(10.0, 5.0)])) == []
