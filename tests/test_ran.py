"""What runs really took: kept in a log, and followed by later estimates of the machine."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from millprep.geometry.pose import Pose
from tests.helpers.small_job import changed, run
from tests.helpers.strip_set import JOB, made, readings

__all__ = ["made"]

LOGGED = changed(
    'preset = "small-mill-300"', 'preset = "small-mill-300"\ntime = { log = "mill.toml" }', JOB
)


def report(folder: Path) -> dict[str, Any]:
    rows: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return rows


def seconds(folder: Path, number: int) -> float:
    """What a pass takes by its report."""
    return float(sum(row["seconds"] for row in report(folder)["passes"][number - 1]["programs"]))


def ran(folder: Path, number: int, minutes: float | None = None, *more: str) -> Result:
    """Log a run of a pass; without minutes one that took what was estimated."""
    took = seconds(folder, number) / 60 if minutes is None else minutes
    return run("ran", folder, "--pass", str(number), "--minutes", str(took), *more)


@pytest.fixture
def set_with_job(made: Path, tmp_path: Path) -> Path:
    """A folder with a set in two passes, its job, which names no log, and its drawing."""
    shutil.copytree(made / "set", tmp_path / "set")
    for file in ("job.toml", "lamp.dxf"):
        shutil.copy(made / file, tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def logged(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a set whose job names a log that is not there yet."""
    folder = tmp_path_factory.mktemp("logged")
    shutil.copy(made / "lamp.dxf", folder)
    (folder / "job.toml").write_text(LOGGED)
    done = run("prepare", folder / "job.toml", "--out", folder / "set")
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture
def mine(logged: Path, tmp_path: Path) -> Path:
    """A copy of that folder."""
    return Path(shutil.copytree(logged, tmp_path / "mine"))


def test_a_run_goes_into_the_folder_of_the_set_and_changes_nothing_of_it(
    set_with_job: Path,
) -> None:
    out = set_with_job / "set"
    program = report(out)["passes"][0]["programs"][1]
    minutes = round(program["seconds"] / 60 * 1.25, 3)
    done = ran(out, 1, minutes, "--program", "2", "--json")
    assert done.exit_code == 0, done.output
    row = json.loads(done.stdout)
    assert row["program"] == program["file"]
    assert row["estimate"] == pytest.approx(program["seconds"] / 60, abs=0.01)
    assert row["factor"] == pytest.approx(1.25, rel=1e-3)
    (logged,) = tomllib.loads((out / "ran.toml").read_text("utf-8"))["run"]
    assert logged["minutes"] == minutes
    assert logged["set"] == report(out)["set"]
    job = set_with_job / "job.toml"
    assert run("verify", out, "--job", job).exit_code == 0
    # what ran is begun; the log outlives its set
    assert run("prepare", job, "--out", out).exit_code == 2
    assert run("prepare", job, "--out", out, "--replace").exit_code == 0
    assert (out / "ran.toml").is_file()
    assert run("verify", out, "--job", job).exit_code == 0


def test_later_estimates_follow_the_log_that_the_job_names(mine: Path) -> None:
    before = report(mine / "set")
    assert before["time_fit"] is None
    assert "mill.toml" not in {row["file"] for row in before["inputs"]}
    for number, factor in ((1, 1.2), (2, 1.3), (1, 1.1)):
        minutes = seconds(mine / "set", number) / 60 * factor
        done = ran(mine / "set", number, minutes)
        assert done.exit_code == 0, done.output
    assert "1.20 times its estimates by 3 earlier runs of this machine" in done.stdout
    assert not (mine / "set" / "ran.toml").exists()
    made = run("prepare", mine / "job.toml", "--out", mine / "new")
    assert made.exit_code == 0, made.output
    assert "by 3 earlier runs of this machine (each within 8 %)" in made.stdout
    after = report(mine / "new")
    assert after["set"] != before["set"]
    assert after["inputs"][-1]["file"] == "mill.toml"
    assert after["time_fit"] == pytest.approx(
        {"factor": 1.2, "runs": 3, "spread": 0.1 / 1.2}, rel=1e-3
    )
    assert after["machine_seconds"] == pytest.approx(before["machine_seconds"] * 1.2, rel=1e-3)
    for key in ("by_feeds_seconds", "least_seconds"):
        assert after[key] == before[key]
    # the estimate of a run is kept as it was before the log corrected it
    again = ran(mine / "new", 1, minutes, "--json")
    assert json.loads(again.stdout)["factor"] == pytest.approx(1.15, rel=1e-3)
    # and no cut depends on the log
    texts = [p["file"] for each in after["passes"] for p in each["programs"]]
    for file in texts:
        old, new = ((mine / name / file).read_text() for name in ("set", "new"))
        assert old.replace(before["set"], after["set"]) == new


