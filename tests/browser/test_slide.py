"""Joins alive: the shift at which the review says that copper bridges is the report's tolerance."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.chromium import Opened

GRID = 0.01
"""Sides of the squares on which the page works, mm (joins.js)."""


@pytest.fixture
def report(memory_board: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((memory_board / "report.json").read_text("utf-8"))
    return found


def slide(opened: Opened, x: float, y: float, turn: float = 0.0) -> None:
    for key, value in (("x", x), ("y", y), ("turn", turn)):
        opened.page.locator(f"#review-typed-{key}").fill(f"{value:.4f}")
    opened.settle()


def bridged(opened: Opened) -> dict[str, bool]:
    """Whether each join that is listed bridges, by its name."""
    rows = opened.page.locator("#review-slid button").all_inner_texts()
    return {row.split("\n")[0].strip(): "bridges" in row for row in rows}


def counts(opened: Opened) -> list[int]:
    """How many joins there are, bridged, with too small a gap, and good."""
    words = opened.page.locator("#review-slid-words").inner_text()
    found = re.match(r"(\d+) joins?: (\d+) bridged, (\d+) with a gap .*, (\d+) good", words)
    assert found, words
    return [int(number) for number in found.groups()]


def test_bridges_begin_where_the_certificate_says(memory: Opened, report: dict[str, Any]) -> None:
    certificate = report["certificate"]["short"]
    tolerated = certificate["mismatch"]
    assert not certificate["at_least"]
    at = certificate["limited_by"]["at"]
    number = next(n for n, join in enumerate(report["joins"]) if join["at"] == at)
    # the way across the path is the shortest to a bridge
    across = memory.page.evaluate(
        f"JSON.parse(document.getElementById('review-data').textContent).joins[{number}].across"
    )
    name = f"join {number + 1}, {report['joins'][number]['piece']}"
    for way in (1, -1):
        seen = []
        for squares in (-1, 1, 2):
            far = way * (tolerated + squares * GRID)
            slide(memory, far * across[0], far * across[1])
            seen.append((bridged(memory).get(name, False), counts(memory)[1]))
        # a square before the certificate's figure all joins hold, two squares beyond this one does
        # not: a bridge is seen once it is a square wide, and squares lie askew to grooves
        assert seen[0] == (False, 0)
        assert seen[-1][0]
    assert report["joins"][number]["tolerance_electrical"] == pytest.approx(tolerated, abs=2e-3)


def test_no_other_way_bridges_sooner(memory: Opened, report: dict[str, Any]) -> None:
    short = report["certificate"]["short"]["mismatch"] - GRID
    for angle in (0, 35, 125, 250):
        way = math.radians(angle)
        slide(memory, short * math.cos(way), short * math.sin(way))
        assert counts(memory)[1] == 0, angle


def test_a_turn_moves_far_joins_more(memory: Opened) -> None:
    slide(memory, 0.0, 0.0, 0.2)
    rows = memory.page.locator("#review-slid button").all_inner_texts()
    moved = [float(row.split("moved by ")[1].split(" mm")[0]) for row in rows]
    assert max(moved) > 2 * min(moved) > 0
    assert max(moved) < math.radians(0.2) * 120


def test_a_slide_is_seen_and_taken_back(memory: Opened, report: dict[str, Any]) -> None:
    x, y = report["joins"][0]["at"]
    memory.zoom_to(x, y, 60)
    before = memory.canvas.evaluate("(canvas) => canvas.toDataURL()")
    memory.page.locator("#review-slide-y").fill("0.5")
    memory.settle()
    assert memory.canvas.evaluate("(canvas) => canvas.toDataURL()") != before
    assert memory.page.locator("#review-typed-y").input_value() == "0.50"
    memory.page.get_by_role("button", name="Slide back").click()
    memory.settle()
    assert memory.canvas.evaluate("(canvas) => canvas.toDataURL()") == before


def test_a_reading_that_is_no_number_is_marked(memory: Opened) -> None:
    box = memory.page.locator("#review-typed-x")
    box.fill("a little")
    assert box.get_attribute("aria-invalid") == "true"
    box.fill("−0,1")
    memory.settle()
    assert memory.page.locator("#review-slide-x").input_value() == "-0.1"
