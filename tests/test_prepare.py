"""The walk end to end: what a set holds, and that an old set is lost to nothing but a new one."""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from millprep import report
from millprep.files import writing
from millprep.model.finding import Refusal
from millprep.report.report_model import Report
from millprep.workflow.prepare import prepare
from tests.conftest import EXAMPLES
from tests.helpers import small_job
from tests.helpers.sets import ROOT, START, contents

WORKS = "register|isolate|clear|drill|bore|profile|engrave|probe|dry-run"


def report_of(folder: Path) -> Any:
    return json.loads((folder / "report.json").read_text("utf-8"))


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "toolpaths.csv").open(newline="") as table:
        return list(csv.DictReader(table))


def programs_of(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*.ngc"))


# The two examples.


def test_no_finding_of_an_example_says_stop(example_set: Path) -> None:
    findings = report_of(example_set)["findings"]
    assert [f for f in findings if f["severity"] == "stop"] == []
    assert "warn" not in {f["severity"] for f in findings}


def test_every_board_of_an_example_is_proved(example_set: Path) -> None:
    boards = report_of(example_set)["boards"]
    assert boards
    for board in boards:
        proof = board["proof"]
        assert (proof["shorts"], proof["opens"]) == (0, 0), board["name"]
        assert proof["pieces"] == len(board["pieces"])


def test_the_long_board_takes_two_passes_within_the_travel(memory_board: Path) -> None:
    loaded = report_of(memory_board)
    assert [p["number"] for p in loaded["passes"]] == [1, 2]
    rows = rows_of(memory_board)
    # pass 0 is the bed's: it bores the holes for the pins
    assert {row["pass"] for row in rows} == {"0", "1", "2"}
    for row in rows:
        # arcs bulge past their ends; the motion rules of the proof look at those
        assert 0.0 <= float(row["x"]) <= 300.0
        assert 0.0 <= float(row["y"]) <= 180.0
    locating = [h for p in loaded["passes"] for h in p["registration"] if h["used_in"] == 2]
    assert len(locating) >= 2
    assert loaded["joins"]


def test_the_small_boards_take_one_pass(indicators: Path) -> None:
    loaded = report_of(indicators)
    assert [(p["blank"], p["number"]) for p in loaded["passes"]] == [(1, 1), (2, 1)]
    assert len(loaded["boards"]) == 30
    assert len({board["name"] for board in loaded["boards"]}) == 6
    assert loaded["joins"] == []


def test_a_set_holds_the_files_of_the_contract(example_set: Path) -> None:
    top = {path.name for path in example_set.iterdir()}
    contract = {"report.json", "sheet.html", "toolpaths.csv", "previews"}
    contract |= {f"blank-{blank['number']}" for blank in report_of(example_set)["blanks"]}
    contract |= {"buzz-out.csv", "as-cut", "layout.toml", "job"}
    offcuts = {name for name in top if re.fullmatch(r"layout-offcut-\d+\.toml", name)}
    assert top - {"spoilboard"} - offcuts == contract
    assert ("spoilboard" in top) == bool(report_of(example_set)["bed"])
    shown = list((example_set / "previews").iterdir())
    assert {path.suffix for path in shown} == {".png", ".svg"}
    assert all(path.stat().st_size > 1000 for path in shown)


def test_programs_are_named_and_numbered(example_set: Path) -> None:
    loaded = report_of(example_set)
    listed: list[str] = [program["file"] for program in loaded["bed"]]
    for one in loaded["passes"]:
        for number, program in enumerate(one["programs"], 1):
            # its works, and the diameter of its cutter or the name of a vee
            name = rf"{number:02d}-{program['work']}(-and-[a-z]+)?-(vee|\d\.\d)\.ngc"
            folder = f"blank-{one['blank']}/pass-{one['number']}"
            assert re.fullmatch(f"{folder}/{name}", program["file"])
            assert re.fullmatch(WORKS, program["work"])
            listed.append(program["file"])
    assert sorted(listed) == programs_of(example_set)


def test_no_cutter_is_put_in_twice_in_a_pass(example_set: Path) -> None:
    for one in report_of(example_set)["passes"]:
        cutting = [p["cutter"] for p in one["programs"] if p["work"] != "dry-run"]
        # verniers and what follows them are cut with the same cutter, which stays in
        put_in = [name for name, _ in itertools.groupby(cutting)]
        assert set(Counter(put_in).values()) == {1}
        # a dry run is made with the cutter that cuts first
        if len(cutting) < len(one["programs"]):
            assert one["programs"][0]["cutter"] == one["programs"][1]["cutter"] == cutting[0]


def test_every_program_and_the_sheet_carry_the_sets_id(example_set: Path) -> None:
    loaded = report_of(example_set)
    for file in programs_of(example_set):
        head = (example_set / file).read_text("ascii").split("\n", 1)[0]
        assert loaded["set"] in head
    assert loaded["set"] in (example_set / "sheet.html").read_text("utf-8")


def test_the_report_keeps_its_schema(example_set: Path) -> None:
    schema = Report.model_json_schema()
    loaded = report_of(example_set)
    jsonschema.validate(loaded, schema, jsonschema.Draft202012Validator)
    del loaded["set"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(loaded, schema, jsonschema.Draft202012Validator)


def test_the_inputs_are_named_with_their_hashes(indicators: Path) -> None:
    inputs = report_of(indicators)["inputs"]
    assert [i["file"] for i in inputs] == [
        "indicators.toml", "lamp-indicator.dxf", "relay-driver.dxf", "fuse-holder.dxf",
        "bleeder.dxf", "coupling.dxf", "lamp-relay.dxf", "indicators-layout.toml",
    ]  # fmt: skip
    for one in inputs:
        assert one["sha256"] == hashlib.sha256((EXAMPLES / one["file"]).read_bytes()).hexdigest()


def test_the_table_of_motion(example_set: Path) -> None:
    head = (example_set / "toolpaths.csv").read_text("ascii").split("\n", 1)[0]
    assert head == "blank,pass,program,line,motion,x,y,z,i,j,feed"
    four = re.compile(r"-?\d+\.\d{4}")
    before = None
    seen: list[tuple[str, str, str]] = []
    for row in rows_of(example_set):
        key = (row["blank"], row["pass"], row["program"])
        if key != before:
            seen.append(key)
            assert row["motion"] == "rapid", "a program starts where a rapid brought it"
        arc = row["motion"].startswith("arc")
        assert row["motion"] in ("rapid", "feed", "arc_cw", "arc_ccw")
        assert all(four.fullmatch(row[word]) for word in "xyz")
        assert all(four.fullmatch(row[word]) if arc else row[word] == "" for word in "ij")
        assert four.fullmatch(row["feed"]) if row["motion"] != "rapid" else row["feed"] == ""
        before = key
    assert len(seen) == len(set(seen)), "the rows of a program stand together"
    named = [
        f"blank-{b}/pass-{p}/{name}" if p != "0" else f"spoilboard/{name}" for b, p, name in seen
    ]
    assert sorted(named) == programs_of(example_set)


def test_programs_are_plain_rs274(example_set: Path) -> None:
    word = re.compile(r"[GMSFXYZIJP]-?\d+(\.\d+)?")
    for file in programs_of(example_set):
        for line in (example_set / file).read_text("ascii").splitlines():
            assert len(line) <= 200
            if line.startswith("("):
                assert line.endswith(")")
                continue
            words = line.split(" ")
            assert all(word.fullmatch(w) for w in words), (file, line)
            assert all("." in w for w in words if w[0] in "XYZIJFSP"), (file, line)
            if any(w[0] in "XYZIJ" for w in words):
                assert words[0] in ("G0", "G1", "G2", "G3")


def test_the_same_inputs_give_the_same_bytes(tmp_path: Path) -> None:
    """Copies that are nested on several blanks, with their names; and in another process."""
    text = small_job.changed('name = "lamp"\n', 'name = "lamp"\ncount = 3\nturns = [0, 90]\n')
    text = small_job.changed("size = [60.0, 50.0]", "size = [75.0, 50.0]\ncount = 3", text)
    job = small_job.put(tmp_path, f"engrave_names = true\n{text}")
    first, again = tmp_path / "first", tmp_path / "again"
    assert len(prepare(job, first).blanks) > 1
    subprocess.run(
        [sys.executable, "-c", START, "prepare", job, "--out", again],
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": "274", "TZ": "Pacific/Auckland"},
        check=True,
        capture_output=True,
    )
    assert contents(again) == contents(first)


# An old set, and what may happen to it.


@pytest.fixture
def old_set(tmp_path: Path) -> Path:
    """A set of the small job; its drawing is then spoilt or not by the test."""
    out = tmp_path / "set"
    prepare(small_job.put(tmp_path), out)
    return out


def narrow(space: Any) -> None:
    small_job.whole(space)
    small_job.track(space, [(12.0, 6.7), (18.0, 6.7)], width=0.2)


def test_a_refused_run_leaves_the_old_set_and_writes_beside_it(old_set: Path) -> None:
    before = contents(old_set)
    job = small_job.put(old_set.parent, what=narrow)
    with pytest.raises(Refusal) as refused:
        prepare(job, old_set)
    assert refused.value.exit_code == 1
    assert contents(old_set) == before
    neighbour = old_set.with_name("set-refused")
    assert programs_of(neighbour) == []
    loaded = report_of(neighbour)
    assert {f["code"] for f in loaded["findings"] if f["severity"] == "stop"} == {"gap-too-narrow"}
    schema = Report.model_json_schema()
    jsonschema.validate(loaded, schema, jsonschema.Draft202012Validator)
    assert "of 0.100 mm" in (neighbour / "findings.txt").read_text("utf-8")
    assert list((neighbour / "previews").glob("*.png"))
    assert {p.name for p in old_set.parent.iterdir()} == {
        "set", "set-refused", "job.toml", "lamp.dxf",
    }  # fmt: skip


def test_a_second_refusal_replaces_the_first(tmp_path: Path) -> None:
    job = small_job.put(tmp_path, what=narrow)
    for _ in range(2):
        with pytest.raises(Refusal):
            prepare(job, tmp_path / "set")
    assert {p.name for p in tmp_path.iterdir()} == {"set-refused", "job.toml", "lamp.dxf"}


def test_a_later_success_replaces_the_set_and_clears_the_refusal(old_set: Path) -> None:
    first = report_of(old_set)["set"]
    with pytest.raises(Refusal):
        prepare(small_job.put(old_set.parent, what=narrow), old_set)
    text = small_job.changed("gap = 0.3", "gap = 0.4")
    prepare(small_job.put(old_set.parent, text), old_set)
    assert report_of(old_set)["set"] != first
    assert {p.name for p in old_set.parent.iterdir()} == {"set", "job.toml", "lamp.dxf"}


def test_a_smaller_set_leaves_no_program_of_the_larger_one(old_set: Path) -> None:
    # without holes there is nothing to drill, so one program less
    def no_holes(space: Any) -> None:
        small_job.edge(space)
        small_job.track(space, [(5.0, 5.0), (9.0, 5.0)], width=2.0)
        small_job.track(space, [(5.0, 15.0), (9.0, 15.0)], width=2.0)

    assert any("drill" in file for file in programs_of(old_set))
    text = small_job.changed('holes = ["wells"]', "holes = []")
    prepare(small_job.put(old_set.parent, text, no_holes), old_set)
    assert not any("drill" in file for file in programs_of(old_set))


@pytest.mark.parametrize("foreign", ["letter.txt", "previews/holiday.jpg", "blank-1/keep.ngc"])
def test_a_folder_with_foreign_files_is_refused(old_set: Path, foreign: str) -> None:
    (old_set / foreign).write_text("mine")
    before = contents(old_set.parent)
    with pytest.raises(Refusal, match=re.escape(foreign)) as refused:
        prepare(old_set.parent / "job.toml", old_set)
    assert refused.value.exit_code == 2
    assert [f.code for f in refused.value.findings] == ["output-not-ours"]
    assert contents(old_set.parent) == before


def test_a_report_that_is_not_ours_does_not_make_a_set(tmp_path: Path) -> None:
    job = small_job.put(tmp_path)
    out = tmp_path / "set"
    out.mkdir()
    (out / "report.json").write_text('{"sales": 12}')
    with pytest.raises(Refusal, match=r"holds report\.json"):
        prepare(job, out)
    assert (out / "report.json").read_text() == '{"sales": 12}'


def test_a_foreign_folder_where_a_refusal_would_go_is_refused(tmp_path: Path) -> None:
    job = small_job.put(tmp_path, what=narrow)
    (tmp_path / "set-refused").mkdir()
    (tmp_path / "set-refused" / "letter.txt").write_text("mine")
    with pytest.raises(Refusal, match=r"letter\.txt") as refused:
        prepare(job, tmp_path / "set")
    assert refused.value.exit_code == 2
    assert (tmp_path / "set-refused" / "letter.txt").read_text() == "mine"


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "set").mkdir()
    prepare(small_job.put(tmp_path), tmp_path / "set")
    assert programs_of(tmp_path / "set")


def test_the_folder_one_stands_in_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = small_job.put(tmp_path)
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    prepare(job, Path())
    assert programs_of(here)


class Broken(Exception):  # noqa: N818
    """Something that nobody foresaw."""


def test_an_error_at_the_last_step_leaves_the_old_set(
    old_set: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(old_set.parent)

    def write(cut_set: object, folder: Path) -> None:
        (folder / "report.json").write_text("{")
        raise Broken

    monkeypatch.setattr(report, "write", write)
    with pytest.raises(Broken):
        prepare(old_set.parent / "job.toml", old_set)
    assert contents(old_set.parent) == before
    assert {p.name for p in old_set.parent.iterdir()} == {"set", "job.toml", "lamp.dxf"}


def test_an_error_between_the_two_renames_brings_the_old_set_back(
    old_set: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(old_set.parent)
    rename = Path.rename

    def fails_into_place(self: Path, target: Path) -> Path:
        if target == old_set and not self.name.startswith(".set-old-"):
            raise Broken
        return rename(self, target)

    monkeypatch.setattr(writing, "_exchanged", lambda *_: False)
    monkeypatch.setattr(Path, "rename", fails_into_place)
    with pytest.raises(Broken):
        prepare(old_set.parent / "job.toml", old_set)
    assert contents(old_set.parent) == before
    assert {p.name for p in old_set.parent.iterdir()} == {"set", "job.toml", "lamp.dxf"}


@pytest.mark.skipif(os.name == "nt", reason="Windows ends a process without a signal")
def test_a_run_ended_from_outside_leaves_the_old_set(indicators: Path, tmp_path: Path) -> None:
    out = tmp_path / "set"
    shutil.copytree(indicators, out)
    before = contents(tmp_path)
    run = subprocess.Popen(
        [sys.executable, "-c", START, "prepare", EXAMPLES / "indicators.toml", "--out", out],
        cwd=ROOT,
        stderr=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
    )
    try:
        while not list(tmp_path.glob(".set-*")):
            assert run.poll() is None, "the run ended before it began to write"
            time.sleep(0.01)
        run.send_signal(signal.SIGTERM)
        assert run.wait(timeout=60) == 128 + signal.SIGTERM
    finally:
        run.kill()
    assert contents(tmp_path) == before
    assert {p.name for p in tmp_path.iterdir()} == {"set"}
