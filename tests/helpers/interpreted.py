"""Programs run by the outside RS-274 interpreter, held against the table of motions."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import NamedTuple

from tests.helpers import rs274_tool

HALF_A_DIGIT = 0.5e-4 + 1e-9


class Row(NamedTuple):
    """A row of toolpaths.csv."""

    line: int
    motion: str
    x: float
    y: float
    z: float
    centre: tuple[float, float] | None


@cache
def table(folder: Path) -> dict[str, list[Row]]:
    """The rows of every program, by the program's file."""
    programs: dict[str, list[Row]] = {}
    with (folder / "toolpaths.csv").open(newline="") as lines:
        for row in csv.DictReader(lines):
            where = "spoilboard"
            if row["pass"] != "0":
                where = f"blank-{row['blank']}/pass-{row['pass']}"
            rows = programs.setdefault(f"{where}/{row['program']}", [])
            x, y, z = (float(row[word]) for word in "xyz")
            centre = None
            if row["i"]:
                before = rows[-1]
                centre = (before.x + float(row["i"]), before.y + float(row["j"]))
            rows.append(Row(int(row["line"]), row["motion"], x, y, z, centre))
    return programs


def differences(
    rows: list[Row], canon: list[rs274_tool.CanonMove], within: float = HALF_A_DIGIT
) -> list[str]:
    """Where the interpreter's motions are not the table's."""
    # The start is no motion, and of the first move up no word tells x and y.
    first, *moves = canon
    up, rows = rows[1], rows[2:]
    found = [] if first.kind == up.motion and first.z == up.z else [f"first move {first}"]
    if len(moves) != len(rows):
        found.append(f"{len(moves)} moves, {len(rows)} rows")
    for row, move in zip(rows, moves, strict=False):
        kind = "arc" if row.centre else row.motion
        far = max(abs(a - b) for a, b in zip(row[2:5], move[1:4], strict=True))
        if row.centre and move.centre:
            far = max(far, *(abs(a - b) for a, b in zip(row.centre, move.centre, strict=True)))
            kind = kind if move.turn == (1 if row.motion == "arc_ccw" else -1) else "other way"
        if kind != move.kind or far > within:
            found.append(f"line {row.line}: {row} {move}")
    return found
