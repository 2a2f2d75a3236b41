"""The as-cut copper as SVG and DXF, read back by other libraries."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as Tree
from pathlib import Path

import pytest
import shapely
from ezdxf.entities.polyline import Polyline
from ezdxf.filemanagement import readfile

from millprep.model.as_cut import CopperPart
from millprep.report.svg import FLOATING, PIECES, dxf, scene, svg

PAD = shapely.Point(10, 5).buffer(2, quad_segs=64) - shapely.Point(10, 5).buffer(0.5, quad_segs=64)
SHEET = shapely.box(0, 0, 30, 20) - shapely.Point(10, 5).buffer(2.4)
assert isinstance(PAD, shapely.Polygon)
assert isinstance(SHEET, shapely.Polygon)
PARTS = (CopperPart(PAD, ((0, "c1"),)), CopperPart(SHEET, ()))


def test_dxf_holds_the_areas(tmp_path: Path) -> None:
    file = tmp_path / "a.dxf"
    file.write_text(dxf(PARTS, "lamp"), "ascii")
    doc = readfile(file)
    assert not doc.audit().has_errors
    areas: dict[str, list[float]] = {PIECES: [], FLOATING: []}
    for line in doc.modelspace().query("POLYLINE"):
        assert isinstance(line, Polyline)
        assert line.is_closed
        points = [(v.dxf.location.x, v.dxf.location.y) for v in line.vertices]
        areas[line.dxf.layer].append(shapely.Polygon(points).area)
    for layer, shape in ((PIECES, PAD), (FLOATING, SHEET)):
        outer, *inner = areas[layer]
        assert outer - sum(inner) == pytest.approx(shape.area, abs=shape.length * 0.003)


def test_svg_holds_the_areas_to_the_last_digit() -> None:
    root = Tree.fromstring(svg(scene(PARTS, (30.0, 20.0), "lamp <1> & 2")))
    space = "{http://www.w3.org/2000/svg}"
    assert root.get("width") == "30mm"
    assert root.get("viewBox") == "0 0 30 20"
    assert root.findtext(f"{space}title") == "lamp <1> & 2"
    paths = root.findall(f"{space}path")
    assert [p.findtext(f"{space}title") for p in paths] == ["1:c1", None]
    for path, shape in zip(paths, (PAD, SHEET), strict=True):
        rims = [rim(run) for run in re.findall(r"M([^z]*)z", path.get("d") or "")]
        places = {(x, round(20 - y, 3)) for rim_ in rims for x, y in rim_}
        as_drawn = {tuple(xy) for xy in shapely.get_coordinates(shape).round(3).tolist()}
        assert places <= as_drawn
        area, *cuts = (shapely.Polygon(rim_).area for rim_ in rims)
        assert area - sum(cuts) == pytest.approx(shape.area, abs=shape.length * 0.003)


def rim(run: str) -> list[tuple[float, float]]:
    """The places of a closed run: the first, then steps."""
    first, steps = run.split("l")
    x, y = map(float, first.split())
    places = [(x, y)]
    figures = iter(map(float, steps.split()))
    for dx, dy in zip(figures, figures, strict=True):
        x, y = round(x + dx, 3), round(y + dy, 3)
        places.append((x, y))
    return places


def test_the_set_holds_both_for_each_blank(example_set: Path) -> None:
    blanks = [
        one["number"] for one in json.loads((example_set / "report.json").read_text())["blanks"]
    ]
    names = {path.name for path in (example_set / "as-cut").iterdir()}
    assert names == {f"blank-{n}.{kind}" for n in blanks for kind in ("dxf", "svg")}
    for n in blanks:
        text = (example_set / "as-cut" / f"blank-{n}.dxf").read_text("ascii")
        assert f"\n{PIECES}\n" in text


def test_buzz_out_on_disk_and_on_the_sheet(example_set: Path) -> None:
    rows = (example_set / "buzz-out.csv").read_text("utf-8").splitlines()
    sheet = (example_set / "sheet.html").read_text("utf-8")
    assert "competent person" in sheet
    assert sheet.count("connected") >= sum(",continuity," in row for row in rows) > 10
    assert sum(",isolation," in row for row in rows) > 10


def test_rows_of_the_sheet_are_short_and_their_legend_says_the_rest(memory_board: Path) -> None:
    sheet = (memory_board / "sheet.html").read_text("utf-8")
    details = sheet[sheet.index('<div class="details">') :]
    table = details[details.index("Buzz out, before") :]
    legend, rest = table.split("<table", 1)
    rows = rest.split("</table>")[0]
    assert "pads farthest apart" in legend
    assert "farthest" not in rows
    assert "connected*" in rows
    assert "* after the jumper wires are soldered" in legend
    assert "join 1|2 " in rows
    assert "Join 1|2: passes 1 and 2 meet there" in legend
    assert (
        rows.count('class="tick"')
        == len((memory_board / "buzz-out.csv").read_text("utf-8").splitlines()) - 1
    )
