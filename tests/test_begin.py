"""A set that is begun: marked, told, and not replaced by mistake."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from millprep.geometry.pose import Pose
from millprep.model.begun import FILE, Begun
from tests.helpers import small_job
from tests.helpers.sets import ISOLATE
from tests.helpers.small_job import changed, run
from tests.helpers.strip_set import made, program, readings

__all__ = ["made"]


def report(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return found


@pytest.fixture
def two(made: Path, tmp_path: Path) -> Path:
    """A copy of a set in two passes, its job beside it."""
    shutil.copytree(made / "set", tmp_path / "set")
    for file in ("job.toml", "lamp.dxf"):
        shutil.copy(made / file, tmp_path)
    return tmp_path


def tree(folder: Path) -> dict[str, bytes]:
    return {
        f.relative_to(folder).as_posix(): f.read_bytes() for f in folder.rglob("*") if f.is_file()
    }


def test_the_mark_is_a_file_of_its_own_and_changes_nothing(two: Path) -> None:
    before = tree(two / "set")
    done = run("begin", two / "set", "--pass", "1")
    assert done.exit_code == 0, done.output
    assert "is begun: pass 1 of blank 1" in done.stdout
    after = tree(two / "set")
    mark = after.pop(FILE).decode()
    assert after == before
    assert f'set = "{report(two / "set")["set"]}"' in mark
    # and nothing of the day it was made on
    assert run("begin", two / "set", "--pass", "2").exit_code == 0
    again = (two / "set" / FILE).read_text()
    assert again.startswith(mark)
    assert [f.name for f in two.iterdir() if f.name.startswith(".")] == []


def test_marking_twice_changes_nothing_and_says_so(two: Path) -> None:
    run("begin", two / "set", "--pass", "1")
    before = tree(two / "set")
    done = run("begin", two / "set", "--pass", "1")
    assert done.exit_code == 0
    assert "was marked already" in done.stdout
    assert tree(two / "set") == before
    loaded = json.loads(run("begin", two / "set", "--pass", "1", "--json").stdout)
    assert loaded == {
        "set": report(two / "set")["set"], "begun": [{"blank": 1, "pass": 1}], "new": False,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--pass", "2"), "Pass 1 of blank 1 is cut before pass 2 and is not marked"),
        (("--pass", "3"), "It has blank 1 pass 1, blank 1 pass 2"),
        (("--pass", "1", "--blank", "2"), "no blank 2 pass 1"),
        (("--pass", "0"), "no blank 1 pass 0"),
    ],
)
def test_mistakes_are_reported_and_mark_nothing(
    two: Path, words: tuple[str, ...], told: str
) -> None:
    done = run("begin", two / "set", *words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert not (two / "set" / FILE).exists()
    assert "findings" in json.loads(run("begin", two / "set", *words, "--json").stdout)


def test_no_set_no_mark(tmp_path: Path) -> None:
    done = run("begin", tmp_path, "--pass", "1")
    assert done.exit_code == 2
    assert "set-unreadable" in done.stderr


def test_a_set_that_is_begun_is_replaced_only_when_asked(two: Path) -> None:
    run("begin", two / "set", "--pass", "1")
    before = tree(two / "set")
    done = run("prepare", two / "job.toml", "--out", two / "set")
    assert done.exit_code == 2
    assert "is begun: pass 1 of blank 1" in done.stderr
    assert "--replace" in done.stderr
    assert tree(two / "set") == before
    done = run("prepare", two / "job.toml", "--out", two / "set", "--replace")
    assert done.exit_code == 0, done.output
    # the new set has not been cut
    before.pop(FILE)
    assert tree(two / "set") == before


def test_the_mark_counts_for_every_command_that_writes_sets(two: Path) -> None:
    shutil.copytree(two / "set", two / "other")
    run("begin", two / "other", "--pass", "1")
    file, _ = readings(two / "set", two / "read.toml", Pose())
    isolate = program(two / "set", "pass-2/.*isolate")
    calls = (
        ("refit", two / "set", file, "--pass", "2", "--out", two / "other"),
        ("resume", two / "set", isolate, "--after", "2", "--out", two / "other"),
        ("demo", two / "other"),
    )
    before = tree(two / "other")
    for call in calls:
        done = run(*call)
        assert done.exit_code == 2, call
        assert "set-begun" in done.stderr
        assert tree(two / "other") == before
    assert run(*calls[1], "--replace").exit_code == 0
    assert report(two / "other")["derived_from"] == report(two / "set")["set"]


ENDLESS = 'set = "x"\n[[pass]]\nblank = inf\nnumber = 1\n'


@pytest.mark.parametrize(
    "text", ["no toml at all [", 'set = "x"\npass = 3\n', 'set = "x"\n', ENDLESS]
)
def test_a_mark_that_cannot_be_read_still_protects(two: Path, text: str) -> None:
    (two / "set" / FILE).write_text(text)
    done = run("prepare", two / "job.toml", "--out", two / "set")
    assert done.exit_code == 2
    assert "cannot be read" in done.stderr
    for call in (("verify", two / "set"), ("show", two / "set", "--json"),
                 ("begin", two / "set", "--pass", "1")):  # fmt: skip
        outcome = run(*call)
        assert outcome.exit_code == 2
        assert "begun-unreadable" in outcome.stderr


def test_verify_and_show_tell_it(two: Path) -> None:
    assert json.loads(run("show", two / "set", "--json").stdout)["begun"] == []
    run("begin", two / "set", "--pass", "1")
    done = run("verify", two / "set", "--job", two / "job.toml")
    assert done.exit_code == 0, done.output
    assert "The set is begun: pass 1 of blank 1" in done.stderr
    loaded = json.loads(run("show", two / "set", "--json").stdout)
    assert loaded["begun"] == [{"blank": 1, "pass": 1}]


def test_the_mark_of_another_set_is_found(two: Path) -> None:
    run("begin", two / "set", "--pass", "1")
    mark = (two / "set" / FILE).read_text()
    own = report(two / "set")["set"]
    (two / "set" / FILE).write_text(mark.replace(own, "0123456789ab"))
    done = run("verify", two / "set", "--job", two / "job.toml")
    assert done.exit_code == 1
    assert "begun-another-set" in done.stderr
    done = run("begin", two / "set", "--pass", "2")
    assert done.exit_code == 2
    assert "marks set 0123456789ab" in done.stderr


def test_a_mark_names_something() -> None:
    for passes in ((), ((0, 1),), ((1, 0),)):
        with pytest.raises(ValueError, match="a mark names"):
            Begun("0123456789ab", passes)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sets of one board that differ in the gap."""
    folder = tmp_path_factory.mktemp("pair")
    for name, text in (("one", small_job.JOB), ("two", changed("gap = 0.3", "gap = 0.35"))):
        (folder / name).mkdir()
        job = small_job.put(folder / name, text)
        assert run("prepare", job, "--out", folder / name / "set").exit_code == 0
    return folder


