"""How the cutters cut, in a row for each cutter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.words import columns, number, plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millprep.model.program import Cutting

HEADS = ("edge, m/min", "chip, µm", "within, µm", "in one go, mm")


def cutter_rows(cutting: Iterable[Cutting]) -> dict[str, tuple[str, ...]]:
    """For every cutter in use what `HEADS` names, of the program in which it goes deepest."""
    found: dict[str, Cutting] = {}
    for one in cutting:
        if one.cutter not in found or one.step > found[one.cutter].step:
            found[one.cutter] = one
    return {name: _cells(one) for name, one in found.items()}


def _cells(one: Cutting) -> tuple[str, ...]:
    per = " a turn" if one.steps is not None else ""
    step = number(one.step) + (f", {one.steps} steps" if (one.steps or 1) > 1 else "")
    return (
        number(one.surface_speed, 1),
        "-" if one.load is None else _microns(one.load) + per,
        " to ".join(map(_microns, one.bounds)),
        step,
    )


def _microns(value: float) -> str:
    return number(value * 1000, 1)


def cutting_lines(cutting: Iterable[Cutting]) -> list[str]:
    """The same as lines for a terminal."""
    rows = [(plain(name, 40), *cells) for name, cells in cutter_rows(cutting).items()]
    if not rows:
        return []
    head = "cutters: speed of the edge, what a tooth takes and should take, depth in one go"
    return [head, *columns([("", *HEADS), *rows])]
