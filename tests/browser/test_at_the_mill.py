"""The page at the mill: boxes stay ticked, one page at a time, readings become a file."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.workflow.set_on_disk import RUNS
from tests.helpers.chromium import open_sheet

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def test_ticks_stay_and_can_be_saved(started: Browser, memory_board: Path, tmp_path: Path) -> None:
    opened = open_sheet(started, memory_board / "sheet.html")
    page = opened.page
    first = page.locator(".plan .page .steps tbody tr").first.locator(".tick").last
    assert first.get_attribute("aria-checked") == "false"
    first.click()
    assert first.get_attribute("aria-checked") == "true"
    page.reload()
    first = page.locator(".plan .page .steps tbody tr").first.locator(".tick").last
    assert first.get_attribute("aria-checked") == "true"
    first.focus()
    page.keyboard.press("Space")
    assert first.get_attribute("aria-checked") == "false"
    first.click()
    page.locator("#mill-mode").click()
    with page.expect_download() as download:
        page.locator("#mill-save").click()
    file = tmp_path / "ticked.toml"
    download.value.save_as(file)
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    assert download.value.suggested_filename == f"ticked-{report['set']}.toml"
    program = report["passes"][0]["programs"][0]
    (row,) = RUNS.load(file)
    assert (row.set, row.program) == (report["set"], (program["file"], program["cutter"]))
    assert report["set"] in file.read_text("utf-8").splitlines()[0]
    # another blank, cut with the same set, begins with empty boxes
    page.locator("#mill-clear").click()
    page.reload()
    assert page.locator('.plan .tick[aria-checked="true"]').count() == 0
    # and what the folder of the set says has run is ticked
    page.locator("#mill-mode").click()
    with page.expect_file_chooser() as chooser:
        page.locator("#mill-load").click()
    chooser.value.set_files(file)
    page.locator('.plan .tick[aria-checked="true"]').first.wait_for(state="attached")
    assert page.locator('.plan .tick[aria-checked="true"]').count() == 1
    first = page.locator(".plan .page .steps tbody tr").first.locator(".tick").last
    assert first.get_attribute("aria-checked") == "true"
    page.context.close()
    assert opened.said == opened.asked == []


def test_one_page_at_a_time(started: Browser, memory_board: Path) -> None:
    opened = open_sheet(started, memory_board / "sheet.html")
    page = opened.page
    page.locator("#mill-mode").click()
    assert not page.locator("#review").is_visible()
    seen = []
    while True:
        shown = page.locator(".plan > section:visible")
        assert shown.count() == 1
        seen.append(shown.locator("h1, h2").first.inner_text())
        if page.locator("#mill-on").is_disabled():
            break
        page.locator("#mill-on").click()
    assert seen[1].startswith("Blank 1, pass 1 of 2")
    assert seen[2].startswith("Blank 1, pass 2 of 2")
    assert seen[-1].startswith("Buzz out")
    page.locator("#mill-mode").click()
    assert page.locator("#review").is_visible()
    page.context.close()


def test_readings_typed_in_the_page_are_the_readings_file(
    started: Browser, memory_board: Path, tmp_path: Path
) -> None:
    opened = open_sheet(started, memory_board / "sheet.html")
    page = opened.page
    for name, value in (("v1", "3"), ("v2", "−1,5"), ("v3", "2"), ("v4", "0")):
        page.locator(f'[data-reading="{name}"] input').fill(value)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the readings").click()
    file = tmp_path / "readings.toml"
    download.value.save_as(file)
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    assert tomllib.loads(file.read_text("utf-8")) == {
        "set": report["set"],
        "verniers": {"v1": 3, "v2": -1.5, "v3": 2, "v4": 0},
    }
    page.context.close()
