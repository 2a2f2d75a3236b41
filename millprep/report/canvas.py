"""A page with a drawing in a frame: axes, title, legend, scale bar, and nothing on top of it.

One millimetre of the drawing is one millimetre of the page, so a picture can be measured. The
margins and all type follow from how much of the drawing fits on a sheet of paper or a screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box
from millprep.report.palette import ANY_STEPS, ColourBar, multiples
from millprep.report.scene import (
    Anchor,
    Area,
    Dash,
    Line,
    Scene,
    Shape,
    Text,
    hatched,
    sign,
    width_of,
)
from millprep.report.svg import rasterised
from millprep.report.svg import svg as svg_of
from millprep.report.words import number, plain

WIDEST, HIGHEST = 14.0, 8.5
NARROWEST = 7.5
"""Limits of the page in inches of paper; the drawing is as large as they allow."""
PRINTED = 9.5
"""Widest page in inches whose words stay legible once printed 184 mm wide."""
DPI = 100
PRINTED_DPI = 140
LEFT, RIGHT, TOP, AXIS = 0.75, 0.3, 0.72, 0.5
"""Inches kept free around the drawing: y axis, right edge, title, x axis."""
ROW = 0.2
STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
"""Round numbers of mm for axes and scale bar."""
BAR = 0.55
"""Inches of a colour bar's row."""
LEGEND_SIZE, LEGEND_ROW = 8.0, 0.185
"""Points of the legend's type, of which its symbols are 2.2 times as wide; inches of a row."""


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """A symbol and its words: an area with a hatch, a line with dashes in points, or a sign."""

    words: str
    role: str | None = None
    hatch: str = ""
    sign: str = ""
    dash: Dash | None = None
    width: float = 0.5


@dataclass(slots=True)
class Canvas:
    """One picture being made.

    Attributes:
        view: what the drawing shows, in its own unit: mm, or what `unit` said.
        title: what the picture is.
        frame: of the drawing on the page: left, top, right, bottom, mm.
        size: of the page, mm.
        scale: page mm for a unit of the drawing; 1 for a drawing in mm.
        point: page mm for a point of type, of which 72 are an inch of paper.
        pixels: width of the picture as PNG.
        tolerance: a tenth of a pixel in the drawing's unit, never below 5 µm: shapes may be
            simplified by it.
        turned_over: y grows downward, for views from the other face of the laminate.
        ground: role of the frame's ground.
        inset_top: where the room for insets begins on the page, mm.
    """

    view: Box
    title: str
    frame: tuple[float, float, float, float]
    size: tuple[float, float]
    scale: float
    point: float
    pixels: int
    tolerance: float
    turned_over: bool = False
    ground: str = "paper"
    inset_top: float = 0.0
    inside: list[tuple[float, Shape]] = field(default_factory=list)
    around: list[Shape] = field(default_factory=list)

    @property
    def per_mm(self) -> float:
        """Points for a unit of the drawing."""
        return self.scale / self.point

    def at(self, place: Point) -> Point:
        """A place of the drawing on the page."""
        left, top, _, _ = self.frame
        down = place[1] - self.view.y0 if self.turned_over else self.view.y1 - place[1]
        return left + (place[0] - self.view.x0) * self.scale, top + down * self.scale

    def points(self, xy: FloatArray) -> FloatArray:
        """(n, 2) places of the drawing on the page."""
        left, top, _, _ = self.frame
        x = left + (xy[:, 0] - self.view.x0) * self.scale
        down = xy[:, 1] - self.view.y0 if self.turned_over else self.view.y1 - xy[:, 1]
        return np.column_stack((x, top + down * self.scale))

    def draw(self, shape: Shape, over: float) -> None:
        """Put a shape of the page into the frame, above all with a lesser `over`."""
        self.inside.append((over, shape))

    def scene(self) -> Scene:
        """The picture as data."""
        left, top, right, bottom = self.frame
        paper = shapely.box(0, 0, *self.size)
        rim = shapely.box(left, top, right, bottom)
        shapes = tuple(shape for _, shape in sorted(self.inside, key=lambda pair: pair[0]))
        return Scene(
            self.size,
            self.title,
            (
                Area((paper,), "paper"),
                Area((rim,), self.ground),
                *shapes,
                # paper over what sticks out of the frame: clipping takes three times as long
                Area((paper.buffer(self.point, join_style="mitre").difference(rim),), "paper"),
                Area((rim,), None, "ink", 0.6 * self.point),
                *self.around,
            ),
        )

    def words(self) -> str:
        """All words of the picture, one text a line."""
        return "\n".join(self.scene().words())


