"""What must hold between the keys of one board."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from millprep.job.board import LayersTable, SelectionTable
from millprep.job.clearing_checks import check_clear
from millprep.job.fields import filled, plain
from millprep.job.mistakes import Mistake, near, wrong
from millprep.job.net_checks import check_nets
from millprep.job.places import KeyPath
from millprep.job.wire_checks import check_wires


def check_board(at: KeyPath, board: dict[str, Any]) -> Iterator[Mistake]:
    """Yield every contradiction in the board at `at`; a key that failed is None."""
    layers = board.get("layers")
    if layers is not None:
        layers = filled(LayersTable, layers)
        yield from _outline(at, board, layers)
        yield from _how_read((*at, "layers"), layers)
    if board["outline_box"]:
        yield from ordered((*at, "outline_box"), board["outline_box"])
    yield from _selections(at, board)
    yield from check_nets(at, board)
    yield from check_wires(at, board)
    yield from check_clear(at, board)
    if board["place"] and board["count"] is not None and len(board["place"]) > board["count"]:
        words = f"gives {len(board['place'])} places and count is {board['count']}; raise the count"
        yield wrong((*at, "place"), words)


def _how_read(at: KeyPath, layers: dict[str, Any]) -> Iterator[Mistake]:
    """Modes and widths are for layers of copper, and go together."""
    for key in ("modes", "widths"):
        for name in layers[key] or {}:
            copper = layers.get("copper") or [name]
            if name.casefold() not in {layer.casefold() for layer in copper}:
                words = f"is for a layer that layers.copper does not name{near(name, copper)}"
                yield wrong((*at, key, name), words)
    modes, widths = layers["modes"] or {}, layers["widths"] or {}
    for name in sorted({*modes} & {*widths}):
        if "strokes" not in modes[name]:
            words = 'gives tracks a width, so layers.modes must name "strokes" too'
            yield wrong((*at, "widths", name), words)


def _outline(at: KeyPath, board: dict[str, Any], layers: dict[str, Any]) -> Iterator[Mistake]:
    """A board's edge is drawn on a layer or given as a size, one of them and once."""
    drawn, box, margin = layers["outline"], board["outline_box"], board["outline_margin"]
    if None in (drawn, board["selection"]):
        return
    ways = [bool(drawn), box is not None, margin is not None]
    if not any(ways):
        yield Mistake(
            "job-missing-key",
            (*at, "layers"),
            "names no outline: give its layers as layers.outline, or outline_box = [x0, y0, x1, "
            "y1], or outline_margin around the copper",
        )
    elif sum(ways) > 1:
        key = "outline_margin" if margin is not None else "outline_box"
        others = "outline_box" if margin is not None and box is not None else "layers.outline"
        yield wrong((*at, key), f"gives the outline that {others} gives too; keep one of them")
    if board["outline_drawing"] and not drawn:
        words = "needs layers.outline, the layers in it that draw the outline"
        yield wrong((*at, "outline_drawing"), words)
    if board["holes_drawing"] and layers.get("holes") == []:
        words = "needs layers.holes, the layers in it that draw the holes"
        yield wrong((*at, "holes_drawing"), words)


def _selections(at: KeyPath, board: dict[str, Any]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for j, table in enumerate(board["selection"] or []):
        one = filled(SelectionTable, table)
        path = (*at, "selection", j)
        name = one.get("name")
        if name is not None and name.casefold() in seen:
            yield wrong((*path, "name"), f"is there twice: {plain(name)}; choose another")
        elif name is not None:
            seen.add(name.casefold())
        conditions = [key for key in SelectionTable.model_fields if key != "name"]
        if all(table.get(key, ...) is ... for key in conditions):
            yield wrong(path, f"states no condition; give one of {', '.join(conditions)}")
        if one["region"]:
            yield from ordered((*path, "region"), one["region"])


def ordered(path: KeyPath, box: list[float]) -> Iterator[Mistake]:
    """A rectangle's low corner comes first."""
    if not (box[0] < box[2] and box[1] < box[3]):
        words = f"must be [x0, y0, x1, y1] with x0 < x1 and y0 < y1; got {plain(box)}"
        yield wrong(path, words)
