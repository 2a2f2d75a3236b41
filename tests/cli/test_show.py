from __future__ import annotations

import json
import sys
from pathlib import Path

import click
import pytest

from millprep.model.begun import Begun
from tests.helpers.small_job import run


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


@pytest.mark.parametrize("system", ["darwin", "win32", "cygwin"])
def test_other_systems_always_have_a_display(
    small_set: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch, system: str
) -> None:
    monkeypatch.delenv("DISPLAY")
    monkeypatch.setattr("millprep.cli.show.sys.platform", system)
    assert run("show", str(small_set)).exit_code == 0
    assert opened == [str(small_set / "sheet.html")]


def test_a_set_that_is_begun_says_so(
    small_set: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    mark = Begun("0123abcd", ((1, 2), (2, 1)))
    monkeypatch.setattr("millprep.cli.show.load_mark", lambda _: mark)
    result = run("show", str(small_set))
    assert result.stderr == "begun: pass 2 of blank 1, pass 1 of blank 2 of set 0123abcd\n"
    rows = json.loads(run("show", str(small_set), "--json").stdout)
    assert rows["begun"] == [{"blank": 1, "pass": 2}, {"blank": 2, "pass": 1}]
