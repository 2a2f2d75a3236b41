"""The table of motions beside a program is the program."""

from __future__ import annotations

import math

import pytest

from millprep.model.program import Program
from millprep.verify.reader import read
from millprep.verify.trace import MotionRow, check_rows, rows_by_file
from tests.helpers.programs import HEAD, TAIL, drill

TEXT = HEAD + "G0 X1.5 Y2.\nG1 Z-0.1 F60.\nG1 X4. Y2. F300.\nG3 X4. Y6. I0. J2.\nG0 Z2.\n" + TAIL
ROWS = [
    MotionRow("rapid", 0.0, 0.0, 5.0, None, None, None),
    MotionRow("rapid", 0.0, 0.0, 30.0, None, None, None),
    MotionRow("rapid", 1.0, 1.0, 30.0, None, None, None),
    MotionRow("feed", 1.0, 1.0, 1.0, None, None, 100.0),
    MotionRow("rapid", 1.0, 1.0, 2.0, None, None, None),
    MotionRow("rapid", 1.5, 2.0, 2.0, None, None, None),
    MotionRow("feed", 1.5, 2.0, -0.1, None, None, 60.0),
    MotionRow("feed", 4.0, 2.0, -0.1, None, None, 300.0),
    MotionRow("arc_ccw", 4.0, 6.0, -0.1, 0.0, 2.0, 300.0),
    MotionRow("rapid", 4.0, 6.0, 2.0, None, None, None),
    MotionRow("rapid", 4.0, 6.0, 2.0, None, None, None),
    MotionRow("rapid", 4.0, 6.0, 30.0, None, None, None),
]


def codes(text: str, rows: list[MotionRow]) -> list[tuple[str, int | None]]:
    found = check_rows(read(text, file="a"), rows, file="a")
    return [(finding.code, finding.line) for finding in found]


def test_the_same() -> None:
    assert codes(TEXT, ROWS) == []


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("X4. Y2.", "X4.0002 Y2.", 12),
        ("G1 X4. Y2.", "G0 X4. Y2.", 12),
        ("F300.", "F301.", 12),
        ("F60.", "F61.", 11),
        ("G3 X4. Y6. I0. J2.", "G3 X4. Y6. I1. J2.", 13),
        ("G3", "G2", 13),
        ("G0 X1.5 Y2.\n", "", 10),
        ("X1.5 Y2.", "X1.5", 10),
        ("G0 Z30.\nM5", "M5", 17),
        ("Z-0.1", "Z-0.1002", 11),
    ],
)
def test_every_change_of_a_word_is_seen(old: str, new: str, line: int) -> None:
    assert old in TEXT
    assert codes(TEXT.replace(old, new), ROWS) == [("file-differs", line)]


def test_a_table_that_is_longer_or_empty() -> None:
    assert codes(TEXT, [*ROWS, ROWS[-1]]) == [("file-differs", 18)]
    assert codes(TEXT, []) == [("file-differs", 1)]


def test_half_a_digit_is_rounding() -> None:
    near = [row._replace(x=row.x + 0.00004) for row in ROWS]
    assert codes(TEXT, near) == []


def test_rows_are_those_of_the_programs_that_are_asked_for() -> None:
    head = "blank,pass,program,line,motion,x,y,z,i,j,feed"
    mine = "1,2,03-drill-x.ngc,9,arc_cw,1.5,2,-0.1,0,2.5,300"
    others = [
        mine.replace("1,2", "1,1", 1),
        mine.replace("1,2", "2,2", 1),
        mine.replace("03", "04"),
    ]
    program = Program(
        file="blank-1/pass-2/03-drill-x.ngc", blank=1, mill_pass=2, cutter=drill(),
        works=("drill",), depth=2.0, spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip
    found = rows_by_file([head, *others, mine], [program])
    assert found == {program.file: [MotionRow("arc_cw", 1.5, 2.0, -0.1, 0.0, 2.5, 300.0)]}


@pytest.mark.parametrize("column", ["x", "y", "z", "i", "j", "feed"])
def test_a_row_that_holds_no_number_is_no_move(column: str) -> None:
    spoilt = [row if n != 8 else row._replace(**{column: math.nan}) for n, row in enumerate(ROWS)]  # type: ignore[arg-type]
    assert ROWS[8].motion == "arc_ccw"
    assert codes(TEXT, spoilt) == [("file-differs", 13)]
