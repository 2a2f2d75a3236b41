"""The page of a refused job: what is wrong, where, and the way that current would take."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from millprep.model.finding import Refusal
from millprep.report.palette import scheme
from millprep.report.report_file import read
from millprep.workflow.prepare import prepare
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.small_job import copper, edge, put

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace
    from playwright.sync_api import Browser

RULES = Path(__file__).parents[2] / "examples" / "rules"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a supply whose gaps are too narrow for its volts leaves."""
    out = tmp_path_factory.mktemp("refused") / "supply"
    with pytest.raises(Refusal):
        prepare(RULES / "supply-half-millimetre.toml", out)
    return out.with_name("supply-refused")


@pytest.fixture
def refused(started: Browser, folder: Path) -> Iterator[Opened]:
    one = open_sheet(started, folder / "review.html")
    yield one
    one.page.context.close()
    assert one.said == []
    assert one.asked == []


def test_the_page_begins_at_the_first_stop(refused: Opened, folder: Path) -> None:
    first = next(f for f in read(folder).findings if f.severity == "stop")
    chosen = refused.page.locator('[data-finding][aria-current="true"]')
    assert " ".join(chosen.inner_text().split()).startswith("F")
    assert first.message in chosen.inner_text()
    assert "2 gaps of 0.63 mm would fit" in first.message
    assert refused.view()[:2] == pytest.approx(first.at, abs=1e-3)


def test_the_way_across_both_gaps_is_drawn(refused: Opened, folder: Path) -> None:
    first = next(f for f in read(folder).findings if f.severity == "stop")
    colour = scheme("light")["short"]
    wanted = tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))
    (place,) = first.places
    assert refused.colour(*place) == wanted
    refused.page.locator('[data-layer="findings"]').uncheck()
    refused.settle()
    assert refused.colour(*place) != wanted


def test_no_command_of_the_mill_is_offered(refused: Opened) -> None:
    assert not refused.page.locator("#mill-mode").is_visible()
    refused.page.locator('[data-layer="paths"]').check()
    refused.page.mouse.click(*refused.at(*refused.view()[:2]))
    refused.settle()
    assert refused.page.locator("#review-here .copy").count() == 0


def test_a_drawing_that_is_no_board_is_shown_with_its_faults(
    started: Browser, tmp_path: Path
) -> None:
    def open_rim(space: Modelspace) -> None:
        edge(space, gap=0.7)
        copper(space)

    with pytest.raises(Refusal) as caught:
        prepare(put(tmp_path, what=open_rim), tmp_path / "lamp")
    assert caught.value.exit_code == 3
    left = tmp_path / "lamp-refused"
    assert "outline-open" in (left / "findings.txt").read_text("utf-8")
    assert not list(left.rglob("*.ngc"))
    opened = open_sheet(started, left / "review.html")
    facts = opened.page.locator("#review-here").inner_text()
    (fault,) = caught.value.findings
    assert fault.at is not None
    assert f"X {fault.at[0]:.2f}" in facts
    assert "shore" in facts
    # the sheet's frame begins a rim before the drawing's zero
    rim = 0.02 * 30
    assert opened.view()[:2] == pytest.approx((fault.at[0] + rim, fault.at[1] + rim), abs=0.1)
    assert not opened.page.locator("#depth-open").is_visible()
    opened.page.context.close()
    assert opened.said == opened.asked == []


def test_a_drawing_of_which_nothing_can_be_read_has_its_findings(tmp_path: Path) -> None:
    job = put(tmp_path)
    (tmp_path / "lamp.dxf").write_bytes(b"no drawing")
    with pytest.raises(Refusal):
        prepare(job, tmp_path / "lamp")
    page = (tmp_path / "lamp-refused" / "review.html").read_text("utf-8")
    assert "Nothing of the drawing could be read" in page
