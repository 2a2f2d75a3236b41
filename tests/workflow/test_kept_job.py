"""A set keeps its job: every later command works from the set alone, with the old folder gone."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.cache import Cache
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.finding import Refusal
from millprep.report.report_file import seal, to_text
from millprep.workflow.identity import read_inputs
from millprep.workflow.set_on_disk import WishedSet
from tests.helpers import bent
from tests.helpers.small_job import changed, draw, edge, pad, put, run, whole
from tests.helpers.strip_set import programs, readings, report

SECOND = """\
[[board]]
name = "other"
drawing = "other/lamp.dxf"
drawn_from = "copper"
layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }

[cutters.vee]"""


@pytest.fixture(scope="module")
def strip_set(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The set of a strip in two passes, away from where it was made; that folder is gone."""
    folder = tmp_path_factory.mktemp("strip")
    (folder / "made").mkdir()
    made = bent.prepared(folder / "made")
    copied = folder / "usb stick" / "copied"
    shutil.copytree(made, copied)
    shutil.rmtree(folder / "made")
    return copied


def one_pad(space: Modelspace) -> None:
    edge(space)
    pad(space, 8.0, 6.0)


@pytest.fixture(scope="module")
def two_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two boards whose drawings have the same name in two folders, and their set."""
    root = tmp_path_factory.mktemp("two")
    home = root / "home"
    (home / "jobs" / "other").mkdir(parents=True)
    text = changed('drawing = "lamp.dxf"', 'drawing = "../lamp.dxf"')
    text = changed(
        "size = [60.0, 50.0]", "size = [100.0, 50.0]", changed("[cutters.vee]", SECOND, text)
    )
    job = put(home / "jobs", text)
    shutil.move(home / "jobs" / "lamp.dxf", home / "lamp.dxf")
    draw(home / "jobs" / "other" / "lamp.dxf", one_pad)
    done = run("prepare", job, "--out", root / "set")
    assert done.exit_code == 0, done.output
    return root


@pytest.fixture
def two(two_made: Path, tmp_path: Path) -> Path:
    """That set, next to its home, to be changed."""
    shutil.copytree(two_made, tmp_path, dirs_exist_ok=True)
    return tmp_path / "set"


def resealed(folder: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the report and give it its seal again."""
    row = report(folder)
    change(row)
    row["seal"] = seal(row)
    (folder / "report.json").write_text(to_text(row), "utf-8")


def test_files_of_one_name_are_kept_byte_for_byte_and_found_again(two: Path) -> None:
    home = two.parent / "home"
    given = ["jobs/job.toml", "lamp.dxf", "jobs/other/lamp.dxf"]
    kept = ["job.toml", "lamp.dxf", "lamp-2.dxf"]
    for old, copy in zip(given, kept, strict=True):
        assert (two / "job" / copy).read_bytes() == (home / old).read_bytes()
    rows = json.loads((two / "job" / "files.json").read_bytes())
    assert [(row["name"], row["copy"]) for row in rows] == [
        ("job.toml", "job.toml"),
        ("../lamp.dxf", "lamp.dxf"),
        ("other/lamp.dxf", "lamp-2.dxf"),
    ]
    hashed = {row["file"] for row in report(two)["files"]}
    assert {f"job/{name}" for name in (*kept, "files.json")} <= hashed
    shutil.rmtree(home)
    assert run("verify", two).exit_code == 0
    # the kept job prepares the same programs
    again = run("prepare", two / "job" / "job.toml", "--out", two.parent / "again")
    assert again.exit_code == 0, again.output
    assert report(two.parent / "again")["set"] == report(two)["set"]
    assert programs(two.parent / "again") == programs(two)


def test_a_later_edit_of_the_job_stops_nothing(two: Path) -> None:
    job = two.parent / "home" / "jobs" / "job.toml"
    job.write_text(job.read_text() + "\n# one more thought\n")
    shutil.copy(job, two.parent)
    done = run("resume", two, "isolate", "--after", "2", "--out", two.parent / "rest")
    assert done.exit_code == 0, done.output
    assert run("verify", two.parent / "rest").exit_code == 0
    named = run("verify", two, "--job", job)
    assert named.exit_code == 1
    assert "[input-changed]" in named.stderr


@pytest.mark.parametrize("name", ["job.toml", "lamp-2.dxf", "files.json"])
def test_what_a_set_keeps_is_not_edited(two: Path, name: str) -> None:
    file = two / "job" / name
    file.write_bytes(file.read_bytes() + b"\n")
    done = run("verify", two)
    assert done.exit_code == 1
    assert f"job/{name} was edited after it was written" in done.stderr
    done = run("resume", two, "isolate", "--after", "2", "--out", two.parent / "rest")
    assert done.exit_code == 1
    assert "[set-file-changed]" in done.stderr


def test_a_forged_job_whose_hashes_were_forged_too_is_noticed(two: Path) -> None:
    job = two / "job" / "job.toml"
    job.write_text(job.read_text().replace("gap = 0.3", "gap = 0.2"))
    new = hashlib.sha256(job.read_bytes()).hexdigest()

    def forge(row: dict[str, Any]) -> None:
        for file in row["files"]:
            if file["file"] == "job/job.toml":
                file["sha256"] = new

    resealed(two, forge)
    done = run("verify", two)
    assert done.exit_code == 1
    assert "[input-changed]" in done.stderr


