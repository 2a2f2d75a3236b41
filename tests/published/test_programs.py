"""Every program of the examples, as readers that are not ours understand it.

Sources: the `rs274` interpreter, which descends from the program of NISTIR 6556 (see
rs274_tool), and gcodeparser from the package index. The end points they find are compared
with toolpaths.csv; program, table and the interpreter's print all hold four decimals, so what
the interpreter prints may be off by half the last digit, and what is parsed from the text not
at all.
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import gcodeparser
import pytest

from tests.helpers import rs274_tool
from tests.helpers.interpreted import Row, differences, table
from tests.helpers.rs274_tool import needs_interpreter

ARC_ENDS = 0.002
"""Largest difference of an arc's radii at start and end, mm.

NISTIR 6556, 3.5.3.2 (page 28): an error where the distances of centre to current point and to
end point differ by more than 0.0002 inch or 0.002 mm. Quoted from memory.
"""


@needs_interpreter
def test_the_interpreter_makes_the_table_s_motions(example_set: Path) -> None:
    programs = table(example_set)
    assert set(programs) == {
        str(file.relative_to(example_set)) for file in example_set.rglob("*.ngc")
    }
    for file, rows in programs.items():
        canon = rs274_tool.canon((example_set / file).read_text("ascii"))
        assert differences(rows, canon) == [], file


@needs_interpreter
def test_a_program_that_differs_from_the_table_is_found(indicators: Path) -> None:
    file = "blank-1/pass-1/02-isolate-vee.ngc"
    rows = table(indicators)[file]
    lines = (indicators / file).read_text("ascii").splitlines()
    # before another arc a missing one would be refused, its radii at both ends no longer the same
    arc = next(a for a, b in pairwise(rows) if (a.motion, b.motion) == ("arc_cw", "feed"))
    spoilt = lines.copy()
    spoilt[arc.line - 1] = spoilt[arc.line - 1].replace("G2 ", "G3 ", 1)
    assert differences(rows, rs274_tool.canon("\n".join(spoilt)))
    moved = [*rows[:-1], rows[-1]._replace(x=rows[-1].x + 0.0002)]
    assert len(differences(moved, rs274_tool.canon("\n".join(lines)))) == 1
    del spoilt[arc.line - 1]
    assert differences(rows, rs274_tool.canon("\n".join([*spoilt, ""])))


WORDS = {0: "rapid", 1: "feed", 2: "arc_cw", 3: "arc_ccw"}


def parsed(text: str) -> list[Row]:
    """Motion as gcodeparser reads it; it keeps only lines that carry a G word."""
    rows: list[Row] = []
    x = y = z = 0.0
    for line in gcodeparser.parse_gcode_lines(text):
        letter, number = line.command
        if letter != "G" or number not in WORDS:
            continue
        words = line.params
        centre = (x + words["I"], y + words["J"]) if "I" in words else None
        x, y, z = words.get("X", x), words.get("Y", y), words.get("Z", z)
        rows.append(Row(line.line_index + 1, WORDS[number], x, y, z, centre))
    return rows


def test_a_second_reader_finds_the_same_words(example_set: Path) -> None:
    for file, rows in table(example_set).items():
        _up, *read = parsed((example_set / file).read_text("ascii"))
        # the start, then the move up, whose x and y no word of the program tells
        assert read == rows[2:], file


def test_a_changed_word_is_found(indicators: Path) -> None:
    file = "blank-1/pass-1/03-drill-1.0.ngc"
    rows = table(indicators)[file]
    text = (indicators / file).read_text("ascii")
    word = f"X{rows[-2].x:.4f}"
    assert word in text
    _up, *read = parsed(text.replace(word, f"X{rows[-2].x + 0.0001:.4f}"))
    assert read != rows[2:]


def widest(rows: list[Row]) -> float:
    """The largest difference between an arc's radius at its start and at its end."""
    found = 0.0
    for before, row in pairwise(rows):
        if row.centre:
            start = math.dist(before[2:4], row.centre)
            found = max(found, abs(math.dist(row[2:4], row.centre) - start))
    return found


def test_the_radii_of_an_arc_agree_at_both_ends(example_set: Path) -> None:
    arcs = 0
    for file, rows in table(example_set).items():
        arcs += sum(row.centre is not None for row in rows)
        assert widest(rows) <= ARC_ENDS, file
    assert arcs > 100


def test_radii_that_differ_are_found() -> None:
    start = Row(1, "feed", 0.0, 0.0, 0.0, None)
    assert widest([start, Row(2, "arc_cw", 2.0021, 0.0, 0.0, (1.0, 0.0))]) > ARC_ENDS


@needs_interpreter
def test_the_interpreter_refuses_an_arc_whose_end_lies_off_it() -> None:
    text = "G21 G90 G17\nG0 Z5.\nG0 X0. Y0.\nG1 Z0. F100.\nG2 X0. Y2. I1. J0.\nM2\n"
    with pytest.raises(rs274_tool.Refused, match=r"[Rr]adius"):
        rs274_tool.canon(text)
