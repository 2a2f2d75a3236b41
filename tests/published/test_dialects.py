"""Every dialect that NISTIR 6556 allows, as the interpreter that descends from it takes it.

Not allowed by the report, and known to this interpreter from later: comments after a semicolon.
Not allowed, and unknown to it: milliseconds, which it takes for seconds; only its motions are
compared there. The motions it makes, G81 and G83 expanded, are those of toolpaths.csv.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest

from millprep.model.dialect import Dialect
from millprep.verify.reader import read
from tests.helpers import dialects, rs274_tool
from tests.helpers.dialects import Made
from tests.helpers.interpreted import HALF_A_DIGIT, differences, table
from tests.helpers.rs274_tool import needs_interpreter

MOTION = [
    Dialect(arcs=arcs, cycles=cycles, decimals=decimals)
    for arcs, cycles, decimals in itertools.product((True, False), (True, False), (2, 3, 4, 6))
    if not (arcs and decimals == 2)
]
SPELT = [
    Dialect(cycles=True, line_numbers=True),
    Dialect(comments="semicolon", start_lines=("M8 ; dust", "G61"), end_lines=("M9",)),
    Dialect(comments="none", line_ends="crlf"),
    Dialect(dwell_unit="ms"),
    Dialect(percent=True, end="M30", start_lines=("M7 (air)",)),
    Dialect(
        arcs=False, cycles=True, comments="semicolon", line_numbers=True, decimals=3,
        line_ends="crlf", dwell_unit="ms", percent=True, end="M30", start_lines=("G61",),
        end_lines=("G4 P500.",),
    ),
]  # fmt: skip


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return dialects.made(tmp_path_factory.mktemp("published"))


@needs_interpreter
@pytest.mark.parametrize("dialect", MOTION + SPELT, ids=str)
def test_the_interpreter_makes_the_table_s_motions(
    dialect: Dialect, board: Made, tmp_path: Path
) -> None:
    texts = board.written(tmp_path, board.machine(dialect))
    programs = table(tmp_path)
    # beyond four decimals table and interpreter round each on their own
    within = HALF_A_DIGIT if dialect.decimals <= 4 else 4 * HALF_A_DIGIT
    for program, text in zip(board.cut_set.programs, texts, strict=True):
        canon = rs274_tool.canon(text)
        assert differences(programs[program.file], canon, within) == [], program.file


@needs_interpreter
def test_a_cycle_that_goes_deeper_is_found(tmp_path: Path) -> None:
    # where cycles are wanted, drills do not hop
    (folder := tmp_path / "own").mkdir()
    board = dialects.made(folder, dialects.NO_HOPS)
    texts = board.written(tmp_path, board.machine(Dialect(cycles=True)))
    programs = table(tmp_path)
    cut = [
        (program.file, text)
        for program, text in zip(board.cut_set.programs, texts, strict=True)
        if "G83" in text or "G81" in text
    ]
    assert {word for _, text in cut for word in ("G81", "G83") if word in text} == {"G81", "G83"}
    for file, text in cut:
        spoilt = re.sub(r"(G8[13] .*) Z-2", r"\1 Z-3", text, count=1)
        assert spoilt != text
        assert differences(programs[file], rs274_tool.canon(spoilt))


def test_g83_is_read_as_the_report_has_it() -> None:
    """NISTIR 6556, 3.5.16 (quoted from memory).

    Feed down by Q or to Z, whichever is less deep; rapid back to R; rapid down to the hole's
    bottom, backed off a bit; again until Z is reached; then rapid up. The bit is 0.254 mm.
    """
    text = "G21 G90 G94 G17\nG0 Z5.\nG0 X1. Y2.\nG99 G83 X4. Y2. Z-2. R5. Q4. F100.\nG80\nM2\n"
    moves = read(text, file="one.ngc", dialect=Dialect(cycles=True)).moves
    assert [(m.kind, round(m.end[2], 4)) for m in moves[2:]] == [
        ("rapid", 5.0),
        ("feed", 1.0), ("rapid", 5.0), ("rapid", 1.254),
        ("feed", -2.0), ("rapid", 5.0),
    ]  # fmt: skip


def test_a_line_number_has_five_digits_at_most() -> None:
    """NISTIR 6556, 3.3.1: a line number is N and an integer of 0 to 99999, five digits at most."""
    good = read("N99999 M2\n", file="one.ngc")
    assert good.ended == "M2"
    with pytest.raises(Exception, match="one to five digits"):
        read("N100000 M2\n", file="one.ngc")
