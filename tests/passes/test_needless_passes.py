"""Copies that are left out take with them the passes that would cut nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.geometry.path import Path as Lines
from millprep.model.cut import Lap
from millprep.model.milling_pass import RegistrationHole
from millprep.model.set_of_programs import CutSet
from millprep.passes import planned_passes
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.planned_passes import SharedCuts
from millprep.passes.profiles_by_pass import ProfilesByPass
from millprep.workflow.laying import Choice
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import small_job
from tests.helpers.small_job import changed, run

CHANGES = (
    ('test piece"', 'test piece"\nengrave_names = true'),
    ('-300"', '-300"\ntravel = [100.0, 70.0]\nscrew_lead = 97.0'),
    ("size = [60.0, 50.0]\nmargin = 10.0", "size = [160.0, 60.0]\nmargin = 14.0"),
    ("tape = true", "tape = true\norigin = [2.0, 3.0]"),
    ("drawn_from", "count = 3\ndrawn_from"),
    ('cutters = ["drill"]\n', 'cutters = ["drill"]\nborer = "mill"\n'),
)


def made(job: Path, out: Path, *skipped: int) -> CutSet:
    return prepare(job, out, choice=Choice("low", skip=tuple(("lamp", n) for n in skipped)))


@pytest.fixture(scope="module")
def row(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of three boards in a row and its set in `all`: two passes, one board in the first."""
    folder, text = tmp_path_factory.mktemp("row"), small_job.JOB
    for old, new in CHANGES:
        text = changed(old, new, text)
    job = small_job.put(folder, text)
    cut_set = made(job, folder / "all")
    assert [each.number for each in cut_set.passes] == [1, 2]
    assert "shift-not-whole-turns" in {finding.code for finding in cut_set.findings}
    return job


def test_a_pass_that_cuts_no_copy_goes_with_its_holes_and_marks(row: Path, tmp_path: Path) -> None:
    less = made(row, tmp_path / "less", 2, 3)
    (only,) = less.passes
    assert {work for program in only.programs for work in program.works} == {
        "dry-run", "isolate", "engrave", "drill", "profile",
    }  # fmt: skip
    (blank,) = less.blanks
    assert (blank.registration, blank.spoilboard) == ((), ())
    assert [text.text for text in only.texts] == ["LAMP 1", f"SET {less.id.upper()}"]
    # nothing is said of how the blank is moved
    assert {finding.code for finding in less.findings} == {"nets-not-named"}
    assert {f.severity for f in verify(tmp_path / "less").findings} <= {"note"}
    same = run("compare", row.parent / "all", tmp_path / "less").stdout
    assert "1 of 3 boards are cut alike" in same


def test_a_pass_that_drills_the_holes_of_another_stays(row: Path, tmp_path: Path) -> None:
    less = made(row, tmp_path / "less", 1)
    assert [each.number for each in less.passes] == [1, 2]


def lap(placement: int) -> tuple[Lap, ...]:
    return (Lap(Lines.lines([(0.0, 0.0), (1.0, 0.0)]), placement, "c1", 0, "vee", 0.1),)


def found_by(used_in: int, drilled_in: int) -> RegistrationHole:
    at = (0.0, 0.0)
    return RegistrationHole(f"r{used_in}", at, at, 3.0, "locate", drilled_in, used_in)


# four passes, a copy in each; holes of pass 4 are drilled in pass 2, those of 2 and 3 in pass 1
HOLES = (found_by(2, 1), found_by(3, 1), found_by(4, 2))


@pytest.mark.parametrize(
    ("left_out", "kept"),
    [((), (1, 2, 3, 4)), ((3,), (1, 2, 3)), ((1,), (1, 2, 3, 4)), ((1, 3), (1, 3)),
     ((0, 1, 2), (1, 2, 4)), ((1, 2, 3), (1,))],
)  # fmt: skip
def test_what_is_left_cuts_or_drills(left_out: tuple[int, ...], kept: tuple[int, ...]) -> None:
    nothing = ((), (), (), ())
    laps = CutsByPass(tuple(map(lap, range(4))), ())
    shared = SharedCuts(laps, nothing, nothing, ProfilesByPass((), nothing, (), ()), ())
    assert planned_passes._made(shared, HOLES, left_out) == kept
