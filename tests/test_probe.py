"""Probing as a person asks for it: the points, what they keep off, and what is refused."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import shapely

from millprep import job
from millprep.at_machine.probe import _copper, _cuts, _where
from millprep.gcode.probing import surface_program
from millprep.model.finding import Refusal
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.report import report_file
from millprep.verify import reader
from millprep.verify.trace import HOVER
from tests.conftest import EXAMPLES
from tests.helpers import bent, rs274_tool
from tests.helpers.small_job import changed, put, run
from tests.helpers.strip_set import JOB, strip

NAME = "surface-blank-1-pass-{}.ngc"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A set; read it, do not change it."""
    return bent.prepared(tmp_path_factory.mktemp("strip"))


def touches(file: Path) -> list[tuple[float, float]]:
    """Where copper is touched, the second touch of each place aside."""
    trace = reader.read(file.read_text("ascii"), file=file.name)
    return [m.end[:2] for m in trace.moves if m.kind == "probe" and m.by is None]


def cuts(set_: Path, number: int) -> tuple[float, float, float, float]:
    """The box around all feeds of a pass, from the table of motions."""
    rows = [
        line.split(",") for line in (set_ / "toolpaths.csv").read_text("ascii").splitlines()[1:]
    ]
    at = np.array([
        (float(r[5]), float(r[6]))
        for r in rows
        if r[1] == str(number) and r[4] != "rapid" and "dry-run" not in r[2]
    ])  # fmt: skip
    return (*at.min(axis=0).tolist(), *at.max(axis=0).tolist())


@pytest.mark.parametrize("number", [1, 2])
def test_the_points_enclose_what_the_pass_cuts_and_hardly_more(
    made: Path, tmp_path: Path, number: int
) -> None:
    before = {f: f.read_bytes() for f in made.rglob("*") if f.is_file()}
    done = run("probe", made, "--pass", str(number), "--out", tmp_path, "--spacing", "15")
    assert done.exit_code == 0, done.output
    nodes = touches(tmp_path / NAME.format(number))
    zero = tuple(bent.touch(made, number)[0].tolist())
    assert nodes[0] == nodes[-1] == zero
    inner = np.array(nodes[1:-1])
    x0, y0, x1, y1 = cuts(made, number)
    low, high = inner.min(axis=0), inner.max(axis=0)
    assert (low <= [x0, y0]).all()
    assert (high >= [x1, y1]).all()
    # outer lines keep off holes and grooves by no more than half a spacing
    assert (low >= [x0 - 8, y0 - 8]).all()
    assert (high <= [x1 + 8, y1 + 8]).all()
    xs, ys = np.unique(inner[:, 0]), np.unique(inner[:, 1])
    assert len(inner) == len(xs) * len(ys)
    # the set is left alone
    assert before == {f: f.read_bytes() for f in made.rglob("*") if f.is_file()}


def test_points_of_a_later_pass_keep_off_what_was_cut_before(made: Path, tmp_path: Path) -> None:
    assert run("probe", made, "--pass", "2", "--out", tmp_path, "--spacing", "12").exit_code == 0
    one, two = bent.report(made)["passes"]
    shift = two["blank_to_machine"][2] - one["blank_to_machine"][2]
    lines = []
    for program in one["programs"]:
        trace = reader.read((made / program["file"]).read_text("ascii"), file="p")
        for move in trace.moves:
            if move.kind != "rapid" and min(move.start[2], move.end[2]) < 0:
                ends = [(x + shift, y) for x, y in (move.start[:2], move.end[:2])]
                lines.append(shapely.LineString(ends))
    cut = shapely.union_all(lines).buffer(0.1)
    spots = shapely.points(touches(tmp_path / NAME.format(2)))
    assert shapely.distance(cut, spots).min() > 0.2


def test_the_table_is_ready_to_fill_in(made: Path, tmp_path: Path) -> None:
    run("probe", made, "--pass", "1", "--out", tmp_path)
    table = (tmp_path / NAME.format(1)).with_suffix(".csv").read_text("ascii").splitlines()
    set_ = bent.report(made)["set"]
    assert table[1:6] == [f"# set {set_}", "# blank 1", "# pass 1", "# unit mm", "x,y,z"]
    rows = [tuple(map(float, row.split(",")[:2])) for row in table[6:]]
    assert np.array(rows) == pytest.approx(np.array(touches(tmp_path / NAME.format(1))))
    assert all(row.endswith(",") for row in table[6:])


def test_the_same_call_writes_the_same_bytes(made: Path, tmp_path: Path) -> None:
    seen = set()
    for name in ("a", "b"):
        run("probe", made, "--pass", "2", "--out", tmp_path / name)
        files = sorted((tmp_path / name).iterdir())
        seen.add(hashlib.sha256(b"".join(f.read_bytes() for f in files)).hexdigest())
    assert len(seen) == 1


def test_results_as_json(made: Path, tmp_path: Path) -> None:
    done = run("probe", made, "--pass", "1", "--out", tmp_path, "--json")
    row = json.loads(done.stdout)
    assert Path(row["program"]).is_file()
    assert len(row["x"]) >= 3
    assert row["seconds"] > 10


def test_another_cutter_of_the_job_may_touch(made: Path, tmp_path: Path) -> None:
    usual = json.loads(run("probe", made, "--pass", "1", "--out", tmp_path / "a", "--json").stdout)
    words = ("--pass", "1", "--cutter", "drill", "--out", tmp_path / "b", "--json")
    other = json.loads(run("probe", made, *words).stdout)
    heads = [Path(row["program"]).read_text("ascii").splitlines()[:12] for row in (usual, other)]
    assert [any("drill" in line for line in head) for head in heads] == [False, True]
    # it is wider than the tip of a vee, so it keeps farther from the edges of copper
    assert Path(usual["program"]).read_bytes() != Path(other["program"]).read_bytes()


