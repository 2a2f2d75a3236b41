"""What must hold between the keys of a net."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from millprep.job.fields import filled, plain
from millprep.job.mistakes import Mistake, wrong
from millprep.job.net import NetTable
from millprep.job.places import KeyPath
from millprep.model.net import Load, unbalanced


def check_nets(at: KeyPath, board: dict[str, Any]) -> Iterator[Mistake]:
    """Yield every contradiction in the nets of the board at `at`."""
    seen: set[str] = set()
    for j, table in enumerate(board["net"] or []):
        path = (*at, "net", j)
        net = filled(NetTable, table)
        name = net.get("name")
        if name is not None and name.casefold() in seen:
            yield wrong((*path, "name"), f"is there twice: {plain(name)}; choose another")
        elif name is not None:
            seen.add(name.casefold())
        yield from _place(path, table, net)
        volts = net["volts"]
        if isinstance(volts, list) and volts[0] > volts[1]:
            words = f"must be [lowest, highest]; got {plain(volts)}"
            yield wrong((*path, "volts"), words)
        if net["amperes"] and net["load"]:
            words = "is what the net's loads say already; keep one of them"
            yield wrong((*path, "amperes"), words)
        yield from _loads(path, net["load"] or [])


def _place(path: KeyPath, table: dict[str, Any], net: dict[str, Any]) -> Iterator[Mistake]:
    if net["at"] is not None and net["text"] is not None:
        yield wrong((*path, "text"), "names the place that `at` names too; keep one of them")
    elif table.get("at", ...) is ... and table.get("text", ...) is ...:
        words = "names no place: give at = [x, y] on its copper, or text that stands on it"
        yield Mistake("job-missing-key", path, words)


def _loads(path: KeyPath, loads: list[dict[str, Any]]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for k, load in enumerate(loads):
        name = load.get("name")
        if name is not None and name.casefold() in seen:
            words = f"is there twice in this net: {plain(name)}; choose another"
            yield wrong((*path, "load", k, "name"), words)
        elif name is not None:
            seen.add(name.casefold())
    amperes = [load.get("amperes") for load in loads]
    if None in amperes:
        return
    left = unbalanced(tuple(Load("", (0.0, 0.0), float(a or 0.0)) for a in amperes))
    if left:
        way = "leave it and do not enter" if left > 0 else "enter it and do not leave"
        words = f"has currents that do not balance: {abs(left):g} A {way}; the feed is a load too"
        yield wrong((*path, "load"), words)
