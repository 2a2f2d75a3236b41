"""The layout as a file: written, read, edited by hand, refused with the line."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.blank import Spot
from millprep.model.finding import Refusal
from millprep.nesting.file import read, sheets_of, text_of
from millprep.nesting.wanted import StockSheet

SHEETS = [
    StockSheet(shapely.box(0, 0, 300, 200), 5.0, 3.0, 2),
    StockSheet(shapely.Polygon([(0, 0), (120.5, 0), (80, 60), (0, 60)]), 5.0, 3.0),
]
SPOTS = (
    Spot("lamp {driver}", 1, 1, 5.0, 107.1234, 90.0),
    Spot("lamp {driver}", 2, 1, 68.0, 5.0, 22.123456789),
    Spot('say "hi" # no', 1, 2, 5.0, 5.0),
)
TEXT = text_of(SPOTS, (0, 1), SHEETS)


def test_what_is_written_reads_back_to_the_digit() -> None:
    layout = read(TEXT, "layout.toml")
    assert layout.spots == SPOTS
    assert sheets_of(layout, SHEETS, "layout.toml") == (0, 1)
    assert text_of(layout.spots, (0, 1), SHEETS) == TEXT


def test_every_copy_has_its_line() -> None:
    layout = read(TEXT, "layout.toml")
    lines = TEXT.splitlines()
    assert len(layout.lines) == 3
    for (board, copy), line in layout.lines.items():
        assert board.split()[0].strip('"') in lines[line - 1]
        assert f"copy = {copy:3}" in lines[line - 1]


def test_a_file_in_another_style_reads_too() -> None:
    text = """
    format = 1
    [[blank]]
    number = 1
    size = [300, 200]
    [[blank.boards]]
    board = "lamp"
    copy = 1
    x = 5
    y = 6.5
    """
    layout = read(text, "layout.toml")
    assert layout.spots == (Spot("lamp", 1, 1, 5.0, 6.5, 0.0),)
    assert layout.lines == {}


@pytest.mark.parametrize(
    ("old", "new", "words", "line"),
    [
        ("x =    5.0000, y =  107", 'x = "a", y =  107', "x, y and turn are numbers", 10),
        ("copy =   2", "copy = 0", "copy is a number from 1", 11),
        ("copy =   2", "copy = true", "copy is a number from 1", 11),
        ("turn = 90", "turn = nan", "x, y and turn are numbers", 10),
        ("turn = 90", "turn = 1" + 400 * "0", "x, y and turn are numbers within", 10),
        ("x =    5.0000, y =  107", "x = -1e20, y =  107", "within ±10000", 10),
        ("turn = 90", "angle = 90", "no key angle", 10),
        ("number = 2", "number = 3", "this one is 2", 14),
        ("size = [300, 200]", "size = [300]", "needs size", 6),
        ("format = 1", "format = 2", "format must be 1", None),
        ("outline = [", "outline = [1, ", "outline is a list", 14),
        ("boards = [", "boards = [[", "not valid TOML", None),
    ],
)
def test_mistakes_have_their_line(old: str, new: str, words: str, line: int | None) -> None:
    assert old in TEXT
    with pytest.raises(Refusal, match=words) as refused:
        read(TEXT.replace(old, new, 1), "layout.toml")
    finding = refused.value.findings[0]
    assert finding.file == "layout.toml"
    if line is not None:
        assert finding.line == line
    assert refused.value.exit_code == 2


def test_all_mistakes_are_reported_together() -> None:
    text = TEXT.replace("turn = 90", "turn = inf").replace("copy =   2", "copy = -1")
    with pytest.raises(Refusal) as refused:
        read(text, "layout.toml")
    assert [finding.line for finding in refused.value.findings] == [10, 11]


ENTRY = "format = 1\n[[blank]]\nnumber = 1\nsize = [30, 40]\nboards = [\n{}\n]\n"
A_COPY = 'a copy is {board = "…", copy = 1, x = 0.0, y = 0.0, turn = 0}.'


@pytest.mark.parametrize(
    ("text", "words", "line"),
    [
        ("format = 1\nblank = [3]\n", "a blank is a table: [[blank]].", None),
        ("format = 1\nblank = 3\n", "a blank is a table: [[blank]].", None),
        ("format = 1\n[blank]\nnumber = 1\n", "a blank is a table: [[blank]].", None),
        (
            "format = 1\n[[blank]]\nnumber = 1\nsize = [30, 40]\nboards = 3\n",
            "blank 1: boards is a list, one line a copy.", 2,
        ),
        (ENTRY.format("3"), A_COPY, None),
        (ENTRY.format("{copy = 1, x = 1, y = 1}"), "a copy needs the name of its board.", 6),
        (
            ENTRY.format('{board = "", copy = 1, x = 1, y = 1}'),
            "a copy needs the name of its board.", 6,
        ),
    ],
)  # fmt: skip
def test_what_is_no_blank_or_copy_says_so(text: str, words: str, line: int | None) -> None:
    with pytest.raises(Refusal) as refused:
        read(text, "layout.toml")
    (finding,) = refused.value.findings
    assert (finding.message, finding.line) == (f"Layout file: {words}", line)


def test_a_blank_the_job_has_not() -> None:
    layout = read(TEXT.replace("[300, 200]", "[310, 200]"), "layout.toml")
    with pytest.raises(Refusal, match="310 × 200 mm") as refused:
        sheets_of(layout, SHEETS, "layout.toml")
    assert refused.value.findings[0].line == 6
