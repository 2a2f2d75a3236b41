"""Holes touched by a program, on a small board in two passes: prepared, read, fitted, verified."""

from __future__ import annotations

import csv
import json
import math
import shutil
from pathlib import Path
from typing import Any

import pytest

from millprep.geometry.pose import Pose
from tests.helpers import small_job
from tests.helpers.small_job import run
from tests.helpers.strip_set import JOB, TOUCHING, strip

MOVE = Pose.turn(0.1).then(Pose.shift(0.2, -0.15))
"""Where the blank lies in pass 2, against where it should; machine frame."""
TIP = 2.0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("touched")
    done = run("prepare", small_job.put(folder, JOB + TOUCHING, strip), "--out", folder / "set")
    assert done.exit_code == 0, done.output
    assert "error of 0.0224 mm per axis" in done.stderr
    return folder


def report(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return found


def touched(folder: Path, lies: Pose, *, spoilt: str = "") -> dict[str, dict[str, float]]:
    """What the display shows at every touch of the program of pass 2, on a blank that lies so.

    The tip runs along the table's rows and stops where it meets the rim of a hole.
    """
    second = report(folder)["passes"][1]
    holes = [h for h in second["registration"] if h["role"] != "witness"]
    assert [p["work"] for p in second["programs"]][:2] == ["dry-run", "probe"]
    found: dict[str, dict[str, float]] = {}
    before = (0.0, 0.0, 0.0)
    with (folder / "toolpaths.csv").open() as stream:
        for row in csv.DictReader(stream):
            end = (float(row["x"]), float(row["y"]), float(row["z"]))
            low = row["program"].startswith("02-probe") and before[2] == end[2] < 0
            hole = min(holes, key=lambda h: math.dist(h["machine"], before[:2]))
            if low and math.dist(hole["machine"], before[:2]) < 1e-9:
                (x, y), (cx, cy) = before[:2], lies.point(hole["blank"])
                free = (hole["diameter"] - TIP) / 2
                dx, dy = end[0] - x, end[1] - y
                if dx:
                    stop = cx + math.copysign(math.sqrt(free**2 - (y - cy) ** 2), dx)
                    assert abs(stop - x) < abs(dx)
                    found.setdefault(hole["id"], {})["left" if dx < 0 else "right"] = stop
                else:
                    stop = cy + math.copysign(math.sqrt(free**2 - (x - cx) ** 2), dy)
                    assert abs(stop - y) < abs(dy)
                    found.setdefault(hole["id"], {})["low" if dy < 0 else "high"] = stop
            before = end
    if spoilt:
        found[spoilt]["right"] -= 0.2
    return found


def write(file: Path, set_: str, touches: dict[str, dict[str, float]]) -> Path:
    lines = [
        f"{name} = {{ {', '.join(f'{k} = {v!r}' for k, v in one.items())}, probe = {TIP} }}"
        for name, one in touches.items()
    ]
    file.write_text("\n".join([f'set = "{set_}"', 'unit = "mm"', "[touches]", *lines]))
    return file


def test_a_known_move_is_found_by_touching_and_undone(made: Path, tmp_path: Path) -> None:
    planned = Pose(*report(made / "set")["passes"][1]["blank_to_machine"])
    lies = planned.then(MOVE)
    touches = touched(made / "set", lies)
    assert len(touches) == 4
    assert all(len(one) == 4 for one in touches.values())
    file = write(tmp_path / "read.toml", report(made / "set")["set"], touches)
    done = run("refit", made / "set", file, "--pass", "2", "--touches", "--out", made / "new")
    assert done.exit_code == 0, done.output
    new = report(made / "new")
    found = Pose(*new["passes"][1]["blank_to_machine"])
    for corner in ((0.0, 0.0), (120.0, 0.0), (120.0, 60.0), (0.0, 60.0)):
        assert math.dist(found.point(corner), lies.point(corner)) < 1e-6
    codes = {finding["code"] for finding in new["findings"]}
    assert {"refit-pose", "refit-touched-sizes"} <= codes
    # and touched where they lie now, nothing moves any more
    again = write(tmp_path / "again.toml", new["set"], touched(made / "new", found))
    done = run("refit", made / "new", again, "--pass", "2", "--touches", "--out", made / "third")
    assert done.exit_code == 0, done.output
    assert report(made / "third")["passes"] == new["passes"]


def test_a_burr_is_refused_and_a_file_of_touches_needs_its_option(
    made: Path, tmp_path: Path
) -> None:
    planned = Pose(*report(made / "set")["passes"][1]["blank_to_machine"])
    touches = touched(made / "set", planned, spoilt="r2")
    file = write(tmp_path / "read.toml", report(made / "set")["set"], touches)
    done = run("refit", made / "set", file, "--pass", "2", "--touches", "--out", tmp_path / "new")
    assert done.exit_code == 1
    assert "r2: left and right are" in done.stderr
    assert "a burr" in done.stderr
    done = run("refit", made / "set", file, "--pass", "2", "--out", tmp_path / "new")
    assert done.exit_code == 2
    assert "give it with --touches" in done.stderr
    assert not (tmp_path / "new").exists()


def test_the_set_is_proved_again_and_a_touch_turned_into_a_feed_is_found(
    made: Path, tmp_path: Path
) -> None:
    done = run("verify", made / "set")
    assert done.exit_code == 0, done.output
    shutil.copytree(made / "set", tmp_path / "set")
    (file,) = (tmp_path / "set" / "blank-1" / "pass-2").glob("02-probe-*.ngc")
    file.write_text(file.read_text("ascii").replace("G38.2", "G1"), "ascii")
    done = run("verify", tmp_path / "set", "--job", made / "job.toml")
    assert done.exit_code == 1
    assert "probe-outside-hole" in done.output


def test_the_sheet_tells_how_to_touch(made: Path) -> None:
    text = (made / "set" / "sheet.html").read_text("utf-8")
    assert "touching holes" in text
    assert "millprep refit" in text
    assert "--touches" in text
