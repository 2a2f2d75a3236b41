"""The review of a set whose pass is one file: its parts are told by their cutters."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.report.sheet import sheet
from tests.helpers.changed_set import running
from tests.helpers.chromium import open_sheet
from tests.helpers.invented_set import invented
from tests.helpers.trails import with_trails

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FILE = "blank-1/pass-2/01-register-to-profile.ngc"


def test_parts_of_a_file_are_told_apart_by_their_cutters(started: Browser, tmp_path: Path) -> None:
    whole = with_trails(invented(4))
    programs = tuple(replace(p, file=FILE) if p.mill_pass == 2 else p for p in whole.programs)
    page = tmp_path / "sheet.html"
    page.write_text(sheet(running(whole, programs)), "utf-8")
    opened = open_sheet(started, page)
    opened.page.select_option("#review-pass", "2")
    names = opened.page.locator("#review-program option").all_inner_texts()[1:]
    here = [p for p in programs if p.mill_pass == 2]
    assert len(here) > 1
    assert names == [f"{FILE}: {p.cutter.name}" for p in here]
    opened.page.select_option("#review-pass", "1")
    names = opened.page.locator("#review-program option").all_inner_texts()[1:]
    assert names == [p.file for p in programs if p.mill_pass == 1]
    opened.page.context.close()
    assert opened.said == []
