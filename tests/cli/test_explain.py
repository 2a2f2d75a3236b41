from __future__ import annotations

import json

from millprep.report.guide import explanations, guide_pages, renamed
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
