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

if TYPE_CHECKING:
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
