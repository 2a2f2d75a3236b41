"""The plan on paper: as many pages as it should have, and nothing of the review."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from millprep.report.sheet import sheet
from tests.helpers.changed_set import running
from tests.helpers.chromium import USUAL_FONTS, has_usual_font, open_sheet
from tests.helpers.invented_set import invented

if TYPE_CHECKING:
    from playwright.sync_api import Browser

LEAST_TYPE = 10
"""Points."""
SIZES = {"A4": (595, 842), "Letter": (612, 792)}


BREAKS = ("Blank 1, pass 1 of", "Blank 1, pass 2 of", "Blank 2, pass 1 of")
"""How the pages of passes begin."""
WIDE_FONT = ('Arial, "Liberation Sans", Helvetica, "wide made narrow"', '"wide made narrow"')


@pytest.fixture(autouse=True)
def _usual_font(started: Browser) -> None:
    if not has_usual_font(started):
        pytest.skip(f"none of {', '.join(USUAL_FONTS)}: type is as large as it is in one of them")


def printed(
    started: Browser, file: Path, paper: str, *, details: bool = False, drawn: bool = True
) -> PdfReader:
    """The PDF; without `drawn` the words in drawings leave their room empty."""
    opened = open_sheet(started, file, light="dark", bypass_csp=True)
    if not drawn:
        opened.page.add_style_tag(content="svg text { visibility: hidden }")
    if details:
        opened.page.locator("#print-details").check()
    pdf = opened.page.pdf(format=paper, print_background=True)
    opened.page.context.close()
    assert opened.said == opened.asked == []
    return PdfReader(io.BytesIO(pdf))


def texts(pdf: PdfReader) -> list[str]:
    return [page.extract_text().strip() for page in pdf.pages]


def least_type(pdf: PdfReader) -> float:
    """The smallest type of all pages, as it is on paper, points."""
    sizes = []

    def size(text: str, page: list[float], line: list[float], _: object, font: float) -> None:
        if text.strip():
            sizes.append(font * math.hypot(*line[:2]) * math.hypot(*page[:2]))

    for page in pdf.pages:
        page.extract_text(visitor_text=size)
    assert len(sizes) > 100
    return round(min(sizes), 2)


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("font", ["usual", "wide"])
def test_pages_of_the_half_metre_board(
    started: Browser, memory_board: Path, paper: str, font: str, tmp_path: Path
) -> None:
    file = memory_board / "sheet.html"
    if font == "wide":
        text = file.read_text("utf-8")
        file = tmp_path / "sheet.html"
        file.write_text(text.replace(*WIDE_FONT), "utf-8")
    pdf = printed(started, file, paper, drawn=False)
    width, height = SIZES[paper]
    for page in pdf.pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=1)
        assert float(page.mediabox.height) == pytest.approx(height, abs=1)
    # one page before and after the passes, one for each pass
    starts = ("lighthouse memory board", *BREAKS[:2])
    pages = texts(pdf)
    assert len(pages) <= 4
    # the wide font is made 0.85 times as large, so that it is as wide as the usual one
    assert least_type(pdf) >= LEAST_TYPE * (0.85 if font == "wide" else 1)
    assert all(f"page {nth} of {len(pages)}" in page for nth, page in enumerate(pages, 1))
    assert all(any(start in page[:120] for page in pages) for start in starts)


@pytest.mark.parametrize("paper", SIZES)
def test_pages_of_two_blanks_of_small_boards(
    started: Browser, indicators: Path, paper: str
) -> None:
    pdf = printed(started, indicators / "sheet.html", paper, drawn=False)
    pages = texts(pdf)
    assert least_type(pdf) >= LEAST_TYPE
    starts = ("lighthouse indicators", BREAKS[0], BREAKS[2], "Buzz out")
    assert len(pages) == 4
    assert all(start in page[:120] for page, start in zip(pages, starts, strict=True))


def test_the_first_page_has_cautions_and_what_comes_after(
    started: Browser, memory_board: Path
) -> None:
    first, one, *rest = texts(printed(started, memory_board / "sheet.html", "A4"))
    two = "\n".join(rest)
    for words in ("Lethal voltages", "What you need", "Order of work", "The spoilboard, once",
                  "How every program runs", "Deburr holes"):  # fmt: skip
        assert words in first
    # the last thing to do is last
    for words in ("Buzz out", "Must be isolated", "Must be connected"):
        assert words in rest[-1]
    for page in (one, two):
        for words in ("Set up", "Zero", "Run in this order", "mm from the work zero"):
            assert words in page
    assert "Verniers: how far" in two
    assert "If X and Y are lost" in two
    assert "millprep refit SET --pass 2 --vernier" in " ".join(two.split())


def test_details_are_printed_when_asked_for(started: Browser, memory_board: Path) -> None:
    short = texts(printed(started, memory_board / "sheet.html", "A4"))
    pdf = printed(started, memory_board / "sheet.html", "A4", details=True, drawn=False)
    assert least_type(pdf) >= LEAST_TYPE
    whole = texts(pdf)
    assert len(short) < len(whole) <= 10
    for words in ("holes of 1.10 mm", "Spacing, smallest margins", "SHA-256"):
        assert not any(words in page for page in short)
        assert any(words in page for page in whole)


@pytest.mark.parametrize("rounds", [2, 5])
def test_many_programs_in_a_pass_break_between_rows(
    started: Browser, tmp_path: Path, rounds: int
) -> None:
    cut_set = replace(invented(4), locating="pins")
    many = tuple(
        replace(p, file=p.file.replace(".ngc", f"-{k}.ngc"))
        for p in cut_set.programs
        for k in range(rounds)
    )
    file = tmp_path / "sheet.html"
    file.write_text(sheet(running(cut_set, many)), "utf-8")
    pages = texts(printed(started, file, "Letter"))
    assert 3 <= len(pages) <= 5
    whole = "\n".join(pages)
    assert all(p.file.rpartition("/")[2] in whole for p in many)
    ends = [page.splitlines()[-1] for page in pages]
    assert not any(end in ("Set up", "Zero", "Time") or "Run in this" in end for end in ends)


def test_the_review_is_not_printed(started: Browser, two_passes: Path) -> None:
    text = "".join(p.extract_text() for p in printed(started, two_passes, "A4").pages)
    for words in ("Zoom in", "At the pointer", "Measure between", "Machine travel"):
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
