"""Selections: shapes that the job picks out by more than their layer.

What meets a selection is treated from here on as drawn on a layer of the selection's name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.mark import SAME, Curve, Fill, Mark, Source, Stroke, Words, box_of
from millprep.drawing.marks.neighbours import in_circles
from millprep.geometry.path import FloatArray
from millprep.model.finding import many
from millprep.model.job.layers import Selection

Key = Literal["colour", "line-type", "block", "shape", "edge"]
"""What parts the shapes of one layer; an edge is the line around everything else on it."""
MOST_PARTS = 40
"""A layer of more parts than this is left whole."""


@dataclass(frozen=True, slots=True)
class Selected:
    """Marks with their layers as selected.

    Attributes:
        marks: in the order given; the source of a selected one names its selection.
        met: for every selection, how many marks meet its conditions.
        taken: for every selection, how many of them no selection before it has.
    """

    marks: list[Mark]
    met: tuple[int, ...]
    taken: tuple[int, ...]


def check(selections: Sequence[Selection], ledger: Ledger) -> None:
    """A name of two selections is a fault of the job."""
    seen: set[str] = set()
    for selection in selections:
        if selection.name.casefold() in seen:
            ledger.stop(
                "selection-name-twice",
                f"two selections are called {selection.name!r}",
                "give each a name of its own",
            )
        seen.add(selection.name.casefold())


def looked_at(selections: Sequence[Selection], layer: str) -> bool:
    """Whether any selection may pick from a layer."""
    return any(
        selection.layer is None or selection.layer.casefold() == layer.casefold()
        for selection in selections
    )


def may_play(source: Source, selections: Sequence[Selection], roles: set[str]) -> bool:
    """Whether something that cannot be read might have a role: its shape and place are not known.

    Args:
        source: of what cannot be read.
        selections: of the job.
        roles: folded names that the job uses.
    """
    for selection in selections:
        if _looks(selection, source):
            if selection.name.casefold() in roles:
                return True
            if selection.shape is None and selection.region is None:
                return False
    return source.layer.casefold() in roles


def select(
    marks: Sequence[Mark], selections: Sequence[Selection], gap: float = TOLERANCE
) -> Selected:
    """Give every mark that meets a selection the selection's name for a layer.

    Args:
        marks: of the drawing, in mm.
        selections: the first that a mark meets has it.
        gap: ends of loose lines this close meet, mm.
    """
    layers: list[Selection | None] = [None] * len(marks)
    met: list[int] = []
    taken: list[int] = []
    for selection in selections:
        fits = [k for k, mark in enumerate(marks) if _looks(selection, mark.source)]
        if selection.shape is not None:
            shapes = _shapes([marks[k] for k in fits], gap)
            fits = [k for k, shape in zip(fits, shapes, strict=True) if shape == selection.shape]
        if selection.region is not None:
            region = selection.region
            fits = [k for k in fits if _within(marks[k], region)]
        free = [k for k in fits if layers[k] is None]
        for k in free:
            layers[k] = selection
        met.append(len(fits))
        taken.append(len(free))
    out = [
        mark if layer is None else replace(mark, source=_renamed(mark.source, layer.name))
        for mark, layer in zip(marks, layers, strict=True)
    ]
    return Selected(out, tuple(met), tuple(taken))


def selections_by(
    marks: Sequence[Mark], region: tuple[float, float, float, float] | None, by: Sequence[Key]
) -> tuple[Selection, ...]:
    """Selections that take what lies in a region, and part every layer by some keys.

    A layer whose shapes do not differ in them has a selection only if there is a region.
    """
    layers: dict[str, list[Mark]] = {}
    for mark in marks:
        layers.setdefault(mark.source.layer, []).append(mark)
    taken = {name.casefold() for name in layers}
    out: list[Selection] = []
    for name, mine in sorted(layers.items()):
        inner = _within_edge(mine) if "edge" in by and region is None else None
        parts = _parts(mine if inner is None else [m for m in mine if _within(m, inner)], by)
        called = name if region is None else f"{name} of this board"
        wanted: list[tuple[str, dict[str, Any]]] = []
        if 1 < len(parts) <= MOST_PARTS:
            wanted = [(f"{called}, {', '.join(words)}", dict(part)) for words, part in parts]
        elif region is not None or inner is not None:
            wanted = [(called if inner is None else f"{called}, within the edge", {})]
        if inner is not None:
            wanted = [(words, {**part, "region": inner}) for words, part in wanted]
            wanted.append((f"{called}, edge", {}))
        for words, part in wanted:
            while words.casefold() in taken:
                words += "*"
            taken.add(words.casefold())
            out.append(Selection(words, layer=name, **{"region": region, **part}))
    return tuple(out)


def _parts(
    marks: Sequence[Mark], by: Sequence[Key]
) -> list[tuple[tuple[str, ...], tuple[tuple[str, Any], ...]]]:
    """What differs among the marks: words for each part, and its conditions."""
    shapes = _shapes(marks, TOLERANCE) if "shape" in by else [None] * len(marks)
    parts: dict[tuple[str, ...], tuple[tuple[str, Any], ...]] = {}
    for mark, shape in zip(marks, shapes, strict=True):
        source = mark.source
        values: dict[Key, tuple[str, str, Any]] = {}
        if source.colour is not None:
            values["colour"] = ("colour", f"colour {source.colour}", source.colour)
        if source.line_type:
            values["line-type"] = ("line_type", f"line type {source.line_type}", source.line_type)
        if source.block is not None:
            values["block"] = ("block", f"block {source.block}", source.block)
        if shape is not None:
            values["shape"] = ("shape", f"{shape} lines", shape)
        known = [values[key] for key in by if key in values]
        words = tuple(word for _, word, _ in known)
        if words:
            parts[words] = tuple((key, value) for key, _, value in known)
    # more conditions first: the first that a mark meets has it
    return sorted(parts.items(), key=lambda part: (-len(part[0]), part[0]))


def _within_edge(marks: Sequence[Mark]) -> tuple[float, float, float, float] | None:
    """A rectangle that holds everything but the line around it; None where there is none."""
    boxes = [(mark, box) for mark in marks if (box := box_of(mark)) is not None]
    if len(boxes) < 2:
        return None
    corners = np.array([box for _, box in boxes])
    low, high = corners[:, :2].min(axis=0), corners[:, 2:].max(axis=0)
    on_edge = np.hstack((corners[:, :2] <= low + SAME, corners[:, 2:] >= high - SAME)).any(axis=1)
    inner = corners[~on_edge]
    if not len(inner):
        return None
    low, high = (low + inner[:, :2].min(axis=0)) / 2, (high + inner[:, 2:].max(axis=0)) / 2
    x0, y0, x1, y1 = np.round((*low, *high), 4).tolist()
    return (x0, y0, x1, y1)


def refuse_empty(
    selections: Sequence[Selection],
    marks: Sequence[Mark],
    selected: Selected,
    due: set[str],
    ledger: Ledger,
) -> None:
    """A selection that has nothing is a fault; say what there is to select.

    Args:
        selections: of the job.
        marks: as drawn, not yet selected.
        selected: what became of them.
        due: names of the selections that must have something.
        ledger: takes the faults.
    """
    for selection, met, taken in zip(selections, selected.met, selected.taken, strict=True):
        if taken or selection.name not in due:
            continue
        if met:
            taken_before = many(met, "shape that meets it", "shapes that meet it")
            what = f"selections before {selection.name!r} have taken {taken_before}"
            ledger.stop("selection-empty", what, "put it before them, or correct a condition")
            continue
        seen = [mark for mark in marks if _on(selection.layer, mark.source)]
        where = "the drawing" if selection.layer is None else f"layer {selection.layer!r}"
        ledger.stop(
            "selection-empty",
            f"no shape meets selection {selection.name!r}: {where} holds {_holds(selection, seen)}",
            "correct its conditions",
        )


def _on(layer: str | None, source: Source) -> bool:
    return layer is None or layer.casefold() == source.layer.casefold()


def _looks(selection: Selection, source: Source) -> bool:
    """Whether layer, colour, line type and block are as the selection states."""
    return (
        _on(selection.layer, source)
        and selection.colour in (None, source.colour)
        and (
            selection.line_type is None
            or selection.line_type.casefold() == source.line_type.casefold()
        )
        and (selection.block is None or selection.block.casefold() in source.blocks)
    )


def _renamed(source: Source, name: str) -> Source:
    return source._replace(layer=name, drawn_on=source.layer)


def _within(mark: Mark, region: tuple[float, float, float, float]) -> bool:
    """Whether a region holds a shape with its pen; text counts by its place."""
    box = (*mark.at, *mark.at) if isinstance(mark, Words) else box_of(mark)
    if box is None:
        return False
    pen = SAME  # a shape may touch the region's edge
    if isinstance(mark, Stroke) and mark.widths.any():
        pen -= float(mark.widths.max()) * mark.to_mm.stretch[0] / 2
    x0, y0, x1, y1 = region
    return box[0] >= x0 - pen and box[1] >= y0 - pen and box[2] <= x1 + pen and box[3] <= y1 + pen


def _shapes(marks: Sequence[Mark], gap: float) -> list[str | None]:
    """For every mark "closed", "open", or None for text and the like.

    Loose lines of no width that run in a circle with others of their layer are closed. A line
    with a width is judged by itself: tracks that happen to meet are no outline.
    """
    out: list[str | None] = []
    loose: dict[str, list[tuple[int, FloatArray]]] = {}
    for k, mark in enumerate(marks):
        if isinstance(mark, (Stroke, Curve)):
            out.append("closed" if mark.closed else "open")
            if not mark.closed and not (isinstance(mark, Stroke) and mark.widths.any()):
                points = mark.curve.points if isinstance(mark, Stroke) else mark.points
                loose.setdefault(mark.source.layer.casefold(), []).append((k, points))
        else:
            out.append("closed" if isinstance(mark, Fill) else None)
    for lines in loose.values():
        for k in in_circles([points for _, points in lines], gap):
            out[lines[k][0]] = "closed"
    return out


def _holds(selection: Selection, marks: Sequence[Mark]) -> str:
    """What could have been selected, with counts."""
    if not marks:
        return "nothing"
    colours = Counter(
        f"colour {m.source.colour}" if m.source.colour is not None else "a colour of no number"
        for m in marks
    )
    spelt: dict[str, str] = {}
    types = Counter(
        spelt.setdefault(m.source.line_type.casefold(), m.source.line_type) for m in marks
    )
    parts = [f"{many(len(marks), 'shape')}, {_counted(colours)}; line type {_counted(types)}"]
    if selection.block is not None:
        blocks = Counter(block for m in marks for block in m.source.blocks)
        parts.append(f"block {_counted(blocks)}" if blocks else "no blocks")
    if selection.region is not None:
        boxes = np.array([box for box in map(box_of, marks) if box is not None])
        if len(boxes):
            (x0, y0), (x1, y1) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
            parts.append(f"all within ({x0:.3f}, {y0:.3f}) to ({x1:.3f}, {y1:.3f}) mm")
    return "; ".join(parts)


def _counted(counter: Counter[str]) -> str:
    shown = [f"{name}: {n}" for name, n in counter.most_common(8)]
    return ", ".join(shown) + (f" and {len(counter) - 8} more" if len(counter) > 8 else "")
