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
from millprep.report.as_cut_files import BACKGROUND, PIECES, dxf, svg

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
    areas: dict[str, list[float]] = {PIECES: [], BACKGROUND: []}
    for line in doc.modelspace().query("POLYLINE"):
        assert isinstance(line, Polyline)
        assert line.is_closed
        points = [(v.dxf.location.x, v.dxf.location.y) for v in line.vertices]
        areas[line.dxf.layer].append(shapely.Polygon(points).area)
    for layer, shape in ((PIECES, PAD), (BACKGROUND, SHEET)):
        outer, *inner = areas[layer]
        assert outer - sum(inner) == pytest.approx(shape.area, abs=shape.length * 0.003)


def test_svg_holds_the_areas_with_y_up() -> None:
    root = Tree.fromstring(svg(PARTS, (30.0, 20.0), "lamp <1> & 2"))
    space = "{http://www.w3.org/2000/svg}"
    assert root.get("width") == "30.000mm"
    (group,) = root.findall(f"{space}g")
    assert group.get("transform") == "matrix(1 0 0 -1 0 20.000)"
    paths = group.findall(f"{space}path")
    assert [p.findtext(f"{space}title") for p in paths] == ["1:c1", None]
    for path, shape in zip(paths, (PAD, SHEET), strict=True):
        rings = [
            shapely.Polygon([tuple(map(float, xy.split())) for xy in ring.split("L")])
            for ring in re.findall(r"M([^Z]*)Z", path.get("d") or "")
        ]
        area = rings[0].area - sum(ring.area for ring in rings[1:])
        assert area == pytest.approx(shape.area, abs=shape.length * 0.003)


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
    assert "* once the links are soldered" in legend
    assert "join 1|2 " in rows
    assert "Join 1|2: there passes 1 and 2 meet" in legend
    assert (
        rows.count('class="tick"')
        == len((memory_board / "buzz-out.csv").read_text("utf-8").splitlines()) - 1
    )
