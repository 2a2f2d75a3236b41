"""Clamps as they stand on the machine, with their heights."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import shapely

from millprep.report import marks
from millprep.report.palette import CLAMP, INK, PAPER
from millprep.report.words import number

if TYPE_CHECKING:
    from millprep.model.blank import Clamp
    from millprep.report.canvas import Canvas

HATCH = "\\\\\\"


def draw(on: Canvas, clamps: Iterable[Clamp]) -> None:
    """Every clamp with its height above the copper; the canvas is in machine coordinates."""
    for clamp in clamps:
        box = clamp.box
        outline(on, shapely.box(box.x0, box.y0, box.x1, box.y1))
        on.axes.text(
            (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2, f"{number(clamp.height)} mm",
            fontsize=6.5, ha="center", va="center", color=INK, zorder=5.1,
            bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        )  # fmt: skip


def outline(on: Canvas, shape: shapely.Geometry) -> None:
    """A clamp without words, wherever the canvas has it."""
    marks.fill(on, [shape], CLAMP, edge=INK, hatch=HATCH, width=0.8, over=5)


def swatch(words: str) -> Any:
    """A legend entry for clamps."""
    return marks.swatch(CLAMP, words, hatch=HATCH)
