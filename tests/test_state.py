"""What of a set ran: marked, shown with what is next, and kept in the sets made from it."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from millprep.geometry.pose import Pose
from millprep.model.begun import DONE, FILE, ProgramRun
from tests.helpers import small_job
from tests.helpers.small_job import put, run
from tests.helpers.strip_set import made, program, readings

__all__ = ["made"]


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten in the evening of 28 November 2026, UTC."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1795903200")


@pytest.fixture
def two(made: Path, tmp_path: Path) -> Path:
    """A copy of a set in two passes, its job next to it."""
    shutil.copytree(made / "set", tmp_path / "set")
    for file in ("job.toml", "lamp.dxf"):
        shutil.copy(made / file, tmp_path)
    return tmp_path


def programs(folder: Path, number: int) -> list[dict[str, Any]]:
    report = json.loads((folder / "report.json").read_text("utf-8"))
    rows: list[dict[str, Any]] = report["passes"][number - 1]["programs"]
    return rows


def state(folder: Path) -> dict[str, Any]:
    done = run("state", folder, "--json")
    assert done.exit_code == 0, done.output
    row: dict[str, Any] = json.loads(done.stdout)
    return row


def ran(folder: Path, *words: str) -> None:
    done = run("ran", folder, *words)
    assert done.exit_code == 0, done.output


def test_a_new_set_begins_with_its_first_program(two: Path) -> None:
    (bored,) = json.loads((two / "set" / "report.json").read_text("utf-8"))["bed"]
    assert state(two / "set")["next"]["file"] == bored["file"]
    lines = run("state", two / "set").stdout.splitlines()
    assert lines[1:3] == [
        "spoilboard, once, the blank off",
        f"    1  {Path(bored['file']).name}: not yet",
    ]
    assert f"when it has run: millprep ran {two / 'set'} --spoilboard --program 1" in lines
    ran(two / "set", "--spoilboard")
    first = programs(two / "set", 1)[0]
    lines = run("state", two / "set").stdout.splitlines()
    assert f"first: millprep begin {two / 'set'} --pass 1" in lines
    assert f"next: {first['file']} with {first['cutter']}" in lines
    now = state(two / "set")
    # to cut the spoilboard begins no pass
    assert now["begun"] == []
    assert [(p["pass"], len(p["runs"])) for p in now["programs"]][:2] == [(None, 1), (1, 0)]
    assert now["before"] == []


def test_a_program_is_marked_with_time_and_cutter(two: Path) -> None:
    before = (two / "set" / "report.json").read_bytes()
    second = programs(two / "set", 1)[1]
    ran(two / "set", "--pass", "1", "--program", "2", "--cutter", "vee-2")
    (row,) = tomllib.loads((two / "set" / DONE).read_text("utf-8"))["run"]
    assert row["when"].isoformat() == "2026-11-28T22:00:00+00:00"
    assert (row["file"], row["cutter"], row["fitted"]) == (second["file"], "vee", "vee-2")
    now = state(two / "set")
    assert now["next"]["file"] == programs(two / "set", 1)[2]["file"]
    assert now["begun"] == [{"blank": 1, "pass": 1}]
    lines = run("state", two / "set").stdout
    assert " by vee-2" in lines
    assert f"when it has run: millprep ran {two / 'set'} --pass 1 --program 3" in lines
    # and nothing of the set has changed
    assert (two / "set" / "report.json").read_bytes() == before
    assert run("verify", two / "set").exit_code == 0


def test_marking_twice_changes_nothing_unless_it_ran_again(two: Path) -> None:
    ran(two / "set", "--pass", "1", "--program", "1")
    before = (two / "set" / DONE).read_bytes()
    done = run("ran", two / "set", "--pass", "1", "--program", "1")
    assert "was marked already; --again if it ran once more" in done.stdout
    assert (two / "set" / DONE).read_bytes() == before
    done = run("ran", two / "set", "--pass", "1", "--program", "1", "--again", "--json")
    row = json.loads(done.stdout)
    # without minutes there is no fit to say
    assert (len(row["done"]), row["already"], set(row)) == (1, [], {"done", "already", "bench"})
    assert [len(p["runs"]) for p in state(two / "set")["programs"]][:3] == [0, 2, 0]


def test_a_pass_that_ran_means_that_those_before_it_were_cut(two: Path) -> None:
    ran(two / "set", "--pass", "2")
    now = state(two / "set")
    assert now["begun"] == [{"blank": 1, "pass": 1}, {"blank": 1, "pass": 2}]
    # what was not marked is still listed
    assert now["next"]["pass"] == 1
    ran(two / "set", "--pass", "1")
    assert state(two / "set")["next"] is None
    assert "all passes have run" in run("state", two / "set").stdout
    assert state(two / "set")["seconds_left"] == 0


def test_minutes_of_a_program_are_kept_with_its_mark(two: Path) -> None:
    second = programs(two / "set", 1)[1]
    minutes = round(second["seconds"] / 60, 3)
    ran(two / "set", "--pass", "1", "--program", "2", "--minutes", str(minutes))
    assert state(two / "set")["programs"][2]["runs"][0]["minutes"] == minutes


def test_refit_and_resume_keep_what_ran(two: Path) -> None:
    ran(two / "set", "--pass", "1")
    ran(two / "set", "--pass", "2", "--program", "1")
    kept = (two / "set" / DONE).read_bytes()
    file, _ = readings(two / "set", two / "read.toml", Pose.shift(0.2, 0.1))
    done = run("refit", two / "set", file, "--pass", "2", "--out", two / "new")
    assert done.exit_code == 0, done.output
    assert (two / "new" / DONE).read_bytes() == kept
    old, new = state(two / "set"), state(two / "new")
    assert [bool(p["runs"]) for p in new["programs"]] == [bool(p["runs"]) for p in old["programs"]]
    assert new["next"]["file"] == old["next"]["file"]
    (first,) = (p for p in new["programs"] if (p["pass"], p["program"]) == (1, 1))
    assert first["runs"][0]["set"] == old["set"] != new["set"]
    assert run("verify", two / "new").exit_code == 0
    isolate = program(two / "new", "pass-2/.*isolate")
    done = run("resume", two / "new", isolate, "--after", "2", "--out", two / "rest")
    assert done.exit_code == 0, done.output
    rest = state(two / "rest")
    assert [p["runs"] for p in rest["programs"]] == [[]]
    assert len(rest["before"]) == len(programs(two / "set", 1)) + 1
    done = run("ran", two / "rest", "--spoilboard")
    assert (done.exit_code, "ran-no-such-program" in done.stderr) == (2, True)
    ran(two / "rest", "--pass", "2")
    assert f"go on with set {new['set']}" in run("state", two / "rest").stdout
    assert run("verify", two / "rest").exit_code == 0


def test_what_the_sheet_saved_is_marked(two: Path) -> None:
    now = state(two / "set")
    rows = now["programs"][:2]
    assert [row["pass"] for row in rows] == [None, 1]
    text = f"# Ticked on the sheet of set {now['set']}.\n# 2026-11-28T09:58:00.000Z  Spindle off\n"
    for n, row in enumerate(rows):
        text += f'\n[[run]]\nset = "{now["set"]}"\nfile = "{row["file"]}"\n'
        text += f'cutter = "{row["cutter"]}"\nwhen = 2026-11-28T10:0{n}:00.123Z\n'
    (two / "ticked.toml").write_text(text)
    ran(two / "set", "--from", str(two / "ticked.toml"))
    runs = [p["runs"] for p in state(two / "set")["programs"]][:3]
    assert [[each["when"] for each in one] for one in runs] == [
        ["2026-11-28T10:00:00Z"], ["2026-11-28T10:01:00Z"], [],
    ]  # fmt: skip
    done = run("ran", two / "set", "--from", two / "ticked.toml")
    assert done.stdout.count("was marked already") == 2
    assert len(tomllib.loads((two / "set" / DONE).read_text("utf-8"))["run"]) == 2


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "ran-another-set"),
        ('[[run]]\nset = "0123456789ab"\nfile = "a"\ncutter = "b"\nwhen = 2026-01-01T00:00:00Z\n',
         "ran-another-set"),
        ("[[run]]\nset = 3\n", "done-unreadable"),
        ("no toml [", "done-unreadable"),
    ],
)  # fmt: skip
def test_a_file_that_marks_nothing_of_the_set_is_refused(two: Path, text: str, code: str) -> None:
    (two / "ticked.toml").write_text(text)
    done = run("ran", two / "set", "--from", two / "ticked.toml")
    assert done.exit_code == 2
    assert code in done.stderr
    assert not (two / "set" / DONE).exists()
    assert not (two / "set" / FILE).exists()


def test_a_mark_that_cannot_be_read_is_refused(two: Path) -> None:
    (two / "set" / DONE).write_text("[[run]]\nfile = 3\n")
    for call in (("state", two / "set"), ("ran", two / "set", "--pass", "1")):
        done = run(*call)
        assert done.exit_code == 2
        assert "done-unreadable" in done.stderr
    assert not (two / "set" / FILE).exists()


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--pass", "1", "--from", "job.toml"),
        ("--pass", "1", "--cutter", "x"),
        ("--pass", "7"),
        ("--pass", "1", "--spoilboard"),
    ],
)
def test_slips_of_usage_mark_nothing(
    two: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(two)
    assert run("ran", two / "set", *words).exit_code == 2
    assert not (two / "set" / DONE).exists()


def test_a_run_is_checked() -> None:
    with pytest.raises(TypeError, match="when is a time"):
        ProgramRun("a", "b", "c", "yesterday")  # type: ignore[arg-type]


_, _BELOW_NAME = small_job.JOB.split("\n\n", 1)
_BOARD = _BELOW_NAME[_BELOW_NAME.index("[[board]]") : _BELOW_NAME.index("[cutters.vee]")]
BENCH = _BELOW_NAME.replace(_BOARD, "").replace('"vee-30-0.1"', '"vee-30-0.1"\nlife = 0.25')
ON_BENCH = f'bench = "mill.toml"\n\n{_BOARD}'


@pytest.fixture(scope="module")
def on_bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("on-bench")
    (folder / "mill.toml").write_text(BENCH)
    job = put(folder, ON_BENCH)
    done = run("prepare", job, "--out", folder / "set", "--effort", "low")
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture
def bench(on_bench: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(on_bench, tmp_path / "bench"))


def use(folder: Path, *words: str) -> dict[str, Any]:
    done = run("bench", "log", folder / "mill.toml", "--json", *words)
    assert done.exit_code == 0, done.output
    row: dict[str, Any] = json.loads(done.stdout)
    return row


def test_the_log_of_the_bench_adds_up_metres_minutes_and_boards(bench: Path) -> None:
    assert use(bench)["cutters"] == []
    rows = programs(bench / "set", 1)
    metres = {row["cutter"]: row["cut_length"] / 1000 for row in rows if row["work"] != "dry-run"}
    minutes = round(sum(row["seconds"] for row in rows) / 60, 2)
    ran(bench / "set", "--pass", "1", "--minutes", str(minutes))
    log = use(bench)
    assert {c["cutter"]: c["metres"] for c in log["cutters"]} == pytest.approx(metres, abs=1e-3)
    assert (log["boards"], log["runs"]) == (1, 3)
    # the dry run takes its share of the pass, and is no work of a cutter
    assert 0.3 * minutes < log["minutes"] < minutes
    # another set on the bench adds to the same log, and no hash depends on it
    job = bench / "job.toml"
    done = run("prepare", job, "--out", bench / "other", "--effort", "low")
    assert done.exit_code == 0, done.output
    assert programs(bench / "other", 1) == rows
    assert state(bench / "other")["set"] == state(bench / "set")["set"]
    done = run("ran", bench / "other", "--pass", "1")
    cut = 2 * round(metres["vee"], 4)
    assert f"vee has cut {cut:.2f} m of 0.25 m in 2 runs" in done.stdout
    assert "Replace it, then: millprep bench log --replaced vee" in done.stdout
    assert use(bench)["boards"] == 2


def test_a_cutter_that_was_replaced_counts_anew(bench: Path) -> None:
    ran(bench / "set", "--pass", "1", "--program", "2")
    assert use(bench)["cutters"][0]["metres"] > 0.1
    assert use(bench, "--replaced", "vee")["cutters"][0]["metres"] == 0
    ran(bench / "set", "--pass", "1", "--program", "2", "--again")
    (vee,) = use(bench)["cutters"]
    assert (vee["cutter"], vee["runs"], vee["worn"]) == ("vee", 1, False)
    assert run("bench", "log", bench / "mill.toml", "--replaced", "saw").exit_code == 2


def test_without_its_job_a_set_is_marked_and_the_log_left_out(bench: Path) -> None:
    (bench / "alone").mkdir()
    shutil.move(bench / "set", bench / "alone" / "set")
    done = run("ran", bench / "alone" / "set", "--pass", "1")
    assert done.exit_code == 0
    assert "the log of the bench was left out" in done.stderr
    assert state(bench / "alone" / "set")["next"] is None
    assert use(bench)["runs"] == 0
    done = run(
        "ran", bench / "alone" / "set", "--pass", "1", "--again", "--job", bench / "job.toml"
    )
    assert done.exit_code == 0
    assert use(bench)["runs"] == 3


def test_next_to_a_job_that_cannot_be_read_a_set_is_marked_all_the_same(bench: Path) -> None:
    (bench / "job.toml").write_text("it has become another file")
    done = run("ran", bench / "set", "--pass", "1")
    assert done.exit_code == 0, done.output
    assert "the log of the bench was left out" in done.stderr
    assert state(bench / "set")["next"] is None
    assert use(bench)["runs"] == 0


def test_a_log_of_the_bench_that_is_none_is_refused(bench: Path) -> None:
    (bench / "mill-log.toml").write_text("[[run]]\nwhen = 3\n")
    for call in (("bench", "log", bench / "mill.toml"), ("ran", bench / "set", "--pass", "1")):
        done = run(*call)
        assert done.exit_code == 2
        assert "bench-log-unreadable" in done.stderr
    assert not (bench / "set" / DONE).exists()
