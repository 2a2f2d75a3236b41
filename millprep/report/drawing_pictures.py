"""Pictures of what there is before a set: layers, readings of copper, changes, a layout."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box
from millprep.model.board import Hole
from millprep.report import marks
from millprep.report.blank_views import BLANK_AXES, titled
from millprep.report.canvas import Canvas, LegendEntry, canvas, save
from millprep.report.palette import PIECES
from millprep.report.words import number, plain

Bounds = tuple[float, float, float, float]

DRAWING_UNITS = "drawing units"
"""Of a drawing whose unit is not known."""
NEAR = 0.04
"""Pieces within this part of the picture's width are neighbours and differ in colour."""
THINNEST = 0.15
"""The shorter side of a picture is at least this part of the longer one."""


@dataclass(frozen=True, slots=True)
class LayerPicture:
    """A layer as drawn, drawing units.

    Attributes:
        stem: name of the file without its ending.
        title, words: above the drawing.
        lines: (n, 2) each, of no width; `areas` lines with a width, and fills.
        box: of everything drawn here.
        below: sentences under the drawing.
        keys: what lines are, and what areas are.
    """

    stem: str
    title: str
    words: str
    lines: tuple[FloatArray, ...]
    areas: tuple[shapely.Polygon, ...]
    box: Bounds
    below: tuple[str, ...] = ()
    unit: str = DRAWING_UNITS
    keys: tuple[str, str] = ("line of no width", "line with a width, or filled area")


@dataclass(frozen=True, slots=True)
class ReadingPicture:
    """Copper as a reading gives it, drawing units.

    Attributes:
        pieces: connected copper areas.
        holes: (centre line of no width, diameter) of the holes that go with it.
        gap_at: centre of the narrowest gap, and `gap_words` its size.
        lines: as drawn, where the copper swallows them.
        box: of what is shown.
    """

    stem: str
    title: str
    words: str
    pieces: tuple[shapely.Polygon, ...]
    holes: tuple[tuple[shapely.Geometry, float], ...]
    box: Bounds
    gap_at: Point | None = None
    gap_words: str = ""
    lines: tuple[FloatArray, ...] = ()
    below: tuple[str, ...] = ()
    unit: str = DRAWING_UNITS


@dataclass(frozen=True, slots=True)
class ChangesPicture:
    """A board in two drawings, drawing frame, mm.

    Attributes:
        kept, added, removed: copper that both drawings have, the second alone, the first alone.
        outlines: the edge before and after; one where it is the same.
        holes: those that both have; `new_holes` and `old_holes` those of one alone.
        shifts: from where a hole was to where it is.
        numbers: of the changes in the table, each with its place.
    """

    stem: str
    title: str
    words: str
    kept: tuple[shapely.Geometry, ...]
    added: tuple[shapely.Geometry, ...]
    removed: tuple[shapely.Geometry, ...]
    outlines: tuple[shapely.Polygon, ...]
    holes: tuple[Hole, ...]
    new_holes: tuple[Hole, ...]
    old_holes: tuple[Hole, ...]
    shifts: tuple[FloatArray, ...]
    numbers: tuple[tuple[str, Point], ...]


