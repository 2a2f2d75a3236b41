"""A program that touches holes, as the interpreter that descends from NISTIR 6556 runs it.

Source: the `rs274` interpreter (see rs274_tool). Its straight probes and feeds must be those of
toolpaths.csv, which holds a touch as the feed to where it is aimed.
"""

from __future__ import annotations

import csv
from pathlib import Path

from tests.helpers import rs274_tool, small_job
from tests.helpers.interpreted import HALF_A_DIGIT
from tests.helpers.rs274_tool import needs_interpreter
from tests.helpers.small_job import run
from tests.helpers.strip_set import JOB, TOUCHING, strip


@needs_interpreter
def test_the_interpreter_runs_every_touch_as_the_table_has_it(tmp_path: Path) -> None:
    done = run("prepare", small_job.put(tmp_path, JOB + TOUCHING, strip), "--out", tmp_path / "set")
    assert done.exit_code == 0, done.output
    (file,) = (tmp_path / "set" / "blank-1" / "pass-2").glob("02-probe-*.ngc")
    moves = rs274_tool.canon(file.read_text("ascii"))
    with (tmp_path / "set" / "toolpaths.csv").open() as stream:
        rows = [
            row
            for row in csv.DictReader(stream)
            if row["pass"] == "2" and row["program"] == file.name
        ]
    # the first row is the start, of the first move up no word tells x and y
    assert len(moves) == len(rows) - 1
    for move, row in zip(moves[1:], rows[2:], strict=True):
        assert ("feed" if move.kind == "probe" else move.kind) == row["motion"]
        for got, table_rows in zip(move[1:4], (row["x"], row["y"], row["z"]), strict=True):
            assert abs(got - float(table_rows)) <= HALF_A_DIGIT
    assert sum(move.kind == "probe" for move in moves) == 16