def canvas(
    view: Box,
    title: str,
    words: str,
    *,
    axis_words: tuple[str, str] = ("X, mm", "Y, mm"),
    legend: Sequence[LegendEntry] = (),
    below: Sequence[str] = (),
    bar: ColourBar | None = None,
    insets: float = 0.0,
    turned_over: bool = False,
    widest: float = WIDEST,
    dpi: int = DPI,
    unit: str = "mm",
    ground: str = "paper",
) -> Canvas:
    """Open a picture of `view`.

    `title` says what the picture is, `words` beneath it how to read it. `legend` is outside the
    drawing, the sentences `below` are under it, then a colour `bar` and so many inches of room
    for `insets`. `turned_over` lets y grow downward. `widest` is
    in inches, `dpi` in pixels for one inch. `unit` names the unit of the view where it is not
    mm. The set's id is not on it, so that a picture stays the same as long as what it shows.
    """
    wide, high = view.x1 - view.x0, view.y1 - view.y0
    rows = _rows(legend, widest)
    more = ROW * len(below) + (BAR if bar else 0.0) + insets + 0.35
    foot = AXIS + ROW * rows + more
    per_unit = min((widest - LEFT - RIGHT) / wide, (HIGHEST + insets - TOP - foot) / high)
    if wide * per_unit + LEFT + RIGHT < NARROWEST:
        rows = _rows(legend, NARROWEST)
        foot = AXIS + ROW * rows + more
        per_unit = min((widest - LEFT - RIGHT) / wide, (HIGHEST + insets - TOP - foot) / high)
    width = max(wide * per_unit + LEFT + RIGHT, NARROWEST)
    height = high * per_unit + TOP + foot
    scale = 1.0 if unit == "mm" else 25.4 * per_unit
    inch = scale / per_unit
    tenth = 0.1 / (per_unit * dpi)
    on = Canvas(
        view=view,
        title=title,
        frame=(LEFT * inch, TOP * inch, LEFT * inch + wide * scale, TOP * inch + high * scale),
        size=(width * inch, height * inch),
        scale=scale,
        point=inch / 72,
        pixels=round(width * dpi),
        tolerance=max(0.005, tenth) if unit == "mm" else tenth,
        turned_over=turned_over,
        ground=ground,
    )
    steps = STEPS if unit == "mm" else ANY_STEPS
    _axes(on, axis_words, steps)
    x = LEFT * inch
    _say(on, (x, 0.26 * inch), plain(title, int(width * 9.5)), 11, bold=True)
    _say(on, (x, 0.5 * inch), plain(words, int(width * 14)), 8.5)
    _scale_bar(on, (x, (height - 0.12) * inch), steps, unit)
    top = (height - foot + AXIS) * inch
    _legend(on, (x, top), legend, rows)
    for i, sentence in enumerate(below):
        y = top + (LEGEND_ROW * rows + ROW * (i + 0.9)) * inch
        _say(on, (x, y), plain(sentence, int(width * 15)), 8)
    on.inset_top = top + (LEGEND_ROW * rows + ROW * len(below) + (BAR if bar else 0.0)) * inch
    if bar:
        _bar(on, (x, top + (LEGEND_ROW * rows + ROW * len(below)) * inch), bar)
    return on


def save(on: Canvas, stem: Path, *, svg: bool) -> None:
    """Write `stem`.png and, with `svg`, `stem`.svg; no clock and no program name goes in."""
    text = svg_of(on.scene())
    stem.with_suffix(".png").write_bytes(rasterised(text, on.size, on.pixels))
    if svg:
        stem.with_suffix(".svg").write_text(text, encoding="utf-8", newline="\n")


def _say(
    on: Canvas,
    at: Point,
    words: str,
    points: float,
    *,
    role: str = "ink",
    anchor: Anchor = "start",
    turn: float = 0.0,
    bold: bool = False,
) -> None:
    """Words on the page, around the drawing."""
    on.around.append(Text(at, words, points * on.point, role, anchor, turn, bold))


