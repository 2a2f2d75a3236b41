"""How cutters are changed, on the sheet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from millprep.model.dialect import Dialect, ToolChange
from millprep.model.program import Figures
from millprep.model.set_of_programs import CutSet
from millprep.report.pass_tables import change_words, cutter_of, file_of, time_rows
from tests.helpers import dialects
from tests.helpers.invented_set import invented
from tests.helpers.small_job import changed


def with_change(cut_set: CutSet, way: ToolChange) -> CutSet:
    return replace(cut_set, machine=replace(cut_set.machine, tool_change=way))


@pytest.fixture(scope="module")
def joined(tmp_path_factory: pytest.TempPathFactory) -> tuple[CutSet, Path]:
    key = 'preset = "small-mill-300"\n'
    text = changed(key, f'{key}tool_change = "pause"\n', dialects.BOARD)
    made = dialects.made(tmp_path_factory.mktemp("sheet"), text)
    return made.cut_set, made.folder


def test_the_sheet_tells_lines_and_what_to_do_at_a_stop(joined: tuple[CutSet, Path]) -> None:
    cut_set, folder = joined
    sheet = (folder / "sheet.html").read_text("utf-8")
    for program in cut_set.programs:
        assert program.figures is not None
        if program.figures.lines is not None:
            first, last = program.figures.lines
            assert f"-isolate-to-profile.ngc, lines {first} to {last}" in sheet
            assert file_of(program, "").startswith(program.file)
    assert "stops, and names the cutter to fit" in sheet


def test_nothing_is_said_where_every_cutter_has_its_file(joined: tuple[CutSet, Path]) -> None:
    apart = with_change(joined[0], "files")
    assert change_words(apart) == ()
    assert cutter_of(apart, apart.programs[-1], change=True) == "fit mill: end mill, 2 mm"
    assert cutter_of(apart, apart.programs[-1], change=False) == "mill"


def test_a_changer_s_numbers_are_reported(joined: tuple[CutSet, Path]) -> None:
    cut_set = with_change(joined[0], "changer")
    # T is the place among the job's cutters
    assert cutter_of(cut_set, cut_set.programs[-1], change=True) == "T4, mill: end mill, 2 mm"
    (words,) = change_words(cut_set)
    assert "zero Z with the new cutter" in words
    assert "Z 28" in words


def test_programs_without_comments_are_reported(joined: tuple[CutSet, Path]) -> None:
    silent = with_change(joined[0], "files")
    machine = replace(silent.machine, dialect=Dialect(comments="none"))
    assert change_words(replace(silent, machine=machine)) == ("The programs have no comments.",)
    by_hand = replace(silent, machine=replace(machine, spindle="hand"))
    (words,) = change_words(by_hand)
    assert "at the first stop of each, start the spindle" in words


def test_times_of_programs_and_of_all_together() -> None:
    whole = invented(1)
    costs = [Figures(70.0, 60.0, 1.0, 1.0, 48.0), Figures(20.0, 15.0, 1.0, 1.0, 0.0)]
    first, second = (
        replace(p, figures=cost) for p, cost in zip(whole.programs[:2], costs, strict=True)
    )
    assert time_rows((first, second)) == (
        (first.file, "1 min 10 s", "1 min 00 s", "48 s", "1.25"),
        (second.file, "20 s", "15 s", "0 s", ""),
        ("All programs", "1 min 30 s", "1 min 15 s", "48 s", "1.56"),
    )
    assert time_rows(()) == ()
