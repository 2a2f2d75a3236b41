"""Picture of a layout: boards on one blank, what is kept free, what is left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from millprep.model.blank import Box
from millprep.report import marks
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import CLAMP, COPPER, INK, LAMINATE, LOST, PAPER, QUIET
from millprep.report.picture_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
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
        covered: share of the usable area that boards cover.
        seams: where one pass takes over from another.
    """

    number: int
    outline: shapely.Polygon
    usable: BaseGeometry
    boards: tuple[tuple[str, shapely.Polygon], ...]
    keep_outs: tuple[shapely.Polygon, ...]
    offcut: shapely.Polygon | None
    covered: float
    seams: tuple[shapely.LineString, ...] = ()


def layout_view(one: LaidBlank, job: str) -> Canvas:
    """Boards on a blank with their names, the margin, clamps' room and the offcut."""
    count, share = len(one.boards), number(100 * one.covered, 1)
    legend = [
        marks.swatch(COPPER, say("layout.board", count=count)),
        marks.swatch(LAMINATE, say("layout.usable")),
        marks.swatch(PAPER, say("layout.margin")),
    ]
    if one.keep_outs:
        legend.append(marks.swatch(CLAMP, say("layout.clamps")))
    if one.seams:
        legend.append(marks.line_swatch(LOST, say("layout.seams"), style=":"))
    if one.offcut is not None:
        legend.append(marks.line_swatch(INK, say("layout.offcut"), style="--"))
    x0, y0, x1, y1 = one.outline.bounds
    room = max(x1 - x0, y1 - y0) * 0.03
    on = canvas(
        Box(x0 - room, y0 - room, x1 + room, y1 + room),
        say("title", job=job, blank=one.number, what=say("title.layout")),
        say("layout.one" if count == 1 else "layout.more", count=count, share=share),
        "",
        axis_words=(say("axis.x.blank"), say("axis.y.blank")),
        legend=legend,
    )
    marks.fill(on, [one.outline], PAPER, edge=QUIET, width=0.8, over=0.4)
    marks.fill(on, shapely.get_parts(one.usable).tolist(), LAMINATE, over=0.5)
    marks.fill(on, one.keep_outs, CLAMP, over=0.7)
    marks.fill(on, [area for _, area in one.boards], COPPER, edge=INK, width=0.6, over=1.0)
    if one.offcut is not None:
        marks.hairline(on, [_line(one.offcut)], style=(0, (5, 3)), points=1.0)
    lines = [shapely.get_coordinates(seam) for seam in one.seams]
    marks.hairline(on, lines, colour=LOST, style=(0, (1, 2)), points=1.6)
    for words, area in one.boards:
        low, _, _, high = area.bounds
        marks.label(on, (low, high), plain(words, 30), away=(1, -6), size=6.5)
    return on


def draw(blanks: Sequence[LaidBlank], job: str, stems: Sequence[str], folder: str) -> None:
    """A picture of every blank as FOLDER/STEM.png."""
    from pathlib import Path

    from millprep.report.canvas import drawing_settings, save

    with drawing_settings():
        for one, stem in zip(blanks, stems, strict=True):
            save(layout_view(one, job), Path(folder) / stem, svg=False)


def _line(shape: shapely.Polygon) -> marks.FloatArray:
    found: marks.FloatArray = shapely.get_coordinates(shape.exterior)
    return found