def _axes(on: Canvas, words: tuple[str, str], steps: Sequence[float]) -> None:
    """Ticks with their figures, and what the axes are."""
    left, top, right, bottom = on.frame
    view, pt = on.view, on.point
    ticks: list[FloatArray] = []
    across = next((s for s in steps if (view.x1 - view.x0) / s <= 16), steps[-1])
    for value in multiples(view.x0, view.x1, across):
        x, _ = on.at((value, view.y0))
        ticks.append(np.array([(x, bottom), (x, bottom + 3 * pt)]))
        _say(on, (x, bottom + 11.5 * pt), number(value, 5), 7, role="quiet", anchor="middle")
    up = next((s for s in steps if (view.y1 - view.y0) / s <= 8), steps[-1])
    longest = 0.0
    for value in multiples(view.y0, view.y1, up):
        _, y = on.at((view.x0, value))
        ticks.append(np.array([(left - 3 * pt, y), (left, y)]))
        figure = number(value, 5)
        longest = max(longest, width_of(figure, 7.0))
        _say(on, (left - 6 * pt, y + 2.5 * pt), figure, 7, role="quiet", anchor="end")
    on.around.append(Line(tuple(ticks), 0.5 * pt, "quiet"))
    _say(on, ((left + right) / 2, bottom + 23 * pt), words[0], 8, anchor="middle")
    x = max(left - (13 + longest) * pt, 8 * pt)
    _say(on, (x, (top + bottom) / 2), words[1], 8, anchor="middle", turn=-90.0)


def _scale_bar(on: Canvas, at: Point, steps: Sequence[float], unit: str) -> None:
    """A bar of a round length, at most a quarter of the drawing."""
    wide = on.view.x1 - on.view.x0
    length = max((s for s in steps if s <= wide / 4), default=steps[0])
    (x, y), half, high = at, length * on.scale / 2, 5 * on.point
    for n, role in enumerate(("ink", "paper")):
        bar = shapely.box(x + n * half, y - high, x + (n + 1) * half, y)
        on.around.append(Area((bar,), role, "ink", 0.6 * on.point))
    _say(on, (x + 2 * half + 6 * on.point, y), f"{number(length, 5)} {unit}", 8)


def _bar(on: Canvas, at: Point, bar: ColourBar) -> None:
    """The steps of a colour bar with their values, and what they measure."""
    (x, y), pt = at, on.point
    _say(on, (x, y + 10 * pt), bar.words, LEGEND_SIZE)
    longest = max(width_of(number(value, 4), 7.0) for value in bar.values)
    wide = max(26.0, longest + 8.0) * pt
    for n, role in enumerate(bar.roles):
        box = shapely.box(x + n * wide, y + 14 * pt, x + (n + 1) * wide, y + 23 * pt)
        on.around.append(Area((box,), role, "ink", 0.4 * pt))
    for n, value in enumerate(bar.values):
        _say(on, (x + n * wide, y + 31 * pt), number(value, 4), 7, anchor="middle")


def _rows(legend: Sequence[LegendEntry], width: float) -> int:
    """Rows of the legend on a page so many inches wide."""
    if not legend:
        return 0
    longest = max(width_of(entry.words, LEGEND_SIZE) for entry in legend) / 72
    columns = max(1, min(len(legend), int((width - LEFT - RIGHT) / (longest + 0.55))))
    return -(-len(legend) // columns)


def _legend(on: Canvas, at: Point, legend: Sequence[LegendEntry], rows: int) -> None:
    """Symbols and their words in columns, from the upper left."""
    pt = on.point
    x = at[0]
    for start in range(0, len(legend), max(rows, 1)):
        column = legend[start : start + rows]
        for n, entry in enumerate(column):
            y = at[1] + (n + 0.35) * LEGEND_ROW * 72 * pt
            _symbol(on, (x, y), entry)
            _say(on, (x + 24 * pt, y + 2.9 * pt), entry.words, LEGEND_SIZE)
        x += (24 + 13 + max(width_of(entry.words, LEGEND_SIZE) for entry in column)) * pt


def _symbol(on: Canvas, at: Point, entry: LegendEntry) -> None:
    """The symbol of an entry, its left end at a place of the page."""
    pt, (x, y) = on.point, at
    long, half = 17.6 * pt, 2.9 * pt
    if entry.sign:
        on.around += sign(entry.sign, [(x + long / 2, y)], 6 * pt, pt)
    elif entry.dash is not None:
        dash = tuple(part * pt for part in entry.dash)
        line = np.array([(x, y), (x + long, y)])
        on.around.append(Line((line,), entry.width * pt, entry.role or "ink", dash))
    else:
        box = shapely.box(x, y - half, x + long, y + half)
        on.around.append(Area((box,), entry.role))
        inks = {"laminate": "copper", "paper": "ink", "fault": "ink"}
        edge = inks.get(entry.role or "", "paper")
        on.around += hatched([box], entry.hatch, edge, pt) if entry.hatch else ()
        on.around.append(Area((box,), None, "ink", entry.width * pt))
