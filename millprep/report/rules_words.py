"""What the rules of the trade found, in lines for a terminal and rows for the sheet."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.report.cutting_words import cutting_lines
from millprep.report.words import columns, many, number, plain

if TYPE_CHECKING:
    from millprep.geometry.path import Point
    from millprep.model.judged import BaseFound, BoardJudged, NetJudged, Spacing
    from millprep.model.set_of_programs import CutSet

MOST_PAIRS = 20
"""Pairs that are told one by one; the rest is counted."""
CAUTION = (
    "This is functional spacing by a copy of IPC-2221 table 6-1. It is no "
    "insulation that protects a person; follow the standard itself and licensed "
    "practice first."
)


@dataclass(frozen=True, slots=True)
class Page:
    """What the sheet tells of one copy: rows as the functions below make them."""

    title: str
    spacing: list[tuple[str, ...]]
    more: int
    current: list[tuple[str, ...]]
    across: list[tuple[str, ...]]


def pages(cut_set: CutSet) -> list[Page]:
    """The copies of which nets are named."""
    found: list[Page] = []
    for copy in cut_set.copies:
        board, placement = copy.judged, copy.placement
        if board is None or not board.nets:
            continue
        rows, more = spacing_rows(board)
        found.append(
            Page(
                (
                    f"{plain(placement.board.name)}, copy {placement.copy} on blank "
                    f"{placement.blank}"
                ),
                rows,
                more,
                [current_row(one) for one in board.nets if one.neck is not None],
                across_rows(board),
            )
        )
    return found


def told(cut_set: CutSet) -> list[str]:
    """Everything that was judged, board by board."""
    lines: list[str] = []
    for copy in cut_set.copies:
        board, placement = copy.judged, copy.placement
        if board is None:
            continue
        lines.append(
            f"{plain(placement.board.name)}, copy {placement.copy} on blank {placement.blank} "
            "(places in mm on the blank)"
        )
        for part in (_spacing, _current, _lost, _across, _bases, _rings):
            lines += [f"  {line}" for line in part(board)]
    lines += cutting_lines(p.cutting for p in cut_set.programs if p.cutting is not None)
    if all(copy.judged is None for copy in cut_set.copies):
        lines.append("nothing was judged: the job stops before the copper is cut in simulation")
    return lines


def _spacing(board: BoardJudged) -> list[str]:
    if not board.spacings:
        return []
    lines = [
        f"spacing, {many(len(board.spacings), 'pair')} of neighbours, least margin first; "
        f"column {board.rules.spacing}. {CAUTION}"
    ]
    rows, more = spacing_rows(board)
    lines += columns([("", "V", "required", "measured", "direct", "margin", "over", "at"), *rows])
    if more:
        lines.append(f"  and {many(more, 'pair')} with no less margin")
    return lines


def spacing_rows(board: BoardJudged) -> tuple[list[tuple[str, ...]], int]:
    """The first pairs, as `spacing_row`, and how many more there are.

    Pairs of one net that differ only in what lies beyond the same gap are told in one row.
    """
    groups = [
        list(alike)
        for _, alike in itertools.groupby(
            board.spacings, lambda one: (one.one, one.at, one.measured, one.required)
        )
    ]
    told = groups[:MOST_PAIRS]
    more = len(board.spacings) - sum(len(group) for group in told)
    return [spacing_row(group[0], len(group) - 1) for group in told], more


def spacing_row(one: Spacing, alike: int = 0) -> tuple[str, ...]:
    """Pair, volts, required, measured, direct, margin, floating areas on the way, place."""
    others = f" and {alike} more" if alike else ""
    return (
        f"{plain(one.one, 30)} - {plain(one.other, 40)}{others}",
        number(one.volts, 1),
        number(one.required, 3),
        f"{one.measured:.3f}",
        "far" if one.direct is None else f"{one.direct:.3f}",
        f"{one.margin:+.3f}",
        str(one.stones),
        _place(one.at),
    )


def _current(board: BoardJudged) -> list[str]:
    rows: list[tuple[str, ...]] = [current_row(one) for one in board.nets if one.neck is not None]
    if not rows:
        return []
    head = (
        f"current, the section nearest to its limit ({number(board.rules.temperature_rise)} K, "
        f"{number(board.copper * 1000, 1)} µm of copper, curves of IPC-2221)"
    )
    return [head, *columns([("", "A", "width", "carries A", "at"), *rows])]


def current_row(one: NetJudged) -> tuple[str, ...]:
    """Net, amperes, width of its tightest section, what that carries, place."""
    assert one.neck is not None
    neck = one.neck.neck
    return (
        plain(one.net.name, 30),
        number(neck.amperes, 3),
        f"{neck.width:.3f}",
        number(one.neck.carries),
        _place(neck.at),
    )


def _lost(board: BoardJudged) -> list[str]:
    lines: list[str] = []
    for one in board.nets:
        if one.feed is None:
            continue
        hot = ""
        if one.hottest is not None:
            hot = (
                f"; hottest neck {one.hottest.width:.3f} mm with "
                f"{number(one.hottest.amperes, 3)} A at {_place(one.hottest.at)}"
            )
        error = "" if one.error is None else f", known to {one.error:.1%}"
        lines.append(f"{plain(one.net.name, 30)}, volts lost from {plain(one.feed)}{error}{hot}")
        rows = [
            (
                plain(at.load.name, 30),
                number(at.load.amperes, 4),
                number(at.lost, 4),
                number(at.ohms * 1000, 3),
            )
            for at in one.loads
        ]
        rows += [
            (
                f"the wire {_place(wire.start)} to {_place(wire.end)}",
                number(wire.amperes, 4),
                number(wire.amperes * wire.ohms, 4),
                number(wire.ohms * 1000, 3),
            )
            for wire in one.wires
        ]
        lines += columns([("", "A", "V lost", "mΩ"), *rows])
    return lines


def _across(board: BoardJudged) -> list[str]:
    if not board.across:
        return []
    lines = ["between two nets, what each load gets"]
    rows = [across[1:] for across in across_rows(board)]
    return lines + columns([("", "between", "A", "V", "V lost"), *rows])


def across_rows(board: BoardJudged) -> list[tuple[str, ...]]:
    """Number, load, nets, amperes, volts, volts lost."""
    return [
        (
            str(n),
            plain(one.load, 30),
            f"{plain(one.one, 20)} and {plain(one.other, 20)}",
            number(one.amperes, 4),
            "-" if one.volts is None else f"{one.volts:.3f}",
            f"{one.lost:.4f}",
        )
        for n, one in enumerate(board.across, 1)
    ]


def _bases(board: BoardJudged) -> list[str]:
    if not board.bases:
        return []
    counts = Counter((one.base, number(one.circle)) for one in board.bases)
    kinds = ", ".join(f"{n} × {base} on {circle} mm" for (base, circle), n in counts.items())
    lines = [f"holes that stand like valve bases: {kinds}"]
    for one in board.bases:
        order = " ".join(one.pins)
        off = "" if not one.wrong else f"; off by {one.error:.2f} mm, its own is {one.true:g} mm"
        first = (
            f"pin 1 to {len(one.pins)}: {order}; milled the other way round they would count "
            f"backwards, {one.pins[-1]} first"
            if one.keyed
            else f"in the order of its pins, the first of them not told by the holes: {order}"
        )
        lines.append(f"  {one.base} at {_place(one.at)}{off}; {first}")
    holes = Counter((one.base, _pin_words(one)) for one in board.bases)
    lines += [f"  {n} × {base}: {words}" for (base, words), n in holes.items()]
    return lines


def _pin_words(one: BaseFound) -> str:
    """Holes and lands of a base beside what its pins ask for."""
    land = "no lands" if one.land is None else f"lands of {one.land:.2f}"
    return (
        f"holes of {one.hole:.2f} and {land} mm, its pins ask for {one.asked_hole:.2f} and "
        f"{one.asked_land:.2f}"
    )


def _rings(board: BoardJudged) -> list[str]:
    if not board.rings:
        return []
    least = board.rings[0]
    return [
        f"copper around holes: {least.worst:.2f} mm at worst, {least.ring:.2f} as asked, at "
        f"{least.hole}, {_place(least.at)}"
    ]


def _place(at: Point) -> str:
    return f"{at[0]:.2f}, {at[1]:.2f}"
