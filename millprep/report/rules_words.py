"""Findings of the rules of the trade, in lines for a terminal and rows for the sheet."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.finding import many
from millprep.model.judged import BaseFit, BoardJudged, NetJudged, Spacing
from millprep.model.program import Cutting
from millprep.model.set_of_programs import CutSet
from millprep.report.words import columns, number, plain

MOST_PAIRS = 20
"""Pairs that are listed; the rest is counted."""
CAUTION = (
    "This is functional spacing by a copy of IPC-2221 table 6-1. It is no "
    "insulation that protects a person; follow the standard itself and licensed "
    "practice first."
)


@dataclass(frozen=True, slots=True)
class Page:
    """What the sheet shows of one copy: rows as the functions below make them."""

    title: str
    spacing: list[tuple[str, ...]]
    more: int
    current: list[tuple[str, ...]]
    across: list[tuple[str, ...]]


def pages(cut_set: CutSet) -> list[Page]:
    """The copies of which nets are named."""
    pages_: list[Page] = []
    for copy in cut_set.copies:
        board, placement = copy.judged, copy.placement
        if board is None or not board.nets:
            continue
        rows, more = spacing_rows(board)
        pages_.append(
            Page(
                (
                    f"{plain(placement.board.name)}, copy {placement.copy} on blank "
                    f"{placement.blank}"
                ),
                rows,
                more,
                [current_row(net) for net in board.nets if net.neck is not None],
                across_rows(board),
            )
        )
    return pages_


def rule_lines(cut_set: CutSet) -> list[str]:
    """Everything that was checked, board by board."""
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
        lines.append("nothing was checked: the job stops before the copper is cut in simulation")
    return lines


def _spacing(board: BoardJudged) -> list[str]:
    if not board.spacings:
        return []
    lines = [
        f"spacing, {many(len(board.spacings), 'pair')} of neighbours, smallest margin first; "
        f"column {board.rules.spacing}. {CAUTION}"
    ]
    rows, more = spacing_rows(board)
    lines += columns([("", "V", "required", "measured", "direct", "margin", "over", "at"), *rows])
    if more:
        lines.append(f"  and {many(more, 'pair')} with the same or larger margins")
    return lines


def spacing_rows(board: BoardJudged) -> tuple[list[tuple[str, ...]], int]:
    """The first pairs, as `spacing_row`, and how many more there are.

    Pairs of one net that differ only in what is beyond the same gap share a row.
    """
    groups = [
        list(alike)
        for _, alike in itertools.groupby(
            board.spacings, lambda pair: (pair.net, pair.at, pair.measured, pair.required)
        )
    ]
    shown = groups[:MOST_PAIRS]
    more = len(board.spacings) - sum(len(group) for group in shown)
    return [spacing_row(group[0], len(group) - 1) for group in shown], more


def spacing_row(pair: Spacing, alike: int = 0) -> tuple[str, ...]:
    """Pair, volts, required, measured, direct, margin, floating areas on the way, place."""
    others = f" and {alike} more" if alike else ""
    return (
        f"{plain(pair.net, 30)} - {plain(pair.other, 40)}{others}",
        number(pair.volts, 1),
        number(pair.required, 3),
        f"{pair.measured:.3f}",
        "far" if pair.direct is None else f"{pair.direct:.3f}",
        f"{pair.margin:+.3f}",
        str(pair.stones),
        _place(pair.at),
    )


def _current(board: BoardJudged) -> list[str]:
    rows: list[tuple[str, ...]] = [current_row(net) for net in board.nets if net.neck is not None]
    if not rows:
        return []
    head = (
        f"current, the section nearest to its limit ({number(board.rules.temperature_rise)} K, "
        f"{number(board.copper * 1000, 1)} µm of copper, curves of IPC-2221)"
    )
    return [head, *columns([("", "A", "width", "carries A", "at"), *rows])]


def current_row(net: NetJudged) -> tuple[str, ...]:
    """Net, amperes, width of its tightest section, what that carries, place."""
    assert net.neck is not None
    neck = net.neck.neck
    return (
        plain(net.net.name, 30),
        number(neck.amperes, 3),
        f"{neck.width:.3f}",
        number(net.neck.carries),
        _place(neck.at),
    )


def _lost(board: BoardJudged) -> list[str]:
    lines: list[str] = []
    for net in board.nets:
        if net.feed is None:
            continue
        hot = ""
        if net.hottest is not None:
            hot = (
                f"; hottest neck {net.hottest.width:.3f} mm with "
                f"{number(net.hottest.amperes, 3)} A at {_place(net.hottest.at)}"
            )
        error = "" if net.error is None else f", known to {net.error:.1%}"
        lines.append(f"{plain(net.net.name, 30)}, voltage drop from {plain(net.feed)}{error}{hot}")
        rows = [
            (
                plain(at.load.name, 30),
                number(at.load.amperes, 4),
                number(at.lost, 4),
                number(at.ohms * 1000, 3),
            )
            for at in net.loads
        ]
        rows += [
            (
                f"the wire {_place(wire.start)} to {_place(wire.end)}",
                number(wire.amperes, 4),
                number(wire.amperes * wire.ohms, 4),
                number(wire.ohms * 1000, 3),
            )
            for wire in net.wires
        ]
        lines += columns([("", "A", "V drop", "mΩ"), *rows])
    return lines


def _across(board: BoardJudged) -> list[str]:
    if not board.across:
        return []
    lines = ["between two nets, what each load gets"]
    rows = [across[1:] for across in across_rows(board)]
    return lines + columns([("", "between", "A", "V", "V drop"), *rows])


def across_rows(board: BoardJudged) -> list[tuple[str, ...]]:
    """Number, load, nets, amperes, volts, volts lost."""
    return [
        (
            str(n),
            plain(load.load, 30),
            f"{plain(load.net, 20)} and {plain(load.other, 20)}",
            number(load.amperes, 4),
            "-" if load.volts is None else f"{load.volts:.3f}",
            f"{load.lost:.4f}",
        )
        for n, load in enumerate(board.across, 1)
    ]


def _bases(board: BoardJudged) -> list[str]:
    if not board.bases:
        return []
    counts = Counter((base.base, number(base.circle)) for base in board.bases)
    kinds = ", ".join(f"{n} × {kind} on {circle} mm" for (kind, circle), n in counts.items())
    lines = [f"holes placed like valve bases: {kinds}"]
    for base in board.bases:
        order = " ".join(base.pins)
        off = "" if not base.wrong else f"; off by {base.error:.2f} mm, its own is {base.true:g} mm"
        first = (
            f"pin 1 to {len(base.pins)}: {order}; milled the other way round they would count "
            f"backwards, {base.pins[-1]} first"
            if base.keyed
            else f"in the order of its pins, the holes do not show which is the first: {order}"
        )
        lines.append(f"  {base.base} at {_place(base.at)}{off}; {first}")
    holes = Counter((base.base, _pin_words(base)) for base in board.bases)
    lines += [f"  {n} × {kind}: {words}" for (kind, words), n in holes.items()]
    return lines


def _pin_words(base: BaseFit) -> str:
    """Holes and pads of a base, and what its pins need."""
    pads = "no pads" if base.pad is None else f"pads of {base.pad:.2f} mm"
    return (
        f"holes of {base.hole:.2f} mm and {pads}; its pins need {base.required_hole:.2f} and "
        f"{base.required_pad:.2f} mm"
    )


def _rings(board: BoardJudged) -> list[str]:
    if not board.rings:
        return []
    least = board.rings[0]
    return [
        f"copper around holes: {least.worst:.2f} mm worst case, {least.ring:.2f} nominal, at "
        f"{least.hole}, {_place(least.at)}"
    ]


def _place(at: Point) -> str:
    return f"{at[0]:.2f}, {at[1]:.2f}"


HEADS = ("cutting speed, m/min", "chip per tooth, µm", "range, µm", "depth step, mm")
"""Of the rows about cutters; a drill's chip is per revolution."""


def cutter_rows(cutting: Iterable[Cutting]) -> dict[str, tuple[str, ...]]:
    """For every cutter in use what `HEADS` names, of the program in which it goes deepest."""
    deepest: dict[str, Cutting] = {}
    for program in cutting:
        known = deepest.get(program.cutter)
        if known is None or program.step > known.step:
            deepest[program.cutter] = program
    return {name: _cells(program) for name, program in deepest.items()}


def _cells(program: Cutting) -> tuple[str, ...]:
    per = " per rev" if program.steps is not None else ""
    step = number(program.step) + (f", {program.steps} steps" if (program.steps or 1) > 1 else "")
    return (
        number(program.surface_speed, 1),
        "-" if program.load is None else _microns(program.load) + per,
        " to ".join(map(_microns, program.bounds)),
        step,
    )


def _microns(value: float) -> str:
    return number(value * 1000, 1)


def cutting_lines(cutting: Iterable[Cutting]) -> list[str]:
    """The same as lines for a terminal."""
    rows = [(plain(name, 40), *cells) for name, cells in cutter_rows(cutting).items()]
    if not rows:
        return []
    head = "cutters: cutting speed, chip per tooth and its range, depth step"
    return [head, *columns([("", *HEADS), *rows])]
