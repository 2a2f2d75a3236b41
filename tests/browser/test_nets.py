"""Nets and findings in the review: all of a net, its neighbours, every place of a finding."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.chromium import Opened


@pytest.fixture
def report(memory_board: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((memory_board / "report.json").read_text("utf-8"))
    return found


def picked(opened: Opened, name: str) -> None:
    row = opened.page.locator("#review-nets button").filter(
        has=opened.page.get_by_text(name, exact=True)
    )
    row.click()
    opened.settle()
    assert row.get_attribute("aria-pressed") == "true"


def test_a_net_is_listed_with_volts_and_amperes(memory: Opened) -> None:
    rows = memory.page.locator("#review-nets button").all_inner_texts()
    assert any(row.split() == ["B+", "250", "V,", "0.036", "A"] for row in rows)


def test_picking_a_net_lights_all_its_copper_and_its_wires(
    memory: Opened, report: dict[str, Any]
) -> None:
    (board,) = report["boards"]
    a, b, c, d, e, f = board["drawing_to_blank"]
    mine = [piece for piece in board["pieces"] if piece["net"] == "H2"]
    assert len(mine) == 19
    places = [
        (a * x + b * y + c, d * x + e * y + f) for x, y in (piece["at"] for piece in mine[1:4])
    ]
    before = []
    for place in places:
        memory.zoom_to(*place, 10)
        before.append(memory.colour(*place))
    picked(memory, "H2")
    for place, was in zip(places, before, strict=True):
        memory.zoom_to(*place, 10)
        assert memory.colour(*place) != was
    assert "18 jumper wires" in memory.page.locator("#review-net").inner_text()


def test_neighbours_have_the_margins_of_the_report(memory: Opened, report: dict[str, Any]) -> None:
    picked(memory, "RING")
    pairs = [row for row in report["boards"][0]["rules"]["spacing"] if "RING" in row["nets"]]
    first = min(pairs, key=lambda row: float(row["measured"]) / float(row["required"]))
    (name,) = set(first["nets"]) - {"RING"}
    row = memory.page.locator("#review-net button").first
    words = " ".join(row.inner_text().split())
    assert words.startswith(
        f"{name} {first['measured']:.2f} mm, required {first['required']:.2f} for"
    )
    row.click()
    memory.settle()
    assert memory.view()[:2] == pytest.approx(first["at"], abs=2e-3)


def test_a_finding_leads_to_every_place_it_means(memory: Opened, report: dict[str, Any]) -> None:
    number, finding = next(
        (n, row) for n, row in enumerate(report["findings"], 1) if row["code"] == "corner-unreached"
    )
    assert len(finding["places"]) == 111
    words = memory.page.locator(f'[data-places-of="F{number}"]')
    assert words.inner_text() == "112 places"
    ahead = memory.page.get_by_role("button", name=f"Next place of F{number}")
    for k, place in enumerate((finding["at"], *finding["places"][:2]), 1):
        ahead.click()
        memory.settle()
        assert memory.view()[:2] == pytest.approx(place, abs=1e-3)
        assert words.inner_text() == f"place {k} of 112"


def test_the_keyboard_goes_from_place_to_place(opened: Opened) -> None:
    opened.canvas.focus()
    seen = []
    for key in ("f", "f", "f", "Shift+F"):
        opened.page.keyboard.press(key)
        opened.settle()
        seen.append(opened.view()[:2])
    assert seen[0] == pytest.approx((-3.0, 30.0))
    assert seen[1] == pytest.approx((37.0, 80.0))
    # the last is followed by the first
    assert seen[2] == pytest.approx(seen[0])
    assert seen[3] == pytest.approx(seen[1])


def test_differences_are_lit_with_their_areas(memory: Opened, report: dict[str, Any]) -> None:
    proof = report["boards"][0]["proof"]
    words = memory.page.locator("#review-differences").inner_text()
    assert f"Too much copper: {proof['too_much']:.3f} mm² in " in words
    assert proof["too_little"] == 0
    assert "Too little copper: none" in words
    memory.page.get_by_role("button", name="Too much copper: next place").click()
    memory.settle()
    lit = memory.canvas.evaluate("(canvas) => canvas.toDataURL()")
    memory.page.locator('[data-layer="differences"]').uncheck()
    memory.settle()
    assert memory.canvas.evaluate("(canvas) => canvas.toDataURL()") != lit


def test_a_list_of_nets_is_one_stop_of_the_tab_key(memory: Opened) -> None:
    rows = memory.page.locator("#review-nets button")
    assert rows.count() > 50
    assert memory.page.locator('#review-nets button[tabindex="0"]').count() == 1
    rows.first.focus()
    memory.page.keyboard.press("ArrowDown")
    memory.page.keyboard.press("Enter")
    memory.settle()
    assert rows.nth(1).get_attribute("aria-pressed") == "true"
    assert memory.page.locator("#review-nets [aria-pressed=true]").count() == 1
