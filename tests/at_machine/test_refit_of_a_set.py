"""A refit as a person runs it, on a small board cut in two passes."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from millprep.geometry.pose import Pose
from tests.helpers import small_job
from tests.helpers.small_job import run
from tests.helpers.strip_set import (
    JOB,
    MOVE,
    STEP,
    made,
    pass_2,
    programs,
    readings,
    refit,
    report,
    strip,
    turned,
    write,
)

__all__ = ["made", "turned"]


def test_exact_readings_move_nothing(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 0, done.output
    old, new = report(made / "set"), report(tmp_path / "new")
    assert new["derived_from"] == old["set"] != new["set"]
    assert [i["file"] for i in new["inputs"]] == ["job.toml", "lamp.dxf", "read.toml"]
    # the blank lies in pass 2, and nothing else differs
    assert [row.pop("read") for row in new["passes"]] == [[], ["holes"]]
    assert [row.pop("read") for row in old["passes"]] == [[], []]
    assert new["passes"] == old["passes"]
    assert programs(tmp_path / "new") == programs(made / "set")
    table = "toolpaths.csv"
    assert (tmp_path / "new" / table).read_bytes() == (made / "set" / table).read_bytes()


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
        table_rows = [row for row in csv.DictReader(table) if row["pass"] == "2"]
    return [row for row in table_rows if "dry-run" not in row["program"]]


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
    assert "lies +20.000, +0.000 mm from where it was expected" in done.stderr
    assert "Put the blank closer to its planned place" in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_drawing_that_changed_since(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    job = small_job.put(tmp_path, JOB, strip)
    drawing = tmp_path / "lamp.dxf"
    drawing.write_bytes(drawing.read_bytes().replace(b"84.0", b"83.0"))
    done = refit(made, file, tmp_path / "new", "--job", str(job))
    assert done.exit_code == 2
    assert f"lamp.dxf changed since set {report(made / 'set')['set']} was made" in done.stderr


def test_another_versions_set(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    monkeypatch.setattr("millprep.workflow.identity.__version__", "0.0.0")
    done = refit(made, file, tmp_path / "new")
    assert done.exit_code == 2
    assert "was made by another version of millprep" in done.stderr


def test_a_set_without_the_job_that_it_keeps(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    away = tmp_path / "away" / "set"
    away.mkdir(parents=True)
    (away / "report.json").write_bytes((made / "set" / "report.json").read_bytes())
    done = run("refit", away, file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 1
    assert "job/job.toml is missing" in done.stderr


def test_the_set_that_is_being_cut_is_kept(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "set", tmp_path / "read.toml", Pose())
    done = refit(made, file, made / "set")
    assert done.exit_code == 2
    assert "holds the set that is being cut" in done.stderr
