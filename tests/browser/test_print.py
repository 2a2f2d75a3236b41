"""The plan on paper: as many pages as it should have, and nothing of the review."""

from __future__ import annotations

import io
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from tests.browser.chromium import open_sheet

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SIZES = {"A4": (595, 842), "Letter": (612, 792)}


def printed(started: Browser, file: Path, paper: str) -> PdfReader:
    opened = open_sheet(started, file, light="dark")
    pdf = opened.page.pdf(format=paper, print_background=True)
    opened.page.context.close()
    return PdfReader(io.BytesIO(pdf))


@pytest.mark.parametrize("paper", SIZES)
def test_pages_of_the_half_metre_board(
    started: Browser, memory_board: Path, paper: str
) -> None:
    pdf = printed(started, memory_board / "sheet.html", paper)
    pages = [page.extract_text() for page in pdf.pages]
    width, height = SIZES[paper]
    for page in pdf.pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=1)
        assert float(page.mediabox.height) == pytest.approx(height, abs=1)
    starts = ["lighthouse memory board", "Blank 1, pass 1 of 2", "Blank 1, pass 2 of 2", "Buzz out"]
    at = [next(i for i, text in enumerate(pages) if text.lstrip().startswith(s)) for s in starts]
    # one sheet before the first pass, both faces of one for each pass; the last has the work
    # after all passes on its third
    assert at[0] == 0
    assert [b - a for a, b in pairwise(at)] == [2, 2, 3]
    assert 3 <= len(pages) - at[-1] <= 5
    assert all(len(text) > 100 for text in pages), "a page with next to nothing on it"


def test_the_review_is_not_printed(started: Browser, two_passes: Path) -> None:
    text = "".join(p.extract_text() for p in printed(started, two_passes, "A4").pages)
    for words in ("Nearer", "At the pointer", "Measure between", "Windows"):
        assert words not in text
    assert "Before you start" in text


def test_paper_is_white_even_where_the_screen_is_dark(started: Browser, two_passes: Path) -> None:
    opened = open_sheet(started, two_passes, light="dark")
    page = opened.page
    ground = "getComputedStyle(document.body).backgroundColor"
    dark = page.evaluate(ground)
    page.emulate_media(media="print")
    assert page.evaluate(ground) == "rgb(255, 255, 255)" != dark
    page.context.close()
