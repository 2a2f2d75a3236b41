"""Verniers as a person uses them, on a small board cut in two passes."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from millprep.geometry.pose import Pose
from millprep.workflow.set_on_disk import load_mark
from tests.helpers import small_job
from tests.helpers.small_job import run
from tests.helpers.strip_set import JOB, at_edge, cut_lines, lines_read, report, strip

MOVE = Pose.turn(0.03).then(Pose.shift(0.06, -0.05))
"""Where the blank lies in pass 2, against where it was found by its holes; machine frame."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("scales")
    done = run("prepare", small_job.put(folder, JOB, strip), "--out", folder / "set")
    assert done.exit_code == 0, done.output
    return folder


def test_combs_stand_where_the_report_says(made: Path) -> None:
    folder = made / "set"
    one, two = report(folder)["passes"]
    assert one["verniers"] == []
    assert {v["measures"] for v in two["verniers"]} == {"x", "y"}
    first = cut_lines(folder, 1, None, Pose(*one["blank_to_machine"]))
    second = cut_lines(folder, 2, "engrave", Pose(*two["blank_to_machine"]))
    for vernier in two["verniers"]:
        assert vernier["passes"] == [1, 2]
        n = np.arange(-vernier["reach"], vernier["reach"] + 1)
        reach = vernier["reach"] * vernier["pitch"]
        assert at_edge(first, vernier, reach) == pytest.approx(n * vernier["pitch"], abs=2e-3)
        assert at_edge(second, vernier, reach) == pytest.approx(
            n * (vernier["pitch"] - vernier["step"]), abs=2e-3
        )


def test_second_combs_come_before_all_else(made: Path) -> None:
    names = [p["file"].rsplit("/", 1)[-1] for p in report(made / "set")["passes"][1]["programs"]]
    works = [p["work"] for p in report(made / "set")["passes"][1]["programs"]]
    assert works[:2] == ["dry-run", "engrave"]
    assert names[1].startswith("02-engrave-")
    text = (made / "set" / "blank-1" / "pass-2" / names[1]).read_text("ascii")
    assert "read them" in text


def test_readings_bring_the_pass_onto_the_blank(made: Path, tmp_path: Path) -> None:
    folder = made / "set"
    expected = Pose(*report(folder)["passes"][1]["blank_to_machine"])
    truth = expected.then(MOVE)
    lines = lines_read(folder, truth)
    file = tmp_path / "read.toml"
    rows = "\n".join(f"{name} = {line:.3f}" for name, line in lines.items())
    file.write_text(f'set = "{report(folder)["set"]}"\n[verniers]\n{rows}\n', encoding="utf-8")
    done = run("refit", folder, file, "--pass", "2", "--vernier", "--out", tmp_path / "new")
    assert done.exit_code == 0, done.output
    assert "refit-vernier" in done.stderr
    found = Pose(*report(tmp_path / "new")["passes"][1]["blank_to_machine"])
    for corner in ((0.0, 0.0), (120.0, 60.0)):
        # lines read to a hundredth of one, ends to a micrometre over a short base
        assert found.point(corner) == pytest.approx(truth.point(corner), abs=3e-3)
    assert run("verify", tmp_path / "new", "--job", made / "job.toml").exit_code == 0


def test_the_new_set_starts_where_the_blank_lies(made: Path, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    shutil.copytree(made / "set", folder)
    assert run("begin", folder, "--pass", "1").exit_code == 0
    lines = lines_read(folder, Pose(*report(folder)["passes"][1]["blank_to_machine"]).then(MOVE))
    file = tmp_path / "read.toml"
    rows = "\n".join(f"{name} = {line:.3f}" for name, line in lines.items())
    file.write_text(f'set = "{report(folder)["set"]}"\n[verniers]\n{rows}\n', encoding="utf-8")
    new = tmp_path / "new"
    job = ("--job", made / "job.toml")
    call = ("refit", folder, "--pass", "2", "--vernier", file, "--out", new, *job)
    done = run(*call)
    assert done.exit_code == 0, done.output
    first, second = report(new)["passes"]
    assert (first["read"], second["read"]) == ([], ["verniers"])
    sheet = (new / "sheet.html").read_text("utf-8")
    # what is cut is ticked and has no page
    assert "Blank 1, pass 1 of 2: cut already" in sheet
    assert "<h2>Blank 1, pass 1 of 2" not in sheet
    start = second["programs"][2]["file"].rsplit("/", 1)[-1]
    assert f"Blank 1, pass 2 of 2, from {start} on" in sheet
    assert sheet.count('<span class="tick done">') == 3
    assert "lies in this pass already" in sheet
    assert "Verniers: how far this pass is off" not in sheet
    # marks of the first set hold, and are no reason to keep a set that nothing was cut with
    mark = load_mark(new)
    assert mark is not None
    assert mark.passes == ((1, 1),)
    again = run(*call)
    assert again.exit_code == 0, again.output
    assert run("begin", new, "--pass", "2").exit_code == 0
    refused = run(*call)
    assert refused.exit_code == 2
    assert "set-begun" in refused.output


def test_a_file_of_the_other_kind_is_refused_by_word(made: Path, tmp_path: Path) -> None:
    file = tmp_path / "read.toml"
    file.write_text('set = "x"\n[verniers]\nv1 = 1\n', encoding="utf-8")
    done = run("refit", made / "set", file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 2
    assert "give it with --vernier" in done.stderr
    assert not (tmp_path / "new").exists()
