"""Selections: shapes that the job picks out by more than their layer.

What meets a selection is treated from here on as drawn on a layer of the selection's name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.circles import in_circles
from millprep.drawing.marks.mark import SAME, Curve, Fill, Mark, Source, Stroke, Words, box_of
from millprep.model.plan import Selection

FloatArray = NDArray[np.float64]


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
    """Selections without a condition, and names used twice, are faults of the job."""
    seen: set[str] = set()
    for one in selections:
        stated = (one.layer, one.colour, one.line_type, one.block, one.shape, one.region)
        if all(value is None for value in stated):
            ledger.stop(
                "selection-unconditional",
                f"selection {one.name!r} states no condition, so that it would be everything",
                "state what its shapes have in common",
            )
        if one.name.casefold() in seen:
            ledger.stop(
                "selection-name-twice",
                f"two selections are called {one.name!r}",
                "give each a name of its own",
            )
        seen.add(one.name.casefold())


def looked_at(selections: Sequence[Selection], layer: str) -> bool:
    """Whether any selection may pick from a layer."""
    return any(one.layer is None or one.layer.casefold() == layer.casefold() for one in selections)


def may_play(source: Source, selections: Sequence[Selection], roles: set[str]) -> bool:
    """Whether something that cannot be read might have a role: its shape and place are not known.

    Args:
        source: of what cannot be read.
        selections: of the job.
        roles: folded names that play a role.
    """
    for one in selections:
        if _looks(one, source):
            if one.name.casefold() in roles:
                return True
            if one.shape is None and one.region is None:
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
    for one in selections:
        fits = [k for k, mark in enumerate(marks) if _looks(one, mark.source)]
        if one.shape is not None:
            shapes = _shapes([marks[k] for k in fits], gap)
            fits = [k for k, shape in zip(fits, shapes, strict=True) if shape == one.shape]
        if one.region is not None:
            region = one.region
            fits = [k for k in fits if _within(marks[k], region)]
        free = [k for k in fits if layers[k] is None]
        for k in free:
            layers[k] = one
        met.append(len(fits))
        taken.append(len(free))
    out = [
        mark if one is None else replace(mark, source=_renamed(mark.source, one.name))
        for mark, one in zip(marks, layers, strict=True)
    ]
    return Selected(out, tuple(met), tuple(taken))


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
    for one, met, taken in zip(selections, selected.met, selected.taken, strict=True):
        if taken or one.name not in due:
            continue
        if met:
            what = f"selections before {one.name!r} have all {met} shapes that meet it"
            ledger.stop("selection-empty", what, "put it before them, or correct a condition")
            continue
        seen = [mark for mark in marks if _on(one.layer, mark.source)]
        where = "the drawing" if one.layer is None else f"layer {one.layer!r}"
        ledger.stop(
            "selection-empty",
            f"no shape meets selection {one.name!r}: {where} holds {_holds(one, seen)}",
            "correct its conditions",
        )


def _on(layer: str | None, source: Source) -> bool:
    return layer is None or layer.casefold() == source.layer.casefold()


def _looks(one: Selection, source: Source) -> bool:
    """Whether layer, colour, line type and block are as the selection states."""
    return (
        _on(one.layer, source)
        and one.colour in (None, source.colour)
        and (one.line_type is None or one.line_type.casefold() == source.line_type.casefold())
        and (one.block is None or one.block.casefold() in source.blocks)
    )


def _renamed(source: Source, name: str) -> Source:
    return replace(source, layer=name, drawn_on=source.layer)


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


def _holds(one: Selection, marks: Sequence[Mark]) -> str:
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
    parts = [f"{len(marks)} shapes, {_counted(colours)}; line type {_counted(types)}"]
    if one.block is not None:
        blocks = Counter(block for m in marks for block in m.source.blocks)
        parts.append(f"block {_counted(blocks)}" if blocks else "no blocks")
    if one.region is not None:
        boxes = np.array([box for box in map(box_of, marks) if box is not None])
        if len(boxes):
            (x0, y0), (x1, y1) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
            parts.append(f"all within ({x0:.3f}, {y0:.3f}) to ({x1:.3f}, {y1:.3f}) mm")
    return "; ".join(parts)


def _counted(found: Counter[str]) -> str:
    shown = [f"{name}: {n}" for name, n in found.most_common(8)]
    return ", ".join(shown) + (f" and {len(found) - 8} more" if len(found) > 8 else "")
