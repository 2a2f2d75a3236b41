"""The depth view: the section's figures and the tilted view, with WebGL and without."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import pytest

from tests.helpers.chromium import Opened, executable, open_sheet
from tests.helpers.invented_set import COPPER, DEPTH, MILL, THICK, VEE, invented

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

SET = invented(4)
CUT = re.compile(
    r"At (\S+) mm: (\S+) mm wide at the surface, (\S+) mm at the foot of the copper, "
    r"(\S+) mm deep, (\S+)"
)


def open_depth(opened: Opened, what: str = "tilt") -> None:
    if opened.page.locator("#depth").is_hidden():
        opened.page.locator("#depth-open").click()
    opened.page.locator(f"#depth-to-{what}").click()
    drawn(opened)


def drawn(opened: Opened) -> None:
    """Wait until the panel has looked at the last change."""
    opened.page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    opened.settle()


def section(
    opened: Opened, a: tuple[float, float], b: tuple[float, float]
) -> list[tuple[Any, ...]]:
    """What the page says is cut along a line: from, surface, foot, depth, cutter."""
    for name, value in zip(("x0", "y0", "x1", "y1"), (*a, *b), strict=True):
        opened.page.locator(f"#review-{name}").fill(f"{value:.3f}")
    open_depth(opened, "section")
    rows = [CUT.fullmatch(text) for text in opened.page.locator("#depth-cuts li").all_inner_texts()]
    return [(*map(float, row.groups()[:4]), row[5]) for row in rows if row]


def test_a_section_through_the_grooves_of_a_rail(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    outside = [placement.pose.point((80.0, y)) for y in (6.0, 8.0)]
    (cut,) = section(opened, *outside)
    tan = math.tan(math.radians(VEE.angle / 2))
    assert cut[1] == pytest.approx(VEE.tip + 2 * DEPTH * tan, abs=0.0006)
    assert cut[2] == pytest.approx(VEE.tip + 2 * (DEPTH - COPPER) * tan, abs=0.0006)
    assert cut[3] == pytest.approx(DEPTH, abs=0.0006)
    assert cut[4] == VEE.name
    # the copper's edge is 0.2 mm on; at its surface the slope of the groove reaches beyond it
    assert cut[0] == pytest.approx(0.2 - COPPER * tan, abs=0.0015)


def test_a_section_through_the_edge_goes_through_the_board(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    cuts = section(opened, placement.pose.point((37.0, -4.0)), placement.pose.point((37.0, 2.0)))
    edge = max(cuts, key=lambda row: row[3])
    assert edge[1] == pytest.approx(MILL.diameter, abs=0.0015)
    assert edge[3] > THICK
    words = opened.page.locator("#depth-words").inner_text()
    assert f"Copper {COPPER:.3f} mm on a board of {THICK:.2f} mm" in words


def test_two_clicks_make_a_section(opened: Opened) -> None:
    open_depth(opened, "section")
    assert "Click two points" in opened.page.locator("#depth-words").inner_text()
    for place in ((100.0, 60.0), (120.0, 60.0)):
        x, y = opened.at(*place)
        opened.page.keyboard.down("Shift")
        opened.page.mouse.click(x, y)
        opened.page.keyboard.up("Shift")
    drawn(opened)
    words = opened.page.locator("#depth-words").inner_text()
    long = re.match(r"(\S+) mm from X", words)
    assert long
    assert float(long[1]) == pytest.approx(20.0, abs=0.3)


SEEN = """(canvas) => {
  const copy = document.createElement("canvas");
  [copy.width, copy.height] = [canvas.width, canvas.height];
  const c = copy.getContext("2d");
  c.drawImage(canvas, 0, 0);
  const colours = new Map();
  const data = c.getImageData(0, 0, copy.width, copy.height).data;
  for (let i = 0; i < data.length; i += 4) {
    const key = `${data[i]} ${data[i + 1]} ${data[i + 2]}`;
    colours.set(key, (colours.get(key) || 0) + 1);
  }
  return [...colours.values()].sort((a, b) => b - a);
}"""


def test_the_tilted_view_shows_grooves_and_moves_with_the_drawing(
    started: Browser, two_passes: Path
) -> None:
    opened = open_sheet(started, two_passes)
    opened.zoom_to(100.0, 60.0, 20.0)
    open_depth(opened)
    picture = opened.page.locator("canvas#depth-tilt")
    # page, copper, laminate and slopes of several lights
    assert len(picture.evaluate(SEEN)) > 8
    first = picture.evaluate("(canvas) => canvas.toDataURL()")
    opened.page.locator("#depth-by-tilt").fill("10")
    drawn(opened)
    second = picture.evaluate("(canvas) => canvas.toDataURL()")
    assert second != first
    opened.page.locator("#review-out").click()
    drawn(opened)
    assert picture.evaluate("(canvas) => canvas.toDataURL()") != second
    opened.page.locator("#depth-close").click()
    assert opened.page.locator("#depth").is_hidden()
    assert opened.said == []
    assert opened.asked == []
    opened.page.context.close()


RIM = """(canvas) => {
  const copy = document.createElement("canvas");
  const [w, h] = [copy.width, copy.height] = [canvas.width, canvas.height];
  const c = copy.getContext("2d", { willReadFrequently: true });
  c.drawImage(canvas, 0, 0);
  const colours = new Set();
  for (const box of [[0, 0, w, 1], [0, h - 1, w, 1], [0, 0, 1, h], [w - 1, 0, 1, h]]) {
    const data = c.getImageData(...box).data;
    for (let i = 0; i < data.length; i += 4) colours.add(data.slice(i, i + 3).join(" "));
  }
  return colours.size;
}"""


def test_the_tilted_view_holds_all_that_the_drawing_shows(opened: Opened) -> None:
    opened.page.locator("#review-in").click()
    opened.page.locator("#review-fit").click()
    open_depth(opened)
    picture = opened.page.locator("canvas#depth-tilt")
    for turn in ("20", "90"):
        opened.page.locator("#depth-by-turn").fill(turn)
        drawn(opened)
        # nothing but paper along the edges
        assert picture.evaluate(RIM) == 1
        assert len(picture.evaluate(SEEN)) > 8


def test_without_webgl_there_is_a_plain_picture(started: Browser, two_passes: Path) -> None:
    plain = started.browser_type.launch(
        executable_path=executable(), args=["--no-sandbox", "--disable-3d-apis"]
    )
    opened = open_sheet(plain, two_passes)
    open_depth(opened)
    assert "no WebGL 2" in opened.page.locator("#depth-words").inner_text()
    assert len(opened.page.locator("canvas#depth-tilt").evaluate(SEEN)) >= 4
    assert opened.said == []
    plain.close()
