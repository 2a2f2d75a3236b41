"""What axe-core, the open checker of accessibility, finds in the page; it is run unchanged."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pytest

from tests.helpers.chromium import Opened, open_sheet

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SERIOUS = {"moderate", "serious", "critical"}


def violations(opened: Opened) -> list[str]:
    """Findings above minor: rule, and the elements it is about."""
    checker = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    opened.page.evaluate(checker)
    # every rule on every element; of rules that hold only one element each is written down
    found: dict[str, Any] = opened.page.evaluate("() => axe.run({ resultTypes: ['violations'] })")
    assert len(found["passes"]) > 20
    return [
        f"{one['id']}: {one['help']}: {[node['target'] for node in one['nodes']][:5]}"
        for one in found["violations"]
        if one["impact"] in SERIOUS
    ]


@pytest.mark.parametrize("light", ["light", "dark"])
@pytest.mark.parametrize("size", [(1280, 800), (390, 844)], ids=["desktop", "phone"])
def test_nothing_serious(
    started: Browser,
    memory_board: Path,
    size: tuple[int, int],
    light: Literal["light", "dark"],
) -> None:
    opened = open_sheet(started, memory_board / "sheet.html", size=size, light=light)
    opened.canvas.focus()
    opened.page.keyboard.press("ArrowRight")
    opened.settle()
    assert violations(opened) == []
    opened.page.context.close()


@pytest.mark.parametrize("what", ["tilt", "section"])
def test_nothing_serious_in_the_depth_view(started: Browser, two_passes: Path, what: str) -> None:
    opened = open_sheet(started, two_passes)
    opened.page.locator("#depth-open").click()
    opened.page.locator(f"#depth-to-{what}").click()
    opened.settle()
    assert violations(opened) == []
    opened.page.context.close()


def test_nothing_serious_in_what_opens(started: Browser, two_passes: Path) -> None:
    """Facts pinned on a phone, a net with its neighbours, a slid pass, and the plan at the mill."""
    opened = open_sheet(started, two_passes, size=(390, 844))
    opened.page.mouse.click(*opened.at(100.0, 60.0))
    opened.settle()
    assert opened.page.locator("#review-pop").is_visible()
    assert violations(opened) == []
    opened.page.locator("#review-unpin").click()
    opened.page.locator("#review-nets button").first.click()
    opened.page.locator("#review-typed-x").fill("0.5")
    opened.settle()
    assert violations(opened) == []
    opened.page.locator("#mill-mode").click()
    assert violations(opened) == []
    opened.page.context.close()


def test_something_serious_is_found(started: Browser, two_passes: Path) -> None:
    opened = open_sheet(started, two_passes)
    opened.page.evaluate("document.getElementById('review-time').removeAttribute('aria-label')")
    opened.page.evaluate("document.querySelector('.bar .set').style.color = '#dddddd'")
    found = " ".join(violations(opened))
    assert "color-contrast" in found
    assert "label" in found
    opened.page.context.close()


def test_every_control_is_reached_by_tab_and_shows_it(opened: Opened) -> None:
    page = opened.page
    wanted = set(
        page.evaluate(
            """() => [...document.querySelectorAll(
              "#review button:not(:disabled), #review select, #review input, #review canvas")]
              .filter((e) => e.offsetParent && !(e.type === "radio" && !e.checked))
              .map((e) => e.id || e.dataset.layer || e.dataset.finding || e.value)"""
        )
    ) - {"", None}  # buttons of lists have no name of their own
    reached = set()
    for _ in range(200):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            """() => { const e = document.activeElement;
              return [e.id || e.dataset.layer || e.dataset.finding || e.value || "",
                      getComputedStyle(e).outlineStyle]; }"""
        )
        if name in wanted:
            reached.add(name)
            assert outline != "none", name
    assert wanted - reached == set()


def test_tables_of_the_plan_are_tables(opened: Opened) -> None:
    shown = opened.page.evaluate(
        """() => [...document.querySelectorAll(".plan table")]
          .map((table) => getComputedStyle(table).display)"""
    )
    assert shown
    assert set(shown) == {"table"}