def test_a_program_of_another_set_is_found_by_the_id_in_its_head(
    pair: Path, tmp_path: Path
) -> None:
    shutil.copytree(pair / "one", tmp_path / "one")
    mixed = tmp_path / "one" / "set"
    shutil.copy(pair / "two" / "set" / ISOLATE, mixed / ISOLATE)
    shutil.copy(pair / "two" / "set" / ISOLATE, mixed / ISOLATE.replace("02-", "07-"))
    own, other = report(mixed)["set"], report(pair / "two" / "set")["set"]
    done = run("verify", mixed, "--job", tmp_path / "one" / "job.toml")
    assert done.exit_code == 1
    lines = [one for one in done.stderr.splitlines() if "program-of-another-set" in one]
    assert len(lines) == 2
    assert all(f"a program of set {other}, and this is set {own}" in one for one in lines)
    # what is damaged and its own is told as before
    shutil.copy(pair / "one" / "set" / ISOLATE, mixed / ISOLATE)
    text = (mixed / ISOLATE).read_text("ascii")
    (mixed / ISOLATE).write_text(text.replace("Z-0.0800", "Z-0.0801", 1), "ascii")
    done = run("verify", mixed, "--job", tmp_path / "one" / "job.toml")
    assert "02-isolate-vee.ngc was edited after it was written" in done.stderr


def test_a_resumed_set_is_verified_and_not_refitted(two: Path) -> None:
    isolate = program(two / "set", "pass-2/.*isolate")
    new = two / "new"
    assert run("resume", two / "set", isolate, "--after", "2", "--out", new).exit_code == 0
    good = run("verify", new, "--job", two / "job.toml")
    assert good.exit_code == 0, good.output
    assert "goes on where a cutter broke" in good.stdout
    file = new / program(new, "resumed")
    text = file.read_text("ascii")
    file.write_text(text.replace("Z-0.0800", "Z-0.0900"), "ascii")
    bad = run("verify", new, "--job", two / "job.toml")
    assert bad.exit_code == 1
    assert "was edited after it was written" in bad.stderr
    assert "file-differs" in bad.stderr
    mark = run("begin", new, "--pass", "2")
    assert mark.exit_code == 0, mark.output
    read, _ = readings(two / "set", two / "read.toml", Pose())
    outcome = run("refit", new, read, "--pass", "2", "--out", two / "x", "--job", two / "job.toml")
    assert outcome.exit_code == 2
    assert "only resumes after a broken cutter" in outcome.stderr
