"""A refit as a person runs it, on a small board cut in two passes."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.geometry.pose import Pose
from tests.helpers import small_job
from tests.helpers.small_job import changed, run

JOB = changed(
    'preset = "small-mill-300"',
    'preset = "small-mill-300"\ntravel = [80.0, 70.0]',
    changed(
        "size = [60.0, 50.0]\nmargin = 10.0",
        "size = [120.0, 60.0]\nmargin = 14.0",
        changed(
            'cutters = ["drill"]\n',
            'cutters = ["drill"]\nborer = "mill"\n',
            changed("tape = true", "tape = true\norigin = [2.0, 3.0]"),
        ),
    ),
)
STEP = 0.3
"""Of the blank's turn, degrees."""


def strip(space: Modelspace) -> None:
    """A board of 90 × 20 mm with two rails from end to end."""
    corners = ((0.0, 0.0), (90.0, 0.0), (90.0, 20.0), (0.0, 20.0))
    for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
        space.add_line(a, b, dxfattribs={"layer": "shore"})
    for y in (6.0, 14.0):
        small_job.track(space, [(6.0, y), (84.0, y)], width=1.0)
        for x in (6.0, 30.0, 84.0):
            small_job.pad(space, x, y)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The job, and its set in `set`; read it, do not change it."""
    folder = tmp_path_factory.mktemp("strip")
    job = small_job.put(folder, JOB, strip)
    done = run("prepare", job, "--out", folder / "set")
    assert done.exit_code == 0, done.output
    return folder


def report(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return found


def pass_2(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = report(folder)["passes"][1]
    return found


def write(file: Path, set_: str, holes: dict[str, tuple[float, float]]) -> Path:
    lines = [f"{name} = [{x!r}, {y!r}]" for name, (x, y) in holes.items()]
    file.write_text("\n".join([f'set = "{set_}"', 'unit = "mm"', "[holes]", *lines]))
    return file


def readings(folder: Path, file: Path, move: Pose) -> tuple[Path, Pose]:
    """Exact readings of a blank that lies off by a move of the machine frame, and its pose."""
    pose = Pose(*pass_2(folder)["blank_to_machine"]).then(move)
    holes = {hole["id"]: pose.point(hole["blank"]) for hole in pass_2(folder)["registration"]}
    return write(file, report(folder)["set"], holes), pose


def programs(folder: Path) -> dict[str, str]:
    """Every program without its set's id."""
    id_ = report(folder)["set"]
    files = sorted(folder.rglob("*.ngc"))
    texts = {file.relative_to(folder).as_posix(): file.read_text("ascii") for file in files}
    assert all(id_ in text for text in texts.values())
    return {name: text.replace(id_, "SET") for name, text in texts.items()}


def refit(made: Path, file: Path, out: Path, *more: str) -> Any:
    return run("refit", made / "set", file, "--pass", "2", "--out", out, *more)