def draw_drawing(
    pictures: Sequence[LayerPicture | ReadingPicture | ChangesPicture], folder: Path
) -> tuple[str, ...]:
    """Write every picture as STEM.png into `folder`, which is made; other files there stay.

    Changes are written as STEM.svg too.

    Returns:
        names of the PNG files, in order.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for picture in pictures:
        if isinstance(picture, ChangesPicture):
            save(_changes(picture), folder / picture.stem, svg=True)
        else:
            on = _reading(picture) if isinstance(picture, ReadingPicture) else _layer(picture)
            save(on, folder / picture.stem, svg=False)
    return tuple(f"{picture.stem}.png" for picture in pictures)


def stem(number: int, *names: str) -> str:
    """A name that every file system takes: `layer-03-TRACKS-copper`."""
    words = []
    for name in names:
        safe = "".join(c if c.isascii() and c.isalnum() else "-" for c in name)
        words.append("-".join(part for part in safe.split("-") if part)[:40])
    return "-".join([f"layer-{number:02d}", *(word for word in words if word)])


def _layer(picture: LayerPicture) -> Canvas:
    legend = []
    if picture.lines:
        legend.append(marks.line_swatch("ink", picture.keys[0]))
    if picture.areas:
        legend.append(marks.swatch("copper", picture.keys[1]))
    on = _open(picture, legend)
    marks.fill(on, picture.areas, "copper", edge="ink", width=0.3, over=1.1)
    marks.hairline(on, picture.lines, points=0.8, over=2.0)
    return on


def _reading(picture: ReadingPicture) -> Canvas:
    legend = [
        marks.swatch("copper", "copper; colours only distinguish neighbouring pieces"),
        marks.swatch("laminate", "no copper"),
    ]
    if picture.holes:
        count = len(picture.holes)
        legend.append(marks.swatch("paper", f"{count} hole{'' if count == 1 else 's'}"))
    if picture.lines:
        legend.append(marks.line_swatch("quiet", "line drawn within the copper (white there)"))
    on = _open(picture, legend)
    marks.hairline(on, picture.lines, "paper", points=0.9, over=1.5)
    colours = _coloured(picture.pieces, NEAR * (on.view.x1 - on.view.x0))
    for k in range(len(PIECES)):
        pieces = [shape for shape, c in zip(picture.pieces, colours, strict=True) if c == k]
        marks.fill(on, pieces, f"piece {k}", edge="ink", width=0.25, over=1.1)
    bored = [shapely.buffer(spine, diameter / 2) for spine, diameter in picture.holes]
    marks.fill(on, bored, "paper", edge="ink", width=0.3, over=2.0)
    if picture.gap_at is not None:
        radius = 0.012 * (on.view.x1 - on.view.x0)
        marks.circled(on, picture.gap_at, picture.gap_words, radius)
    return on


def _changes(picture: ChangesPicture) -> Canvas:
    legend = [
        marks.swatch("copper", "copper of both"),
        marks.swatch("added", "added", hatch="/"),
        marks.swatch("removed", "removed", hatch="\\"),
        marks.line_swatch("ink", "edge now"),
    ]
    before, now = picture.outlines[:-1], picture.outlines[-1]
    if before:
        legend.append(marks.line_swatch("removed", "edge before", dash=marks.DASHED))
    on = canvas(
        _view(shapely.union_all(picture.outlines).bounds), picture.title, picture.words,
        axis_words=("X, drawing, mm", "Y, drawing, mm"), legend=legend,
        below=("A number is that of the change in the list. Holes of both are white.",),
    )  # fmt: skip
    marks.fill(on, [now], "laminate", over=0.4)
    marks.fill(on, picture.kept, "copper", over=1.0)
    marks.fill(on, picture.added, "added", edge="paper", hatch="/", width=0.3, over=1.2)
    marks.fill(on, picture.removed, "removed", edge="paper", hatch="\\", width=0.3, over=1.3)
    for outline in before:
        marks.hairline(on, _rims(outline), "removed", points=1.2, dash=marks.DASHED, over=1.8)
    marks.hairline(on, _rims(now), points=1.0, over=1.9)
    marks.holes(on, picture.holes, "paper", edge="quiet", over=2.0)
    holes = [("removed", hole) for hole in picture.old_holes]
    holes += [("added", hole) for hole in picture.new_holes]
    # the smaller of two in one place is on top
    for n, (role, hole) in enumerate(sorted(holes, key=lambda each: -each[1].diameter)):
        marks.holes(on, [hole], role, points=0.8, over=2.2 + n / len(holes))
    marks.hairline(on, picture.shifts, points=0.8, over=3.4)
    marks.flags(on, picture.numbers)
    return on


def _rims(outline: shapely.Polygon) -> list[FloatArray]:
    return [shapely.get_coordinates(rim) for rim in (outline.exterior, *outline.interiors)]


def _open(picture: LayerPicture | ReadingPicture, legend: Sequence[LegendEntry]) -> Canvas:
    return canvas(
        _view(picture.box), picture.title, picture.words,
        axis_words=(f"X, {picture.unit}", f"Y, {picture.unit}"), legend=legend,
        below=picture.below, unit=picture.unit, ground="laminate",
    )  # fmt: skip


def _view(box: Bounds) -> Box:
    """The box with some room around it; never a sliver."""
    x0, y0, x1, y1 = box
    longer = max(x1 - x0, y1 - y0) or 1.0
    wide, high = (max(side, THINNEST * longer) + 0.08 * longer for side in (x1 - x0, y1 - y0))
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    return Box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


def _coloured(shapes: Sequence[shapely.Polygon], near: float) -> list[int]:
    """A number below len(PIECES) for each piece, unlike its neighbours' as far as they go."""
    array = np.array(shapes, dtype=object)
    a, b = shapely.STRtree(array).query(array, predicate="dwithin", distance=near)
    around: dict[int, list[int]] = {}
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        if i != j:
            around.setdefault(i, []).append(j)
    colours: dict[int, int] = {}
    for i in sorted(range(len(shapes)), key=lambda k: (-len(around.get(k, [])), k)):
        near_it = Counter(colours[j] for j in around.get(i, []) if j in colours)
        used = Counter(colours.values())
        colours[i] = min(range(len(PIECES)), key=lambda c: (near_it[c], used[c], c))
    return [colours[i] for i in range(len(shapes))]


