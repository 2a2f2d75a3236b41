"""buzz-out.csv and its words on the sheet: which pads to touch with a meter, and what to expect."""

from __future__ import annotations

import csv
import io
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

from millprep.model.blank import Placement
from millprep.model.judged import Check, GapReason, JoinReason, NetReason, Reason, Touch
from millprep.model.set_of_programs import CutSet
from millprep.report.words import number, plain

Numbered = tuple[int, "Check"]
"""A check and its number in the CSV."""

FILE = "buzz-out.csv"
HEADER = (
    "check", "board", "copy", "blank", "expect",
    "piece_1", "net_1", "pad_1", "x_1", "y_1", "y_1_from_components",
    "piece_2", "net_2", "pad_2", "x_2", "y_2", "y_2_from_components",
    "when", "gap", "why", "pin_1", "pin_2",
)  # fmt: skip


FORMULA = ("=", "+", "-", "@", "'")
"""What a spreadsheet takes for the beginning of a formula, and the apostrophe itself."""

MARKS = {"any time": "", "after soldering": "*", "before soldering": "†"}
"""When a check is due, as a row of the sheet says it; its legend has the words."""
WHEN_WORDS = {
    "any time": "at any time",
    "after soldering": "after the jumper wires are soldered",
    "before soldering": "before the jumper wires are soldered",
}
MOST_ISOLATED, MOST_CONNECTED = 36, 9
"""Checks on the short list, of all boards together."""


@dataclass(frozen=True, slots=True)
class BuzzRow:
    """One check as a row of the sheet; `short` is the reason in fewer words still."""

    name: str
    first: str
    second: str
    expect: str
    when: str
    why: str
    short: str


@dataclass(frozen=True, slots=True)
class BuzzTable:
    """The checks of one copy of a board."""

    title: str
    rows: tuple[BuzzRow, ...]


@dataclass(frozen=True, slots=True)
class ShortTable:
    """The checks to make first on one copy; no title where there is only one."""

    title: str
    isolated: tuple[BuzzRow, ...]
    connected: tuple[BuzzRow, ...]


@dataclass(frozen=True, slots=True)
class ShortList:
    """The checks to make first, of how many, and whether any depends on jumper wires."""

    tables: tuple[ShortTable, ...]
    shown: int
    all: int
    marks: bool


def table_text(cut_set: CutSet) -> str:
    """The checks as CSV.

    x and y are mm from the low corner of the board as it lies on the mill, copper up. Turned
    over about its long side as the components see it, x stays and y counts from the other side.
    """
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(HEADER)
    for placement, checks in _numbered(cut_set):
        _, y0, _, y1 = placement.pose.shape(placement.board.outline).bounds
        for n, check in checks:
            rows.writerow(
                (
                    n,
                    _cell(placement.board.name),
                    placement.copy,
                    placement.blank,
                    check.expect,
                    *_cells(check.first, y1 - y0),
                    *_cells(check.second, y1 - y0),
                    WHEN_WORDS[check.when],
                    "" if check.gap is None else f"{check.gap:.4f}",
                    _cell(reason_words(check.reason)[0]),
                    _cell(check.first.pin),
                    _cell(check.second.pin),
                )
            )
    return text.getvalue()


def tables(cut_set: CutSet) -> tuple[BuzzTable, ...]:
    """The checks of each copy for the sheet, named as in the CSV."""
    tables_ = []
    for placement, checks in _numbered(cut_set):
        rows = tuple(_row(n, check) for n, check in checks)
        if rows:
            board = plain(placement.board.name, 60)
            title = f"{board}, copy {placement.copy}, blank {placement.blank}"
            tables_.append(BuzzTable(title, rows))
    return tuple(tables_)


