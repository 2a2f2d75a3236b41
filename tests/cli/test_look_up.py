"""`explain`, `guide` and `show`: what a finding means, the pages, a set's sheet in the browser."""

from __future__ import annotations

import json
import re
import sys
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import click
import pytest

from millprep.report.findings import explanations, renamed
from millprep.report.guide import NAMES, guide_html, guide_pages
from tests.helpers.pages import PAGES
from tests.helpers.small_job import run


def test_a_code_is_explained_with_its_source() -> None:
    result = run("explain", "spacing-too-narrow")
    assert result.exit_code == 0
    for words in ("what it means", "why it matters", "what to do", "IPC-2221", "no protective"):
        assert words in result.stdout


def test_brackets_and_capitals_are_no_hindrance() -> None:
    assert run("explain", "[Gap-Too-Narrow]").stdout.startswith("gap-too-narrow\n")


def test_without_a_code_all_are_listed() -> None:
    lines = run("explain").stdout.splitlines()
    assert len(lines) > 200
    assert lines == sorted(lines)


def test_as_json() -> None:
    row = json.loads(run("explain", "hole-off", "--json").stdout)
    assert list(row) == ["code", "means", "matters", "do", "source", "was", "guide"]
    assert row in json.loads(run("explain", "--json").stdout)


def test_a_code_that_is_not_there_is_refused_with_its_neighbours() -> None:
    result = run("explain", "gap-to-narrow")
    assert result.exit_code == 2
    assert "gap-too-narrow" in result.stderr
    assert "[code-unknown]" in result.stderr


def test_a_code_is_known_by_its_old_name() -> None:
    for old, new in renamed().items():
        assert old not in explanations()
        lines = run("explain", old).stdout.splitlines()
        assert lines[0] == new
        assert old in lines[1]


def test_an_explanation_names_a_page_of_the_guide_that_is_there() -> None:
    assert "read on:         millprep guide long-boards\n" in run("explain", "pins-tight").stdout
    assert "read on" not in run("explain", "rs274-error").stdout
    pages = {known.guide for known in explanations().values()} - {None}
    assert pages <= set(guide_pages())


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


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What would have been opened in a browser."""
    files: list[str] = []

    def launch(url: str) -> int:
        files.append(url)
        return 0

    monkeypatch.setattr(click, "launch", launch)
    monkeypatch.setenv("DISPLAY", ":0")
    return files


@pytest.fixture
def small_set(tmp_path: Path) -> Path:
    folder = tmp_path / "lamp set"
    folder.mkdir()
    (folder / "report.json").write_text("{}")
    (folder / "sheet.html").write_text("<!DOCTYPE html>")
    return folder


def test_the_sheet_is_opened(small_set: Path, opened: list[str]) -> None:
    result = run("show", str(small_set))
    assert result.exit_code == 0
    assert opened == [str(small_set / "sheet.html")]
    assert result.stdout == f"{small_set / 'sheet.html'}\n"


def test_as_json_it_is_named_and_not_opened(small_set: Path, opened: list[str]) -> None:
    result = run("show", str(small_set), "--json")
    assert json.loads(result.stdout) == {"sheet": str(small_set / "sheet.html"), "begun": []}
    assert opened == []


@pytest.mark.parametrize("gone", ["report.json", "sheet.html"])
def test_a_folder_without_a_set_is_refused(small_set: Path, opened: list[str], gone: str) -> None:
    (small_set / gone).unlink()
    result = run("show", str(small_set))
    assert result.exit_code == 2
    assert "holds no set" in result.stderr
    assert opened == []


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path, opened: list[str]) -> None:
    assert run("show", str(tmp_path / "nowhere")).exit_code == 2
    assert opened == []


def test_without_a_display_only_the_path_is_printed(
    small_set: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    result = run("show", str(small_set))
    assert (result.exit_code, result.output) == (0, f"{small_set / 'sheet.html'}\n")
    assert opened == []