def test_a_file_of_ones_own_among_the_kept_ones_is_not_lost(two: Path) -> None:
    (two / "job" / "notes.txt").write_text("drill first")
    done = run("prepare", two.parent / "home" / "jobs" / "job.toml", "--out", two)
    assert done.exit_code == 2
    assert "holds job/notes.txt" in done.stderr
    assert (two / "job" / "notes.txt").exists()


def test_refit_level_probe_and_resume_need_the_set_alone(
    strip_set: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    file, _ = readings(strip_set, tmp_path / "read.toml", Pose.turn(0.3))
    done = run("refit", strip_set, file, "--pass", "2", "--out", "fitted")
    assert done.exit_code == 0, done.output
    file.unlink()
    assert (tmp_path / "fitted" / "job" / "read.toml").is_file()
    done = run("probe", "fitted", "--pass", "2", "--out", "probing")
    assert done.exit_code == 0, done.output
    (table,) = (tmp_path / "probing").glob("*.csv")
    filled = bent.fill(table, bent.bow, bent.touch(tmp_path / "fitted", 2), bent.NOISE, 1)
    done = run("level", "fitted", filled, "--pass", "2", "--out", "levelled")
    assert done.exit_code == 0, done.output
    shutil.rmtree("fitted")
    shutil.rmtree("probing")
    inputs = ["job.toml", "lamp.dxf", "read.toml", filled.name]
    assert [row["file"] for row in report(tmp_path / "levelled")["inputs"]] == inputs
    assert {p.name for p in (tmp_path / "levelled" / "job").iterdir()} == {*inputs, "files.json"}
    done = run("resume", "levelled", "pass-2/02", "--after", "1", "--out", "resumed")
    assert done.exit_code == 0, done.output
    shutil.rmtree("levelled")
    assert [row["file"] for row in report(tmp_path / "resumed")["inputs"]] == inputs
    done = run("verify", "resumed")
    assert done.exit_code == 0, done.output


def test_a_drawing_of_two_boards_is_one_input_and_those_of_one_name_are_two(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    for drawing, what in (("lamp.dxf", whole), ("other/lamp.dxf", one_pad)):
        boards = SECOND.replace("other/lamp.dxf", drawing)
        job_file = put(tmp_path, changed("[cutters.vee]", boards))
        draw(tmp_path / drawing, what)
        inputs = read_inputs(load(job_file), job_file)
        files = dict.fromkeys(("job.toml", "lamp.dxf", drawing))
        assert [(given.file, given.sha256) for given in inputs] == [
            (file, hashlib.sha256((tmp_path / file).read_bytes()).hexdigest()) for file in files
        ]


def test_a_set_is_known_again_unless_a_file_was_saved_while_it_was_made(tmp_path: Path) -> None:
    job_file, out, cache = put(tmp_path), tmp_path / "set", Cache(tmp_path / "kept")
    out.mkdir()
    (out / "a.ngc").write_bytes(b"M2")

    def wished(effort: str) -> WishedSet:
        return WishedSet(cache, job_file, out, None, effort)

    quiet, spoilt, late = wished("low"), wished("high"), wished("late")
    assert [wish.unchanged() for wish in (quiet, spoilt, late)] == [None, None, None]
    quiet.keep("0123", (), ("2 passes",))
    drawing, index = tmp_path / "lamp.dxf", tmp_path / "files.json"
    again = wished("low").unchanged()
    assert again is not None
    assert (again.id, again.findings, again.lines) == ("0123", (), ("2 passes",))
    assert again.files == {"a.ngc": hashlib.sha256(b"M2").hexdigest()}
    assert again.sources == {
        **{str(f): hashlib.sha256(f.read_bytes()).hexdigest() for f in (job_file, drawing)},
        str(index): None,
    }
    # a file that is changed or comes
    before = drawing.read_bytes()
    drawing.write_bytes(before + b"\n")
    spoilt.keep("4567", (), ())
    assert wished("low").unchanged() is None
    drawing.write_bytes(before)
    index.write_bytes(b"[]")
    assert wished("low").unchanged() is None
    index.unlink()
    assert (wished("low").unchanged(), wished("high").unchanged()) == (again, None)
    # nor is anything kept of a job that was broken meanwhile
    text = job_file.read_bytes()
    job_file.write_text("no job")
    late.keep("89ab", (), ())
    with pytest.raises(Refusal, match="not valid TOML"):
        wished("low").unchanged()
    job_file.write_bytes(text)
    assert (wished("low").unchanged(), wished("late").unchanged()) == (again, None)
    assert len(list((tmp_path / "kept").iterdir())) == 1


def test_a_set_of_an_earlier_version_needs_its_job(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    job = put(home, what=whole)
    assert run("prepare", job, "--out", tmp_path / "set").exit_code == 0
    shutil.rmtree(tmp_path / "set" / "job")

    def older(row: dict[str, Any]) -> None:
        row["files"] = [f for f in row["files"] if not f["file"].startswith("job/")]

    resealed(tmp_path / "set", older)
    done = run("verify", tmp_path / "set")
    assert done.exit_code == 2
    assert "keeps no copy of its job" in done.stderr
    assert "made from job.toml" in done.stderr
    assert run("verify", tmp_path / "set", "--job", job).exit_code == 0
