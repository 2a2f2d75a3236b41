"""Picture of a layout: boards on one blank, what is kept free, what remains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from millprep.model.blank import Box
from millprep.report import marks
from millprep.report.blank_views import BLANK_AXES, titled
from millprep.report.canvas import Canvas, canvas, save
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True)
class LaidBlank:
    """One blank with what lies on it, blank frame, mm.

    Attributes:
        number: of the blank.
        outline: of the laminate.
        usable: what boards may cover.
        boards: (name and copy, area) of every board.
        keep_outs: what clamps keep free.
        offcut: what a later job can take; None for none.
        covered: the part of the usable area that boards cover.
        join_lines: where one pass takes over from another.
    """

    number: int
    outline: shapely.Polygon
    usable: BaseGeometry
    boards: tuple[tuple[str, shapely.Polygon], ...]
    keep_outs: tuple[shapely.Polygon, ...]
    offcut: shapely.Polygon | None
    covered: float
    join_lines: tuple[shapely.LineString, ...] = ()


def layout_view(blank: LaidBlank, job: str) -> Canvas:
    """Boards on a blank with their names, the margin, clamps' room and the offcut."""
    count, covered = len(blank.boards), number(100 * blank.covered, 1)
    legend = [
        marks.swatch("copper", f"board ({count})"),
        marks.swatch("laminate", "usable area"),
        marks.swatch("paper", "margin"),
    ]
    if blank.keep_outs:
        legend.append(marks.swatch("clamp", "kept free for clamps"))
    if blank.join_lines:
        legend.append(marks.line_swatch("lost", "where two passes meet", dash=(1, 2), points=1.6))
    if blank.offcut is not None:
        legend.append(marks.line_swatch("ink", "offcut", dash=marks.DASHED))
    x0, y0, x1, y1 = blank.outline.bounds
    room = max(x1 - x0, y1 - y0) * 0.03
    on = canvas(
        Box(x0 - room, y0 - room, x1 + room, y1 + room),
        titled(job, blank.number, "layout"),
        f"{count} board{'' if count == 1 else 's'}, {covered} % of the usable area",
        "",
        axis_words=BLANK_AXES,
        legend=legend,
    )
    marks.fill(on, [blank.outline], "paper", edge="quiet", width=0.8, over=0.4)
    marks.fill(on, shapely.get_parts(blank.usable).tolist(), "laminate", over=0.5)
    marks.fill(on, blank.keep_outs, "clamp", over=0.7)
    boards = [area for _, area in blank.boards]
    marks.fill(on, boards, "copper", edge="ink", width=0.6, over=1.0)
    if blank.offcut is not None:
        rim = shapely.get_coordinates(blank.offcut.exterior)
        marks.hairline(on, [rim], dash=marks.DASHED, points=1.0)
    lines = [shapely.get_coordinates(line) for line in blank.join_lines]
    marks.hairline(on, lines, "lost", dash=(1, 2), points=1.6)
    for words, area in blank.boards:
        low, _, _, high = area.bounds
        marks.label(on, (low, high), plain(words, 30), away=(1, -6), size=6.5)
    return on


def draw(blanks: Sequence[LaidBlank], job: str, stems: Sequence[str], folder: Path) -> None:
    """Write a picture of every blank as FOLDER/STEM.png."""
    for blank, stem in zip(blanks, stems, strict=True):
        save(layout_view(blank, job), folder / stem, svg=False)
