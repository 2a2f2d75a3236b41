"""A strip of two rails that is cut in two passes, and refits of it."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
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


MOVE = Pose.turn(STEP).then(Pose.shift(0.4, -0.3))


@pytest.fixture(scope="module")
def turned(made: Path) -> Path:
    """The set refitted to a blank that lies off by `MOVE`."""
    file, _ = readings(made / "set", made / "turned.toml", MOVE)
    done = refit(made, file, made / "turned")
    assert done.exit_code == 0, done.output
    assert "0 shorts, 0 opens" in done.stdout
    return made / "turned"


TOUCHING = '\n[registration]\nmethod = "measure"\nprobe = "electrical"\n'


DEPTH = 0.08


def cut_lines(folder: Path, number: int, program: str | None, lies: Pose) -> np.ndarray[Any, Any]:
    """(n, 2, 2) straight cuts at engraving depth, where they end up on a blank that lies so."""
    rows = []
    before: tuple[str, float, float, float] = ("", 0.0, 0.0, 0.0)
    with (folder / "toolpaths.csv").open() as stream:
        for row in csv.DictReader(stream):
            name, x, y, z = row["program"], float(row["x"]), float(row["y"]), float(row["z"])
            at_depth = z == before[3] == -DEPTH and before[0] == name
            wanted = program is None or program in name
            if at_depth and int(row["pass"]) == number and row["motion"] == "feed" and wanted:
                rows.append([before[1:3], (x, y)])
            before = (name, x, y, z)
    found = np.array(rows)
    return np.asarray(lies.inverse().points(found.reshape(-1, 2)).reshape(found.shape))


def at_edge(
    lines: np.ndarray[Any, Any], vernier: dict[str, Any], reach: float, *, off: float = 0.0
) -> list[float]:
    """Where cuts that end near the common edge of a vernier cross it, along what it measures."""
    along = "xy".index(vernier["measures"])
    across = 1 - along
    at = vernier["at"]
    found = set()
    for line in lines:
        straight = abs(line[0][along] - line[1][along]) < 0.01
        for end in line:
            near = abs(end[across] - at[across]) <= off + 1e-3
            if straight and near and abs(end[along] - at[along]) <= reach + off + 1e-3:
                found.add(round(float(end[along] - at[along]), 3))
    return sorted(found)


def lines_read(folder: Path, truth: Pose) -> dict[str, float]:
    """What a person reads on a blank that truly lies so: where gaps between lines vanish."""
    one, two = report(folder)["passes"]
    first = cut_lines(folder, 1, None, Pose(*one["blank_to_machine"]))
    second = cut_lines(folder, 2, "engrave", truth)
    found = {}
    for vernier in two["verniers"]:
        reach = vernier["reach"] * vernier["pitch"]
        a = np.array(at_edge(first, vernier, reach))
        b = np.array(at_edge(second, vernier, reach, off=0.2))
        assert len(a) == len(b) == 2 * vernier["reach"] + 1
        gaps = b - a
        found[vernier["id"]] = float(
            np.interp(0.0, gaps[::-1], np.arange(vernier["reach"], -vernier["reach"] - 1, -1))
        )
    return found


def program(folder: Path, what: str) -> str:
    """The one program whose file fits."""
    names = [f.relative_to(folder).as_posix() for f in sorted(folder.rglob("*.ngc"))]
    (name,) = (one for one in names if re.search(what, one))
    return name
