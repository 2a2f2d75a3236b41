"""A refit of a set for which something was chosen beside its job: the same choice holds."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from millprep.geometry.pose import Pose
from tests.helpers import small_job
from tests.helpers.small_job import changed, run
from tests.helpers.strip_set import JOB, pass_2, programs, readings, report, strip

TWO = changed(
    "travel = [80.0, 70.0]",
    "travel = [80.0, 95.0]",
    changed(
        "size = [120.0, 60.0]",
        "size = [120.0, 90.0]",
        changed("drawn_from", "count = 2\ndrawn_from", JOB),
    ),
)
CHOICES = {
    "layout": ("--layout", "edited.toml"),
    "layout and skip": ("--layout", "edited.toml", "--skip", "lamp:2"),
    "skip": ("--skip", "lamp:1"),
    "only": ("--only", "lamp:2"),
}


def prepared(folder: Path, choice: str) -> Path:
    """A job with its layout edited by hand, and its set in `set`."""
    job_file = small_job.put(folder, TWO, strip)
    layout = folder / "edited.toml"
    assert run("layout", job_file, "--out", layout).exit_code == 0
    text = layout.read_text("utf-8")
    layout.write_text(text.replace("x =   14.0000", "x =   14.7500"), "utf-8")
    words = [folder / one if one.endswith(".toml") else one for one in CHOICES[choice]]
    done = run("prepare", job_file, "--out", folder / "set", *words)
    assert done.exit_code == 0, done.output
    return folder / "set"


@pytest.mark.parametrize("choice", CHOICES)
def test_what_was_chosen_holds_in_the_new_set(choice: str, tmp_path: Path) -> None:
    made = prepared(tmp_path, choice)
    (tmp_path / "edited.toml").unlink()
    file, pose = readings(made, tmp_path / "readings.toml", Pose.shift(0.2, -0.1))
    done = run("refit", made, file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 0, done.output
    before, after = programs(made), programs(tmp_path / "new")
    assert sorted(before) == sorted(after)
    assert {name for name in before if before[name] != after[name]}
    assert all("pass-2" in name for name in before if before[name] != after[name])
    assert pass_2(tmp_path / "new")["blank_to_machine"] == pytest.approx(pose.as_list())
    boards = [(one["name"], one["copy"]) for one in report(made)["boards"]]
    assert [(one["name"], one["copy"]) for one in report(tmp_path / "new")["boards"]] == boards
    verified = run("verify", tmp_path / "new", "--job", tmp_path / "job.toml")
    assert verified.exit_code == 0, verified.output


def test_a_refit_of_a_refit(tmp_path: Path) -> None:
    made = prepared(tmp_path, "layout")
    once, twice = tmp_path / "once", tmp_path / "twice"
    file, _ = readings(made, tmp_path / "one.toml", Pose.shift(0.2, -0.1))
    assert run("refit", made, file, "--pass", "2", "--out", once).exit_code == 0
    file, _ = readings(once, tmp_path / "two.toml", Pose.shift(-0.1, 0.1))
    again = run("refit", once, file, "--pass", "2", "--out", twice)
    assert again.exit_code == 0, again.output
    assert (twice / "layout.toml").read_bytes() == (made / "layout.toml").read_bytes()


@pytest.mark.parametrize("gone", [True, False])
def test_a_set_without_its_layout_is_refused(gone: bool, tmp_path: Path) -> None:
    made = prepared(tmp_path, "layout")
    file, _ = readings(made, tmp_path / "readings.toml", Pose.shift(0.2, -0.1))
    shutil.copytree(made, tmp_path / "other")
    layout = tmp_path / "other" / "layout.toml"
    if gone:
        layout.unlink()
    else:
        layout.write_text(layout.read_text("utf-8").replace("14.7500", "15.0000"), "utf-8")
    done = run("refit", tmp_path / "other", file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 2
    assert "refit-layout-unknown" in done.stderr
    assert not (tmp_path / "new").exists()
