"""Joins in a picture: where they are, what to expect there, and what they stand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from millprep.report import marks
from millprep.report.palette import INK, PAPER
from millprep.report.picture_words import say

if TYPE_CHECKING:
    from millprep.geometry.path import Point
    from millprep.model.milling_pass import Join
    from millprep.report.canvas import Canvas

SIZE = 6.0
"""Of the words, points."""
APART = 7.5
"""From line to line, points."""
BESIDE = 14.0
"""From a join to the column of words, points."""


def legend(joins: Sequence[Join]) -> Any:
    """What a join's sign and its two figures mean."""
    figures = any(join.tolerance_electrical is not None for join in joins)
    words = say("joins.figures" if figures else "joins", count=len(joins))
    return marks.sign_swatch("D", words)


def joins(on: Canvas, here: Sequence[tuple[Point, Join]]) -> None:
    """A sign at every join, and in a column beside each seam the figures of every one in copper.

    Args:
        on: the canvas.
        here: each join with its place on it.
    """
    marks.signs(on, [at for at, _ in here], "D", size=4.5)
    seams: dict[tuple[int, int], list[tuple[Point, str]]] = {}
    for at, join in here:
        if join.predicted is not None and join.tolerance_electrical is not None:
            said = _words(join.predicted, join.tolerance_electrical)
            seams.setdefault(join.passes, []).append((at, said))
    for mine in seams.values():
        _column(on, sorted(mine))


def _words(predicted: float, stands: float) -> str:
    return f"{predicted:.3f} / {stands:.3f}"


def _column(on: Canvas, mine: list[tuple[Point, str]]) -> None:
    """Words in a column right of their joins, none over another; nothing where they do not fit."""
    step = APART / on.per_mm
    low, high = on.view.y0 + step, on.view.y1 - step
    if step * len(mine) > high - low:
        return
    mine = sorted(mine, key=lambda one: one[0][1])
    heights: list[float] = []
    for at, _ in mine:
        heights.append(max(at[1], heights[-1] + step if heights else low))
    # what was pushed out at the top pushes the others down again
    ceiling = high
    for n in range(len(heights) - 1, -1, -1):
        heights[n] = min(heights[n], ceiling)
        ceiling = heights[n] - step
    x = max(at[0] for at, _ in mine) + BESIDE / on.per_mm
    for (at, said), y in zip(mine, heights, strict=True):
        on.axes.annotate(
            said, at, xytext=(x, y), textcoords="data", fontsize=SIZE, color=INK, ha="left",
            va="center", zorder=8, annotation_clip=True,
            bbox={"boxstyle": "square,pad=0.05", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.85},
            arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": INK, "shrinkA": 0,
                        "shrinkB": 1.5},
        )  # fmt: skip
