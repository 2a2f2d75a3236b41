"""A long board and many small ones on a blank longer than the travel, whole; all invented."""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import shapely

from fixtures.valve_boards import valve_board
from fixtures.wide_boards import write_job
from millprep.geometry.pose import Pose
from tests.helpers import small_job

Copy = tuple[str, int]


def put(
    folder: Path, *, count: int = 24, margin: float = 12.0, setup: str = "", blank: str = ""
) -> Path:
    """A board of 480 mm and small ones, a blank of 600 × 200 mm, a travel of 300 mm."""
    long = replace(valve_board(3, 480.0).board, name="long")
    file = write_job(long, folder, travel=(300, 220), size=(600, 200), margin=margin, setup=setup)
    small_job.draw(folder / "lamp.dxf")
    lamps = f"""[[board]]
name = "lamp"
drawing = "lamp.dxf"
drawn_from = "copper"
count = {count}
turns = [0, 90]
layers = {{ copper = ["sheen"], outline = ["shore"], holes = ["wells"] }}

"""
    text = small_job.changed("[cutters.vee]", f"{lamps}[cutters.vee]", file.read_text("utf-8"))
    file.write_text(small_job.changed("[setup]", f"{blank}[setup]", text), "utf-8")
    return file


def passes_of(out: Path) -> dict[Copy, set[int]]:
    """By every copy of a set the passes that cut it, as its table of motions tells."""
    row = json.loads((out / "report.json").read_text("utf-8"))
    poses = {
        (one["blank"], one["number"]): Pose(*map(float, one["blank_to_machine"])).inverse()
        for one in row["passes"]
    }
    areas = {
        (one["name"], one["copy"], one["blank"]): Pose(*map(float, one["drawing_to_blank"]))
        .shape(shapely.Polygon(one["outline"]))
        .buffer(1.5)
        for one in row["boards"]
    }
    found: dict[Copy, set[int]] = defaultdict(set)
    with (out / "toolpaths.csv").open(encoding="ascii", newline="") as file:
        for line in csv.DictReader(file):
            key = (int(line["blank"]), int(line["pass"]))
            if float(line["z"]) >= 0 or key not in poses:
                continue
            at = shapely.Point(poses[key].point((float(line["x"]), float(line["y"]))))
            for (name, copy, blank), area in areas.items():
                if blank == key[0] and area.covers(at):
                    found[name, copy].add(key[1])
    return found
