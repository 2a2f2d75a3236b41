"""Sets whose passes are one file each: written, proved, verified, compared, and spoilt."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from millprep.gcode.writing import write_programs
from millprep.model.dialect import Dialect, ToolChange
from millprep.model.finding import Refusal
from millprep.report.report_model import Report
from millprep.verify import prove
from millprep.verify.reader import read
from millprep.workflow.compare import compare
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import dialects, rs274_tool
from tests.helpers.dialects import BOARD, Made, everything
from tests.helpers.interpreted import differences, table
from tests.helpers.rs274_tool import needs_interpreter
from tests.helpers.small_job import changed, put, run

PRESET = 'preset = "small-mill-300"\n'
CUTTERS = ["vee", "deep", "drill", "mill"]
MODES: tuple[ToolChange, ...] = ("pause", "changer")


@pytest.fixture(scope="module", params=MODES)
def joined(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The board with one file for its only pass."""
    folder = tmp_path_factory.mktemp("joined")
    text = changed(PRESET, f'{PRESET}tool_change = "{request.param}"\n', BOARD)
    return dialects.made(folder, text)


@pytest.fixture(scope="module")
def apart(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The same board with a file for every cutter."""
    return dialects.made(tmp_path_factory.mktemp("apart"))


def file_of(made: Made) -> str:
    """The file that holds all cutters."""
    file = made.cut_set.programs[-1].file
    assert file.endswith("-isolate-to-profile.ngc")
    return file


def report_of(folder: Path) -> Any:
    return json.loads((folder / "report.json").read_text("utf-8"))


def test_a_pass_is_one_file_and_its_report_tells_the_parts(joined: Made) -> None:
    names = {p.relative_to(joined.folder).as_posix() for p in joined.folder.rglob("*.ngc")}
    assert names == {p.file for p in joined.cut_set.programs}
    assert {name for name in names if "dry-run" not in name} == {file_of(joined)}
    report = report_of(joined.folder)
    schema = Report.model_json_schema()
    jsonschema.validate(report, schema)
    file = file_of(joined)
    programs = [p for p in report["passes"][0]["programs"] if p["file"] == file]
    assert [p["cutter"] for p in programs] == CUTTERS
    lines = (joined.folder / file).read_text("ascii").splitlines()
    last = 0
    for n, program in enumerate(programs, 1):
        first, end = program["lines"]
        assert first == last + 1
        assert f"part {n} of 4" in "\n".join(lines[first - 1 : first + 1])
        assert f"(cutter {program['cutter']}: " in "\n".join(lines[first - 1 : first + 2])
        last = end
    assert last == len(lines)


def test_a_file_of_its_own_has_no_lines_in_the_report(apart: Made) -> None:
    for program in report_of(apart.folder)["passes"][0]["programs"]:
        assert program["lines"] is None


def test_the_same_is_cut_in_the_same_time(joined: Made, apart: Made) -> None:
    one, two = (report_of(made.folder) for made in (joined, apart))
    for key in ("seconds", "cut_length", "depth", "spindle", "cutting"):
        assert [p[key] for p in one["passes"][0]["programs"]] == [
            p[key] for p in two["passes"][0]["programs"]
        ]
    assert one["boards"][0]["proof"] == two["boards"][0]["proof"]
    assert [c.differs for c in compare(joined.folder, apart.folder)] == [0]
    assert [c.differs for c in compare(apart.folder, joined.folder)] == [0]


def test_the_set_is_verified(joined: Made) -> None:
    verified = verify(joined.folder, joined.plan.file)
    assert verified.good
    assert [f for f in verified.findings if f.severity != "note"] == []


def test_at_every_change_the_spindle_stands_up_over_the_place_where_z_is_zeroed(
    joined: Made,
) -> None:
    file = file_of(joined)
    trace = read((joined.folder / file).read_text("ascii"), file=file)
    required = [s for s in trace.stops if "change to" in s.words]
    numbers = [c.tool for c in trace.tool_changes]
    changer = joined.plan.machine.tool_change == "changer"
    # T is the place among the job's cutters
    assert numbers == ([1, 3, 2, 4] if changer else [])
    assert len(required) == 3 + changer
    touch = joined.cut_set.passes[0].touch
    for stop in required[changer:]:
        end = trace.moves[stop.before - 1].end
        assert end == pytest.approx((*touch, joined.plan.machine.top), abs=1e-4)
        assert not [e for e in trace.spindle if e.line < stop.line][-1].on
        assert f"Set Z zero with it on the copper at X{touch[0]:.4f} Y{touch[1]:.4f}" in stop.words
    assert [re.findall(r"change to ([a-z]+)", s.words)[0] for s in required] == CUTTERS[
        not changer :
    ]


SPOIL: dict[str, tuple[Callable[[str], str], set[str]]] = {
    "another cutter": (lambda t: t.replace("to drill", "to mill"), {"cutter-differs"}),
    "another first cutter": (
        lambda t: t.replace("(cutter vee:", "(cutter mill:").replace("to vee", "to mill"),
        {"cutter-differs"},
    ),
    "two changes swapped": (
        lambda t: re.sub(
            "to (deep|drill)", lambda m: "to deep" if m[1] == "drill" else "to drill", t
        ),
        {"cutter-differs"},
    ),
    "no stop": (lambda t: re.sub(r"\(MSG, change to mill.*\)\nM0\n", "", t), {"cutter-differs"}),
    "no words": (lambda t: re.sub(r"\(MSG, change to mill.*\)\n", "", t), {"cutter-differs"}),
    "spindle on": (lambda t: t.replace("M5\n(blank", "(blank", 1), {"change-unsafe"}),
    "low": (lambda t: t.replace("G0 Z28.0000\nM5\n(blank", "M5\n(blank", 1), {"change-unsafe"}),
    "no way up": (
        lambda t: re.sub(r"(M0\nG21.*\n(?:G6.*\n)?M5\n)G0 Z28.0000\n", r"\1", t), {"first-move"}
    ),
    "no look after a change": (
        lambda t: re.sub(r"(change to mill(?:.*\n)*?)\(MSG, look.*\nM0\n", r"\1", t),
        {"zero-not-shown"},
    ),
    "no dwell": (lambda t: re.sub(r"M3\nG4 P3.0\n(?=G0 X41)", "M3\n", t),
                 {"spindle-not-settled"}),
    "another part": (lambda t: t.replace("G1 Z-2.2004", "G1 Z-2.3004", 1), set()),
}  # fmt: skip


@pytest.mark.parametrize("name", SPOIL)
def test_a_spoilt_change_is_found(name: str, joined: Made, tmp_path: Path) -> None:
    spoil, codes = SPOIL[name]
    write_programs(joined.cut_set, tmp_path)
    file = tmp_path / file_of(joined)
    text = file.read_text("ascii")
    file.write_text(spoil(text))
    assert spoil(text) != text
    found = stops(joined, tmp_path, by_table=False)
    assert codes <= found, found
    # hashes and the table find the rest
    assert codes or stops(joined, tmp_path)


def stops(made: Made, folder: Path, *, by_table: bool = True) -> set[str]:
    try:
        findings = prove.prove(folder, made.plan, made.cut_set.blanks, table=by_table).findings
    except Refusal as refusal:
        findings = refusal.findings
    return {f.code for f in findings if f.severity == "stop"}


def test_a_wrong_number_and_a_change_that_nobody_asked_for_are_found(
    joined: Made, tmp_path: Path
) -> None:
    write_programs(joined.cut_set, tmp_path)
    file = tmp_path / file_of(joined)
    text = file.read_text("ascii")
    changer = joined.plan.machine.tool_change == "changer"
    other = text.replace("M0\nG21", "T4 M6\nM0\nG21", 1)
    spoilt = text.replace("T2 M6", "T4 M6") if changer else other
    file.write_text(spoilt)
    assert stops(joined, tmp_path) & {"cutter-differs", "change-unexpected"}


DIALECTS = [
    Dialect(cycles=True, comments="semicolon", line_numbers=True, percent=True, end="M30"),
    Dialect(arcs=False, decimals=3, line_ends="crlf", dwell_unit="ms", start_lines=("M8",)),
]


@pytest.mark.parametrize("by_program", [True, False])
@pytest.mark.parametrize("dialect", DIALECTS, ids=str)
def test_any_dialect_will_do(
    dialect: Dialect, by_program: bool, joined: Made, tmp_path: Path
) -> None:
    machine = joined.machine(dialect, spindle="program" if by_program else "hand")
    write_programs(replace(joined.cut_set, machine=machine), tmp_path)
    proved = joined.proved(tmp_path, machine)
    assert [f for f in proved.findings if f.severity != "note"] == []


@needs_interpreter
@pytest.mark.parametrize("dialect", [Dialect(), *DIALECTS], ids=str)
def test_the_interpreter_makes_the_table_s_motions(
    dialect: Dialect, joined: Made, tmp_path: Path
) -> None:
    """NISTIR 6556: M0 in 3.6.1, M6 and T in 3.6.3 and 3.7.3, quoted from memory."""
    write_programs(replace(joined.cut_set, machine=joined.machine(dialect)), tmp_path)
    file = file_of(joined)
    canon = rs274_tool.canon((tmp_path / file).read_bytes().decode("ascii"), tools=range(1, 5))
    assert differences(table(tmp_path)[file], canon) == []


def test_a_surface_is_probed_for_a_joined_set(joined: Made, tmp_path: Path) -> None:
    result = run("probe", joined.folder, "--pass", "1", "--out", tmp_path / "surface")
    assert result.exit_code == 0, result.output
    (program,) = (tmp_path / "surface").glob("*.ngc")
    changer = joined.plan.machine.tool_change == "changer"
    assert ("T1 M6" in program.read_text("ascii")) == changer


def test_a_joined_file_is_not_taken_up_in_the_middle(joined: Made, tmp_path: Path) -> None:
    result = run("resume", joined.folder, "profile", "--after", "2", "--out", tmp_path / "again")
    assert result.exit_code == 2
    assert "holds the programs of 4 cutters" in result.output
    assert 'tool_change = "files"' in result.output
    assert not (tmp_path / "again").exists()


def test_a_stop_without_words_is_refused_for_a_joined_file(tmp_path: Path) -> None:
    text = changed(
        PRESET, f'{PRESET}tool_change = "pause"\n[machine.dialect]\ncomments = "none"\n', BOARD
    )
    with pytest.raises(Refusal, match="a comment says which cutter comes next"):
        prepare(put(tmp_path, text, everything), tmp_path / "set")


def test_a_place_of_five_decimals_is_the_place_of_the_report(tmp_path: Path) -> None:
    text = changed(PRESET, f'{PRESET}tool_change = "pause"\n', BOARD)
    text = changed("[blank]\n", "[machine.dialect]\ndecimals = 5\n\n[blank]\n", text)
    made = dialects.made(tmp_path, text)
    assert any("2.12346" in file.read_text("ascii") for file in made.folder.rglob("*.ngc"))
    done = run("verify", made.folder)
    assert done.exit_code == 0, done.output
