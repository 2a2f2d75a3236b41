"""Programs read back: what cannot be read, and the arrays that the review page is drawn from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.finding import Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import ARC_CCW, FEED, RAPID, Move, Program
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.read_back import (
    BlankRuns,
    ReadBack,
    Run,
    motion_rows,
    programs_read,
    read_alone,
    trail_of,
)
from millprep.verify.reader import read
from tests.helpers.invented_set import VEE
from tests.helpers.programs import BLANK, LOOK, MACHINE, TAIL, cut
from tests.helpers.sample_job import write

TEXT = """\
(a head)
G21 G90 G17 G94 G40 G49 G80 G54
G0 Z5.0
S12000 M3
G4 P3.0
G0 X2.0 Y2.0
G1 Z-0.1 F100.0
G4 P0.5
G3 X0.0 Y2.0 I-1.0 J0.0 F200.0
G0 Z5.0
G4 P1.0
M2
"""


def test_lines_kinds_feeds_and_waits() -> None:
    program = Program("p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (7.0, 8.0, 5.0), ())
    trail = trail_of(read(TEXT, file="p.ngc"), program)
    assert trail.line.tolist() == [3, 6, 7, 9, 10]
    assert trail.kind.tolist() == [RAPID, RAPID, FEED, ARC_CCW, RAPID]
    # no word has told X and Y before line 6: the machine stands at the start
    assert trail.xyz.tolist() == [
        [7, 8, 5], [7, 8, 5], [2, 2, 5], [2, 2, -0.1], [0, 2, -0.1], [0, 2, 5],
    ]  # fmt: skip
    assert trail.feed[2:4].tolist() == [100, 200]
    assert np.isnan(trail.feed[[0, 1, 4]]).all()
    assert trail.centre[3].tolist() == [1, 2]
    assert np.isnan(np.delete(trail.centre, 3, axis=0)).all()
    # the wait at the end moves nothing
    assert trail.wait.tolist() == [0, 3, 0, 0.5, 0]


def test_the_trails_of_a_set_are_those_of_its_programs_in_order() -> None:
    mill_pass = MillingPass(1, 1, shapely.box(0, 0, 9, 9), Pose(), (), (1.0, 1.0))
    runs = [Run(program, read(TEXT, file=program.file), mill_pass) for program in named(*"abc")]
    blank = MilledBlank(BLANK)
    both = ReadBack((BlankRuns(blank, tuple(runs[:2])), BlankRuns(blank, tuple(runs[2:]))), ())
    assert [trail.file for trail in both.trails] == ["a", "b", "c"]


def test_a_program_without_moves() -> None:
    program = Program(
        "p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (0.0, 0.0, 5.0), (Move("rapid", 0, 0, 5),)
    )
    trail = trail_of(read("G21 G90\nM2\n", file="p.ngc"), program)
    assert len(trail) == 0
    assert trail.xyz.tolist() == [[0, 0, 5]]


def test_a_trail_cannot_be_changed() -> None:
    program = Program("p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (0.0, 0.0, 5.0), ())
    trail = trail_of(read(TEXT, file="p.ngc"), program)
    with pytest.raises(ValueError, match="read-only"):
        trail.xyz[0] = 1.0


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return replace(
        load(write(tmp_path_factory.mktemp("job"))), machine=replace(MACHINE, max_plunge=300.0)
    )


HEAD = "G17 G21 G40 G49 G54 G61 G80 G90 G94\n"
MAIN = f"{HEAD}{LOOK}M3 S10000\nG4 P2.\n{cut([(10, 10), (20, 10)])}{TAIL}"


def named(*files: str) -> list[Program]:
    return [
        Program(
            file=file, blank=1, mill_pass=1, cutter=VEE, works=("isolate",), depth=0.08,
            spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
        )
        for file in files
    ]  # fmt: skip


def refused(work: Callable[[], object]) -> list[tuple[str, str | None, int | None, str]]:
    with pytest.raises(Refusal) as caught:
        work()
    return [(f.code, f.file, f.line, f.message) for f in caught.value.findings]


def test_programs_that_are_missing_are_named_all_together(tmp_path: Path, plan: JobPlan) -> None:
    (tmp_path / "b.ngc").write_text(MAIN, "ascii")
    found = refused(lambda: programs_read(tmp_path, named("a.ngc", "b.ngc", "c.ngc"), plan))
    assert found == [
        ("file-damaged", "a.ngc", None, "the file is missing."),
        ("file-damaged", "c.ngc", None, "the file is missing."),
    ]


def test_a_file_that_is_no_program_is_refused_with_its_line(tmp_path: Path, plan: JobPlan) -> None:
    (tmp_path / "a.ngc").write_bytes(b"G21\nG90\n(caf\xc3\xa9)\nM2\n")
    (tmp_path / "b.ngc").write_text("G21\nG90\nG5\nM2\n", "ascii")
    programs = named("a.ngc", "b.ngc")
    odd = "the file holds characters that no program may hold. "
    first, second = refused(lambda: programs_read(tmp_path, programs, plan))
    assert first[:3] == ("file-damaged", "a.ngc", 3)
    assert first[3].startswith(odd)
    assert second[1:3] == ("b.ngc", 3)
    # a program that is read by itself is refused alike
    (alone,) = refused(lambda: read_alone(tmp_path, programs[0], MACHINE.dialect))
    assert alone == first


def test_a_file_of_several_cutters_cannot_be_read_alone(tmp_path: Path, plan: JobPlan) -> None:
    change = f"(MSG, change to drill: words. Set Z zero with it)\nM0\n{HEAD}G0 Z2.\n"
    (tmp_path / "a.ngc").write_text(MAIN.replace("M2\n", f"{change}M2\n"), "ascii")
    (program,) = named("a.ngc")
    ((code, _, _, message),) = refused(lambda: read_alone(tmp_path, program, MACHINE.dialect))
    assert code == "resume-several-cutters"
    assert message.startswith("a.ngc holds the programs of 2 cutters and cannot be resumed")


COLUMNS = "blank,pass,program,line,motion,x,y,z,i,j,feed"
ROW = "1,1,a.ngc,9,feed,1.5,2,-0.1,,,300"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "blank,pass\n1,1\n",
        f"{COLUMNS}\n{ROW.replace('1.5', 'one')}\n",
        f"{COLUMNS}\n{ROW[: ROW.index(',2')]}\n",
        # a name twice: a row lacks the cell of the last
        f"blank,{COLUMNS}\n{ROW}\n",
        # all that follows is one cell
        f"{COLUMNS}\n{ROW.replace('1.5', chr(34))}\n" + f"{ROW}\n" * 4000,
    ],
    ids=["empty", "no such columns", "no number", "short", "a column twice", "a stray quote"],
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    table = tmp_path / "toolpaths.csv"
    ((code, file, _, message),) = refused(lambda: motion_rows(table, named("a.ngc")))
    assert (code, file) == ("file-damaged", "toolpaths.csv")
    assert message.startswith("the table of motions cannot be read (No such file or directory).")
    table.write_text(text, "ascii")
    ((code, file, _, message),) = refused(lambda: motion_rows(table, named("a.ngc")))
    assert (code, file) == ("file-damaged", "toolpaths.csv")
    assert message.startswith("the table of motions is damaged (")
