"""How the cutters cut: a row of plain data a program, a row for people a cutter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from millprep.report.words import columns, number, plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millprep.model.cutting import Cutting

HEADS = ("edge, m/min", "chip, µm", "within, µm", "in one go, mm")


def cutting_row(one: Cutting | None) -> dict[str, Any] | None:
    """One program: mm to five decimals, so that chips keep their digits; m/min to two."""
    if one is None:
        return None

    def mm(value: float | None) -> float | None:
        return None if value is None else round(value, 5)

    return {
        "width": mm(one.width),
        "surface_speed": round(one.surface_speed, 2),
        "chip_load": mm(one.chip_load),
        "plunge_load": mm(one.plunge_load),
        "bounds": [mm(bound) for bound in one.bounds],
        "step": mm(one.step),
        "steps": one.steps,
    }


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
