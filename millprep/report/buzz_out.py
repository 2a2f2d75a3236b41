"""buzz-out.csv and its words on the sheet: which pads to touch with a meter, and what to expect."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.report.words import number, plain

if TYPE_CHECKING:
    from millprep.values.check import Check, Touch
    from millprep.values.cut_set import CutSet

FILE = "buzz-out.csv"
HEADER = (
    "check", "board", "copy", "blank", "expect",
    "piece_1", "net_1", "pad_1", "x_1", "y_1", "y_1_from_components",
    "piece_2", "net_2", "pad_2", "x_2", "y_2", "y_2_from_components",
    "when", "gap", "why",
)  # fmt: skip


MARKS = {
    "at any time": "",
    "once the links are soldered": "*",
    "before the links are soldered": "†",
}
"""When a check is due, as a row of the sheet says it; its legend has the words."""
SAID_ABOVE = (", its pads farthest apart", " between them at their narrowest")
"""Ends of reasons that the sheet says once above its table: rows are to be short."""
JOIN = re.compile(r"passes (\d+) and (\d+) meet at")


@dataclass(frozen=True, slots=True)
class BuzzRow:
    """One check as a row of the sheet."""

    name: str
    one: str
    other: str
    expect: str
    when: str
    why: str


@dataclass(frozen=True, slots=True)
class BuzzTable:
    """The checks of one copy of a board."""

    title: str
    rows: tuple[BuzzRow, ...]


def table_text(cut_set: CutSet) -> str:
    """The checks as CSV.

    x and y are mm from the low corner of the board as it lies on the mill, copper up. Turned
    over about its long side as the components see it, x stays and y counts from the other side.
    """
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(HEADER)
    for n, check in enumerate(cut_set.checks, 1):
        placement = cut_set.layout.placements[check.placement]
        _, y0, _, y1 = placement.pose.shape(placement.board.outline).bounds
        rows.writerow(
            (
                n,
                placement.board.name,
                placement.copy,
                placement.blank,
                check.expect,
                *_cells(check.one, y1 - y0),
                *_cells(check.other, y1 - y0),
                check.when,
                "" if check.gap is None else f"{check.gap:.4f}",
                check.why,
            )
        )
    return text.getvalue()


def tables(cut_set: CutSet) -> tuple[BuzzTable, ...]:
    """The checks of each copy for the sheet, named as in the CSV."""
    found = []
    for placement in cut_set.layout.placements:
        rows = tuple(
            _row(n, check)
            for n, check in enumerate(cut_set.checks, 1)
            if check.placement == placement.index
        )
        if rows:
            name = plain(placement.board.name, 60)
            title = f"{name}, copy {placement.copy}, blank {placement.blank}"
            found.append(BuzzTable(title, rows))
    return tuple(found)


def _row(n: int, check: Check) -> BuzzRow:
    expect = {"continuity": "connected", "isolation": "apart"}[check.expect]
    why = check.why
    for end in SAID_ABOVE:
        why = why.removesuffix(end)
    why = JOIN.sub(r"join \1|\2", why)
    mark = MARKS[check.when]
    return BuzzRow(str(n), _words(check.one), _words(check.other), expect, mark, plain(why))


def _words(touch: Touch) -> str:
    what = "bare" if touch.piece is None else plain(touch.pad or touch.piece, 20)
    return f"{what} {number(touch.at[0], 1)}, {number(touch.at[1], 1)}"


def _cells(touch: Touch, height: float) -> tuple[str, ...]:
    x, y = touch.at
    names = (touch.piece or "", touch.net or "", touch.pad or "")
    return (*names, f"{x:.2f}", f"{y:.2f}", f"{height - y + 0.0:.2f}")
