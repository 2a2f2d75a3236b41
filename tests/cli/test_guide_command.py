"""`millprep guide`: pages listed, shown and opened; nothing comes from a network."""

from __future__ import annotations

import re
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import pytest

from millprep.report.guide import NAMES, guide_html, guide_pages
from tests.helpers.pages import PAGES
from tests.helpers.small_job import run


def test_every_page_is_listed_with_what_it_is_about() -> None:
    lines = run("guide").stdout.splitlines()
    assert [line.split()[0] for line in lines] == list(NAMES)
    assert set(NAMES) == set(PAGES) - {"README"}
    assert all(len(line.split(maxsplit=1)[1]) > 20 for line in lines)


def test_a_page_is_shown_as_it_is_without_remarks() -> None:
    shown = run("guide", "long-boards").stdout
    assert shown.startswith("# Long boards\n")
    assert "millprep prepare rail.toml --out rail" in shown
    assert "<!--" not in shown


def test_a_page_that_is_not_there_is_refused_with_its_neighbours() -> None:
    result = run("guide", "long-board")
    assert result.exit_code == 2
    assert "long-boards" in result.stderr


def test_the_browser_is_given_one_file_and_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    result = run("guide", "readings", "--browser")
    (url,) = opened
    file = Path(url2pathname(urlsplit(url).path))
    assert (str(file), urlsplit(url).fragment) == (result.stdout.strip(), "readings")
    assert file.read_text("utf-8") == guide_html()
    file.unlink()
    file.parent.rmdir()


def test_every_link_of_the_page_leads_to_a_place_in_it() -> None:
    page = guide_html()
    links = set(re.findall(r'href="([^"]*)"', page))
    names = {f"#{name}" for name in re.findall(r' id="([^"]*)"', page)}
    assert {f"#{name}" for name in guide_pages()} | {"#readings--verniers"} <= links
    assert links - names == set()
    assert "src=" not in page
    assert page.count("<table>") > 2