def test_exact_readings_move_nothing(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 0, done.output
    old, new = report(made / "set"), report(tmp_path / "new")
    assert new["derived_from"] == old["set"] != new["set"]
    assert [i["file"] for i in new["inputs"]] == ["job.toml", "lamp.dxf", "read.toml"]
    assert new["passes"] == old["passes"]
    assert programs(tmp_path / "new") == programs(made / "set")
    table = "toolpaths.csv"
    assert (tmp_path / "new" / table).read_bytes() == (made / "set" / table).read_bytes()


MOVE = Pose.turn(STEP).then(Pose.shift(0.4, -0.3))


@pytest.fixture(scope="module")
def turned(made: Path) -> Path:
    """The set refitted to a blank that lies off by `MOVE`."""
    file, _ = readings(made / "set", made / "turned.toml", MOVE)
    done = refit(made, file, made / "turned")
    assert done.exit_code == 0, done.output
    assert "0 shorts, 0 opens" in done.stdout
    return made / "turned"


def test_a_known_move_is_undone_and_nothing_else_changes(made: Path, turned: Path) -> None:
    pose = Pose(*pass_2(made / "set")["blank_to_machine"]).then(MOVE)
    found = Pose(*pass_2(turned)["blank_to_machine"])
    for corner in ((0.0, 0.0), (120.0, 0.0), (120.0, 60.0), (0.0, 60.0)):
        assert found.point(corner) == pytest.approx(pose.point(corner), abs=1e-6)
    old, new = programs(made / "set"), programs(turned)
    assert old.keys() == new.keys()
    moved = {name for name in old if old[name] != new[name]}
    assert moved == {name for name in old if "/pass-2/" in name}
    before, after = report(made / "set"), report(turned)
    assert before["joins"] == after["joins"]
    assert before["passes"][0] == after["passes"][0]
    # what is cut is the same but for the last digit of the programs
    for one, other in zip(before["boards"], after["boards"], strict=True):
        mine, new_ = flat(one["proof"]), flat(other["proof"])
        # what is as narrow all along has its place anywhere along it
        places = {key for key in mine if any(str(name).endswith("at") for name in key)}
        assert len(mine) - len(places) >= 10
        assert mine.keys() == new_.keys()
        for key in mine.keys() - places:
            assert mine[key] == pytest.approx(new_[key], abs=3e-4), key


def flat(value: Any, *key: str | int) -> dict[tuple[str | int, ...], Any]:
    """Every plain value within lists and tables, by the way that leads to it."""
    if isinstance(value, dict):
        parts = list(value.items())
    elif isinstance(value, list):
        parts = list(enumerate(value))
    else:
        return {key: value}
    return {k: v for name, part in parts for k, v in flat(part, *key, name).items()}


def rows(folder: Path) -> list[dict[str, str]]:
    """All motion of pass 2 but its dry run, which goes around by corners of its own."""
    with (folder / "toolpaths.csv").open(newline="") as table:
        told = [row for row in csv.DictReader(table) if row["pass"] == "2"]
    return [row for row in told if "dry-run" not in row["program"]]


def test_every_place_of_the_pass_is_moved_as_the_blank_is(made: Path, turned: Path) -> None:
    old, new = rows(made / "set"), rows(turned)
    assert len(old) == len(new) > 100
    for a, b in zip(old, new, strict=True):
        same = ("program", "line", "motion", "z", "feed")
        assert [a[k] for k in same] == [b[k] for k in same]
        at = MOVE.point((float(a["x"]), float(a["y"])))
        assert (float(b["x"]), float(b["y"])) == pytest.approx(at, abs=1.01e-4)


def test_the_same_readings_give_the_same_bytes(made: Path, turned: Path, tmp_path: Path) -> None:
    assert refit(made, made / "turned.toml", tmp_path / "again").exit_code == 0
    files = [one for one in turned.rglob("*") if one.is_file()]
    assert len(files) > 10
    for one in files:
        other = tmp_path / "again" / one.relative_to(turned)
        assert one.read_bytes() == other.read_bytes()


def test_a_refit_of_a_refit(made: Path, tmp_path: Path) -> None:
    """The second move is counted from where the first set had the blank."""
    file, _ = readings(made / "set", tmp_path / "one.toml", Pose.turn(STEP))
    assert refit(made, file, tmp_path / "one").exit_code == 0
    again, pose = readings(tmp_path / "one", tmp_path / "two.toml", Pose.shift(0.2, 0.1))
    done = run(
        "refit", tmp_path / "one", again, "--pass", "2", "--out", tmp_path / "two",
        "--job", made / "job.toml",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    two = report(tmp_path / "two")
    assert two["derived_from"] == report(tmp_path / "one")["set"]
    assert [i["file"] for i in two["inputs"]][2:] == ["one.toml", "two.toml"]
    found = Pose(*two["passes"][1]["blank_to_machine"])
    assert found.point((120.0, 60.0)) == pytest.approx(pose.point((120.0, 60.0)), abs=1e-6)


def test_a_slip_in_the_readings_leaves_nothing(made: Path, tmp_path: Path) -> None:
    holes = {h["id"]: tuple(h["machine"]) for h in pass_2(made / "set")["registration"]}
    holes["r1"], holes["r2"] = holes["r2"], holes["r1"]
    file = write(tmp_path / "read.toml", report(made / "set")["set"], holes)
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 1
    assert "r1 and r2 are swapped" in done.stderr
    assert {p.name for p in tmp_path.iterdir()} == {"read.toml"}


def test_a_blank_beyond_the_travel_is_refused_by_the_proof(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose.shift(20.0, 0.0))
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 1
    assert "[outside-travel]" in done.stderr
    assert "found +20.000, +0.000 mm from where it was expected" in done.stderr
    assert "Put it back nearer to its place" in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_drawing_that_changed_since(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    job = small_job.put(tmp_path, JOB, strip)
    drawing = tmp_path / "lamp.dxf"
    drawing.write_bytes(drawing.read_bytes().replace(b"84.0", b"83.0"))
    done = refit(made, file, tmp_path / "new", "--job", str(job))
    assert done.exit_code == 2
    assert f"lamp.dxf changed since set {report(made / 'set')['set']} was made" in done.stderr


def test_another_versions_set(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    monkeypatch.setattr("millprep.workflow.inputs.__version__", "0.0.0")
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 2
    assert "was made by another version of millprep" in done.stderr


def test_a_job_that_is_nowhere(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    away = tmp_path / "away" / "set"
    away.mkdir(parents=True)
    (away / "report.json").write_bytes((made / "set" / "report.json").read_bytes())
    done = run("refit", away, file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 2
    assert "Say where it is with --job" in done.stderr


def test_the_set_that_is_being_cut_is_kept(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    done = refit(made, file, made / "set")
    assert done.exit_code == 2
    assert "holds the set that is being cut; keep it" in done.stderr
