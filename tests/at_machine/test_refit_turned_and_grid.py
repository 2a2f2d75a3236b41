"""Refits of a blank that is turned and of one cut in a grid of passes, as a person runs them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.geometry.pose import Pose
from tests.helpers import small_job
from tests.helpers.small_job import changed, run
from tests.helpers.strip_set import JOB, lines_read, programs, report, strip, write

TURNED = changed("tape = true", "tape = true\nturn = true", JOB)
GRID = changed(
    "travel = [80.0, 70.0]",
    "travel = [80.0, 70.0]\ntravel_margin = 0.0",
    changed("size = [120.0, 60.0]", "size = [120.0, 110.0]", JOB),
)
MOVE = Pose.turn(-0.25).then(Pose.shift(-0.3, 0.4))


def field(space: Modelspace) -> None:
    """A board of 90 × 80 mm with a rail along every side."""
    corners = ((0.0, 0.0), (90.0, 0.0), (90.0, 80.0), (0.0, 80.0))
    for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
        space.add_line(a, b, dxfattribs={"layer": "shore"})
    for y in (6.0, 74.0):
        small_job.track(space, [(14.0, y), (76.0, y)], width=1.0)
        small_job.pad(space, 14.0, y)
    for x in (6.0, 84.0):
        small_job.track(space, [(x, 14.0), (x, 66.0)], width=1.0)
        small_job.pad(space, x, 14.0)


@pytest.fixture(scope="module", params=["turned", "grid"])
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Job and set, the pass that is refitted the last; read it, do not change it."""
    folder = tmp_path_factory.mktemp(request.param)
    job = small_job.put(folder, *((TURNED, strip) if request.param == "turned" else (GRID, field)))
    done = run("prepare", job, "--out", folder / "set")
    assert done.exit_code == 0, done.output
    assert len(report(folder / "set")["passes"]) == (2 if request.param == "turned" else 4)
    return folder


def last(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = report(folder)["passes"][-1]
    return found


def refit(made: Path, file: Path, move: Pose, out: Path) -> Pose:
    """A refit of the last pass with exact readings of a blank that lies off by a move."""
    one = last(made / "set")
    lies = Pose(*one["blank_to_machine"]).then(move)
    holes = {h["id"]: lies.point(h["blank"]) for h in one["registration"] if h["role"] != "witness"}
    write(file, report(made / "set")["set"], holes)
    done = run("refit", made / "set", file, "--pass", str(one["number"]), "--out", out)
    assert done.exit_code == 0, done.output
    assert "0 shorts, 0 opens" in done.stdout
    return lies


def test_exact_readings_move_nothing(made: Path, tmp_path: Path) -> None:
    refit(made, tmp_path / "read.toml", Pose(), tmp_path / "new")
    old, new = (report(folder)["passes"] for folder in (made / "set", tmp_path / "new"))
    # where the blank lies is known, and nothing else differs
    assert sum(row.pop("read") == ["holes"] for row in new) == 1
    assert [row.pop("read") for row in old] == [[]] * len(new)
    assert new == old
    assert programs(tmp_path / "new") == programs(made / "set")


def test_a_known_move_is_undone(made: Path, tmp_path: Path) -> None:
    lies = refit(made, tmp_path / "read.toml", MOVE, tmp_path / "new")
    found = Pose(*last(tmp_path / "new")["blank_to_machine"])
    for corner in ((0.0, 0.0), (120.0, 0.0), (120.0, 110.0), (0.0, 110.0)):
        assert math.dist(found.point(corner), lies.point(corner)) < 1e-6
    before, after = programs(made / "set"), programs(tmp_path / "new")
    number = last(made / "set")["number"]
    moved = {name for name in before if before[name] != after[name]}
    assert moved
    assert all(name.startswith(f"blank-1/pass-{number}/") for name in moved)


def test_verniers_of_a_turned_pass_bring_it_onto_the_blank(tmp_path: Path) -> None:
    job = small_job.put(tmp_path, TURNED, strip)
    done = run("prepare", job, "--out", tmp_path / "set")
    assert done.exit_code == 0, done.output
    expected = Pose(*last(tmp_path / "set")["blank_to_machine"])
    assert expected.a == -1.0
    truth = expected.then(Pose.turn(0.03).then(Pose.shift(0.09, -0.02)))
    lines = lines_read(tmp_path / "set", truth)
    assert {v["measures"] for v in last(tmp_path / "set")["verniers"]} == {"x", "y"}
    rows = "\n".join(f"{name} = {line:.3f}" for name, line in lines.items())
    file = tmp_path / "read.toml"
    set_ = report(tmp_path / "set")["set"]
    file.write_text(f'set = "{set_}"\n[verniers]\n{rows}\n', encoding="utf-8")
    done = run(
        "refit", tmp_path / "set", file, "--pass", "2", "--vernier", "--out", tmp_path / "new"
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    found = Pose(*last(tmp_path / "new")["blank_to_machine"])
    for corner in ((0.0, 0.0), (120.0, 60.0)):
        # lines read to a hundredth of one, ends to a micrometre over a short base
        assert found.point(corner) == pytest.approx(truth.point(corner), abs=3e-3)