def test_a_refit_goes_on_after_the_log_has_grown(mine: Path) -> None:
    assert ran(mine / "set", 1).exit_code == 0
    again = run("prepare", mine / "job.toml", "--out", mine / "set", "--replace")
    assert again.exit_code == 0, again.output
    assert ran(mine / "set", 1).exit_code == 0
    file, _ = readings(mine / "set", mine / "read.toml", Pose.shift(0.4, -0.3))
    done = run("refit", mine / "set", file, "--pass", "2", "--out", mine / "new")
    assert done.exit_code == 0, done.output
    names = [row["file"] for row in report(mine / "new")["inputs"]]
    assert names == ["job.toml", "lamp.dxf", "read.toml", "mill.toml"]
    # the set keeps the log as it was
    assert report(mine / "new")["time_fit"]["runs"] == 1
    verified = run("verify", mine / "new", "--job", mine / "job.toml")
    assert verified.exit_code == 0, verified.output


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--pass", "7", "--minutes", "3"), "no-such-pass"),
        (("--pass", "1", "--program", "70", "--minutes", "3"), "ran-no-such-program"),
        (("--spoilboard", "--program", "0"), "ran-no-such-program"),
        (("--pass", "1", "--minutes", "600"), "ran-minutes"),
        (("--pass", "1", "--minutes", "0.01"), "ran-minutes"),
    ],
)
def test_what_cannot_be_is_refused(set_with_job: Path, words: tuple[str, ...], code: str) -> None:
    done = run("ran", set_with_job / "set", *words)
    assert done.exit_code == 2
    assert code in done.stderr
    assert not (set_with_job / "set" / "ran.toml").exists()


TOO_LONG = (
    f'[[run]]\nmachine = "m"\nset = "s"\nprogram = "p"\nestimate = 1\nminutes = 1{400 * "0"}\n'
)
"""More minutes than a number can hold."""


@pytest.mark.parametrize(
    "text", ["[[run]]\nmachine = 3\n", "run = 1", "no toml", "[[ran]]\n", TOO_LONG]
)
def test_a_log_that_is_none_is_refused(mine: Path, text: str) -> None:
    (mine / "mill.toml").write_text(text)
    for done in (
        ran(mine / "set", 1),
        run("prepare", mine / "job.toml", "--out", mine / "new"),
    ):
        assert done.exit_code == 2
        assert "time-log-unreadable" in done.stderr
    assert (mine / "mill.toml").read_text() == text


def test_without_the_job_that_names_the_log_minutes_are_refused(mine: Path) -> None:
    (mine / "job.toml").rename(mine / "elsewhere.toml")
    done = ran(mine / "set", 1)
    assert done.exit_code == 2
    assert "[job-not-found]" in done.stderr
    assert "names the log mill.toml" in done.stderr
    assert not (mine / "mill.toml").exists()
    assert not (mine / "set" / "done.toml").exists()
    assert ran(mine / "set", 1, None, "--job", str(mine / "elsewhere.toml")).exit_code == 0
    assert (mine / "mill.toml").exists()


def test_runs_of_another_machine_say_nothing_of_this_one(mine: Path) -> None:
    keys = {"set": "x", "program": "x.ngc", "machine": "other"}
    row = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    (mine / "mill.toml").write_text(f"[[run]]\n{row}estimate = 1\nminutes = 2\n")
    made = run("prepare", mine / "job.toml", "--out", mine / "new")
    assert made.exit_code == 0, made.output
    after = report(mine / "new")
    assert after["time_fit"] is None
    assert after["inputs"][-1]["file"] == "mill.toml"


def test_a_set_of_an_older_version_is_refused(set_with_job: Path) -> None:
    rows = report(set_with_job / "set")
    del rows["machine"]
    (set_with_job / "set" / "report.json").write_text(json.dumps(rows, indent=1))
    done = ran(set_with_job / "set", 1)
    assert done.exit_code == 2
    assert "ran-older-set" in done.stderr