def shortest(cut_set: CutSet) -> ShortList | None:
    """The checks to make first; None where there are none.

    Of each board the copy with the narrowest gap: its narrowest gaps and its joins, which must
    be apart, and its longest ways, which must be connected.
    """
    kinds: dict[str, list[tuple[Placement, list[Numbered]]]] = {}
    for placement, checks in _numbered(cut_set):
        if checks:
            kinds.setdefault(placement.board.name, []).append((placement, checks))
    if not kinds:
        return None
    most_isolated = max(MOST_ISOLATED // len(kinds), 3)
    most_connected = max(MOST_CONNECTED // len(kinds), 1)
    tables_, shown = [], 0
    for copies in kinds.values():
        placement, checks = min(copies, key=lambda copy: (_least_gap(copy[1]), copy[0].index))
        isolated = [(n, check) for n, check in checks if check.expect == "isolation"]
        to_isolate = _first_isolated(isolated, most_isolated)
        runs = [(n, check) for n, check in checks if check.expect == "continuity"]
        runs.sort(key=lambda run: -math.dist(run[1].first.at, run[1].second.at))
        connected = sorted(runs[:most_connected], key=lambda run: run[0])
        shown += len(to_isolate) + len(connected)
        board = plain(placement.board.name, 40)
        title = f"{board}, copy {placement.copy} of {len(copies)}, blank {placement.blank}"
        tables_.append(
            ShortTable(
                title if len(cut_set.copies) > 1 else "",
                tuple(_row(n, check) for n, check in to_isolate),
                tuple(_row(n, check) for n, check in connected),
            )
        )
    marks = any(row.when for table in tables_ for row in (*table.isolated, *table.connected))
    every = sum(len(copy.checks) for copy in cut_set.copies)
    return ShortList(tuple(tables_), shown, every, marks)


def _numbered(cut_set: CutSet) -> Iterator[tuple[Placement, list[Numbered]]]:
    """The checks of every copy with their numbers in the CSV."""
    numbers = itertools.count(1)
    for copy in cut_set.copies:
        yield copy.placement, [(next(numbers), check) for check in copy.checks]


def _least_gap(checks: list[Numbered]) -> float:
    gaps = [check.gap for _, check in checks if check.gap is not None]
    return round(min(gaps, default=math.inf), 6)


def _first_isolated(checks: list[Numbered], most: int) -> list[Numbered]:
    """At most so many: the narrowest gaps, and joins from all along the board."""
    gaps = sorted(
        ((n, check) for n, check in checks if check.gap is not None),
        key=lambda numbered: numbered[1].gap or 0.0,
    )
    joins = [(n, check) for n, check in checks if check.gap is None]
    for_joins = min(len(joins), max(most // 2, most - len(gaps)))
    step = len(joins) / for_joins if for_joins else 1.0
    chosen = [joins[int(k * step)] for k in range(for_joins)] + gaps[: most - for_joins]
    return sorted(chosen, key=lambda numbered: numbered[0])


def _row(n: int, check: Check) -> BuzzRow:
    _, why, short = reason_words(check.reason)
    return BuzzRow(
        str(n),
        _words(check.first),
        _words(check.second),
        "connected" if check.expect == "continuity" else "isolated",
        MARKS[check.when],
        plain(why),
        plain(short, 24),
    )


def reason_words(reason: Reason) -> tuple[str, str, str]:
    """Why a check is on the list.

    In full for the CSV, without what the sheet says once above its table, in fewer words still.
    """
    match reason:
        case NetReason(net):
            return f"net {net}, its pads farthest apart", f"net {net}", f"net {net}"
        case GapReason(gap):
            full = f"{gap:.3f} mm between them at their narrowest"
            return full, f"{gap:.3f} mm", f"{gap:.2f} mm"
        case JoinReason((first, second), (x, y)):
            full = f"passes {first} and {second} meet at {x:.1f}, {y:.1f}"
            short = f"join {first}|{second}"
            return full, f"{short} {x:.1f}, {y:.1f}", short


def _words(touch: Touch) -> str:
    what = "floating" if touch.piece is None else plain(touch.pin or touch.pad or touch.piece, 20)
    return f"{what} {number(touch.at[0], 1)}, {number(touch.at[1], 1)}"


def _cells(touch: Touch, height: float) -> tuple[str, ...]:
    x, y = touch.at
    return (
        touch.piece or "",
        _cell(touch.net),
        touch.pad or "",
        f"{x:.2f}",
        f"{y:.2f}",
        f"{height - y + 0.0:.2f}",
    )


def _cell(name: str | None) -> str:
    """A name on one line; one that begins as formulas do has an apostrophe first."""
    name = plain(name or "", len(name or ""))
    return f"'{name}" if name.startswith(FORMULA) else name