ISLAND = """G21 G90 G17
G0 X30 Y20 Z5
M3 S12000
G1 Z-0.1 F100
G1 X50 F300
G1 Y40
G1 X30
G1 Y20
G0 Z5
M5
M2
"""
"""A groove around 20 x 20 mm of copper."""


@pytest.mark.parametrize(("touches_with", "free"), [("electrical", False), ("switch", True)])
def test_a_switch_touches_copper_that_leads_nowhere_and_a_wire_does_not(
    made: Path, touches_with: Literal["electrical", "switch"], free: bool
) -> None:
    source, plan = report_file.read(made), job.load(made.parent / "job.toml")
    plan = replace(plan, machine=replace(plan.machine, surface_probe=touches_with))
    first, blank = _where(source, 1, 1)
    cut = reader.read(ISLAND, file="island.ngc")
    tip = plan.isolation.cutters[0]
    area = _copper(source, blank, [(cut, tip, first)], first, plan, tip)
    island, groove, beyond = (shapely.Point(40, y) for y in (30, 20, 15))
    assert [area.contains(at) for at in (island, groove, beyond)] == [free, False, True]
    # half of the tip and 0.3 mm off the groove's rim
    off = 20 - shapely.intersection(area, shapely.box(39, 10, 41, 20)).bounds[3]
    assert off == pytest.approx(tip.width(0.1) / 2 + tip.width(0.05) / 2 + 0.3, abs=0.01)


def test_only_what_cuts_has_to_be_enclosed() -> None:
    """Feeds along the groove, 0.01 mm around, and nothing of a look at Z zero or of rapids."""
    cut = reader.read(ISLAND, file="island.ngc")
    assert _cuts([cut]).bounds == pytest.approx((29.99, 19.99, 50.01, 40.01))
    look = f"G21 G90 G17\nG0 X5 Y5 Z5\nG1 Z{HOVER} F50\nM0\nG0 Z5\n"
    first = reader.read(look + ISLAND.partition("\n")[2], file="look.ngc")
    assert _cuts([first]).bounds == _cuts([cut]).bounds
    for nothing in ([], [reader.read(f"{look}M2\n", file="look.ngc")]):
        with pytest.raises(Refusal, match="The pass cuts nothing") as refused:
            _cuts(nothing)
        assert refused.value.exit_code == 2


def test_a_program_that_would_not_enclose_the_cuts_is_refused(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if the last column were left out."""
    whole = surface_program

    def short(lying: MillingPass, x: list[float], *more: Any) -> Program:
        return whole(lying, x[:-1], *more)

    monkeypatch.setattr("millprep.gcode.probing.surface_program", short)
    done = run("probe", made, "--pass", "1", "--out", tmp_path / "out")
    assert done.exit_code == 1
    words = "stop: the probed points do not enclose what the pass cuts. Write the program again."
    assert words in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--pass", "3"], "pass-unknown"),
        (["--pass", "1", "--cutter", "vea"], "cutter-unknown"),
    ],
)
def test_slips_of_the_call(made: Path, tmp_path: Path, words: list[str], code: str) -> None:
    done = run("probe", made, *words, "--out", tmp_path)
    assert done.exit_code == 2
    assert f"[{code}]" in done.stderr


def test_a_set_is_no_place_for_it(made: Path) -> None:
    done = run("probe", made, "--pass", "1", "--out", made)
    assert done.exit_code == 2
    assert "[probe-in-set]" in done.stderr


def test_a_changed_job_is_refused(made: Path, tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    shutil.copy(made.parent / "lamp.dxf", tmp_path)
    job.write_text((made.parent / "job.toml").read_text() + "# changed\n")
    done = run("probe", made, "--pass", "1", "--out", tmp_path / "out", "--job", job)
    assert done.exit_code == 2
    assert "[input-changed]" in done.stderr


def test_a_clamp_on_the_way_is_reported_with_its_remedy(tmp_path: Path) -> None:
    clamp = "\n[[setup.clamp]]\nbox = [2.0, 56.0, 14.0, 64.0]\nheight = 3.0\n"
    job = put(tmp_path, changed("\n[[board]]", clamp + "\n[[board]]", JOB), strip)
    prepared = run("prepare", job, "--out", tmp_path / "set")
    assert prepared.exit_code == 0, prepared.output
    done = run("probe", tmp_path / "set", "--pass", "1", "--out", tmp_path / "out")
    assert done.exit_code == 1, done.output
    assert "[probe-unreachable]" in done.stderr
    assert "Move the clamp" in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(rs274_tool.interpreter() is None, reason="no outside RS-274 interpreter")
@pytest.mark.parametrize("number", [1, 2])
def test_the_outside_interpreter_runs_it_on_the_long_board(
    memory_board: Path, tmp_path: Path, number: int
) -> None:
    job = EXAMPLES / "memory-board.toml"
    done = run("probe", memory_board, "--pass", str(number), "--out", tmp_path, "--job", job)
    assert done.exit_code == 0, done.output
    file = tmp_path / NAME.format(number)
    canon = rs274_tool.canon(file.read_text("ascii"))
    probes = [m for m in canon if m.kind == "probe"]
    theirs = np.array([(m.x, m.y) for m in probes])
    assert theirs == pytest.approx(np.repeat(touches(file), 2, axis=0), abs=1e-3)
    assert {m.z for m in probes[::2]} == {-1.0}
    # counted from where it takes the first touch to have ended
    assert all(abs(m.z + 1.25) <= 0.26 for m in probes[1::2])