def layer_title(file: str, layer: str, what: str) -> str:
    """File, layer and what the picture shows, each cut to fit."""
    return f"{plain(file, 40)} · layer {plain(layer, 30)} · {what}"


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
        legend.append(marks.clamp_swatch("kept free for clamps"))
    if blank.join_lines:
        legend.append(marks.line_swatch("ink", "where two passes meet", dash=(1, 2), points=1.6))
    if blank.offcut is not None:
        legend.append(marks.line_swatch("ink", "offcut", dash=marks.DASHED))
    x0, y0, x1, y1 = blank.outline.bounds
    room = max(x1 - x0, y1 - y0) * 0.03
    on = canvas(
        Box(x0 - room, y0 - room, x1 + room, y1 + room),
        titled(job, blank.number, "layout"),
        f"{count} board{'' if count == 1 else 's'}, {covered} % of the usable area",
        axis_words=BLANK_AXES,
        legend=legend,
    )
    marks.fill(on, [blank.outline], "paper", edge="quiet", width=0.8, over=0.4)
    marks.fill(on, shapely.get_parts(blank.usable).tolist(), "laminate", over=0.5)
    for keep_out in blank.keep_outs:
        marks.clamp_outline(on, keep_out, over=0.7)
    boards = [area for _, area in blank.boards]
    marks.fill(on, boards, "copper", edge="ink", width=0.6, over=1.0)
    if blank.offcut is not None:
        rim = shapely.get_coordinates(blank.offcut.exterior)
        marks.hairline(on, [rim], dash=marks.DASHED, points=1.0)
    lines = [shapely.get_coordinates(line) for line in blank.join_lines]
    marks.hairline(on, lines, "ink", dash=(1, 2), points=1.6)
    for words, area in blank.boards:
        low, _, _, high = area.bounds
        marks.label(on, (low, high), plain(words, 30), away=(1, -6), size=6.5)
    return on


def draw(blanks: Sequence[LaidBlank], job: str, stems: Sequence[str], folder: Path) -> None:
    """Write a picture of every blank as FOLDER/STEM.png."""
    for blank, stem in zip(blanks, stems, strict=True):
        save(layout_view(blank, job), folder / stem, svg=False)
