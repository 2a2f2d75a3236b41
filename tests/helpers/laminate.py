"""What is left of the laminate of a blank at a height, as the table of motions cuts it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose


def ways(out: Path, cutter: str, below: float, blank: int = 1) -> list[shapely.LineString]:
    """Ways of a cutter with its tip below a height, blank frame; arcs as they run."""
    row = json.loads((out / "report.json").read_text("utf-8"))
    poses = {
        one["number"]: Pose(*map(float, one["blank_to_machine"])).inverse()
        for one in row["passes"]
        if one["blank"] == blank
    }
    names = {
        (one["number"], program["file"].rsplit("/", 1)[-1])
        for one in row["passes"]
        for program in one["programs"]
        if one["blank"] == blank and program["cutter"] == cutter
    }
    found: list[shapely.LineString] = []
    last: tuple[float, float, float] | None = None
    before = ("", "", "")
    with (out / "toolpaths.csv").open(encoding="ascii", newline="") as file:
        for line in csv.DictReader(file):
            here = (line["blank"], line["pass"], line["program"])
            at = (float(line["x"]), float(line["y"]), float(line["z"]))
            known = (int(line["pass"]), line["program"]) in names and line["blank"] == str(blank)
            if known and here == before and last is not None and max(at[2], last[2]) < below:
                points = _way(line, last, at)
                found.append(shapely.LineString(poses[int(line["pass"])].points(points)))
            last, before = at, here
    return found


def _way(
    line: dict[str, str], start: tuple[float, float, float], end: tuple[float, float, float]
) -> list[tuple[float, float]]:
    if not line["i"]:
        return [start[:2], end[:2]]
    x, y = start[0] + float(line["i"]), start[1] + float(line["j"])
    a = np.arctan2(start[1] - y, start[0] - x)
    b = np.arctan2(end[1] - y, end[0] - x)
    turn = 2 * np.pi
    sweep = (b - a) % turn if line["motion"] == "arc_ccw" else -((a - b) % turn)
    radius = float(np.hypot(start[0] - x, start[1] - y))
    return [
        (x + radius * float(np.cos(a + sweep * t)), y + radius * float(np.sin(a + sweep * t)))
        for t in np.linspace(0.0, 1.0, 17)
    ]


def left(
    out: Path,
    cutter: str,
    below: float,
    laminate: BaseGeometry,
    radius: float,
    blank: int = 1,
) -> list[BaseGeometry]:
    """Pieces of laminate that hang together just below a height."""
    # a trifle wider: two cuts side by side leave no film, and four decimals round
    gone = [way.buffer(radius + 0.005) for way in ways(out, cutter, below, blank)]
    rest = laminate.difference(shapely.union_all(gone))
    return [part for part in shapely.get_parts(rest) if part.area > 0.05]
