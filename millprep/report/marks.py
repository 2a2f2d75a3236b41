"""What is drawn on a canvas: areas, strokes of true width, holes, signs, labels, flags, clamps.

Places are in the drawing's unit, widths of edges and sizes of type in points.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box, Clamp
from millprep.model.board import Hole
from millprep.model.cut import HoleCut
from millprep.report.canvas import Canvas, LegendEntry
from millprep.report.scene import (
    Area,
    Circle,
    Dash,
    Flag,
    Line,
    Text,
    WideLine,
    coarser,
    hatched,
    sign,
    width_of,
)
from millprep.report.words import number

THINNEST = 0.3
"""A stroke is drawn at least so many points wide."""
DASHED: Dash = (5, 3)
TRAVEL: Dash = (7, 3)
DOTTED: Dash = (1, 2)
TAPE: Dash = (6, 2, 1, 2)
"""Dashes of a board's edge, the machine's travel, room for more clamps, and tape or vacuum."""
HOLE_RIM = 0.7
"""Of paper around a hole that is drilled, so that it shows in a groove, points."""
CLAMP_HATCH = "\\"
EMPTY = shapely.Polygon()
FLOATING = "/"
"""Hatch of floating copper: it may be at any voltage."""


def fill(
    on: Canvas,
    shapes: Iterable[shapely.Geometry],
    role: str | None,
    *,
    edge: str | None = None,
    hatch: str = "",
    width: float = 0.0,
    dash: Dash = (),
    over: float = 1.0,
) -> None:
    """Fill areas; dashes are in widths of the edge, a hatch has its colour.

    `over` is the height in the stack.
    """
    areas = _simplified(on, shapes)
    if not areas:
        return
    wide = width * on.point
    dashes = tuple(part * wide for part in dash)
    on.draw(Area(areas, role, edge if width > 0 else None, wide, dashes), over)
    if hatch:
        for line in hatched(areas, hatch, edge or "ink", on.point):
            on.draw(line, over)


def _simplified(on: Canvas, shapes: Iterable[shapely.Geometry]) -> tuple[shapely.Geometry, ...]:
    """The polygons on the page, without vertices that nobody sees."""
    parts = shapely.get_parts(np.array(list(shapes), dtype=object))
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    # opposite turns for holes: every program then leaves them empty
    turned = shapely.orient_polygons(shapely.get_parts(coarser(parts, on.tolerance)))
    return tuple(shapely.transform(turned, on.points))


def stroke(
    on: Canvas, lines: Sequence[FloatArray], width: float, role: str, *, over: float = 2.0
) -> None:
    """Draw what a round cutter of this width in mm leaves along the lines."""
    if lines:
        wide = max(width * on.scale, THINNEST * on.point)
        on.draw(WideLine(_placed(on, lines), wide, role), over)


def hairline(
    on: Canvas,
    lines: Sequence[FloatArray],
    role: str = "ink",
    *,
    points: float = 0.6,
    dash: Dash = (),
    over: float = 3.0,
) -> None:
    """Draw lines whose width means nothing; dashes are in widths of the line."""
    if lines:
        wide = points * on.point
        dashes = tuple(part * wide for part in dash)
        on.draw(Line(_placed(on, lines), wide, role, dashes), over)


def _placed(on: Canvas, lines: Sequence[FloatArray]) -> tuple[FloatArray, ...]:
    """Lines on the page, without vertices that nobody sees."""
    which = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    paths: Any = shapely.linestrings(np.concatenate(lines).astype(float), indices=which)
    xy, which = shapely.get_coordinates(coarser(paths, on.tolerance), return_index=True)
    starts = np.searchsorted(which, np.arange(1, len(lines)))
    return tuple(np.split(on.points(xy), starts))


def discs(
    on: Canvas,
    at: Sequence[Point],
    diameter: float,
    role: str | None,
    *,
    edge: str | None = "ink",
    points: float = 0.4,
    hatch: str = "",
    over: float = 4.0,
) -> None:
    """Round holes at their true diameter, mm."""
    if not at:
        return
    centres, radius = tuple(map(on.at, at)), diameter / 2 * on.scale
    on.draw(Circle(centres, radius, role, edge, points * on.point), over)
    if hatch:
        circles = [shapely.Point(centre).buffer(radius) for centre in centres]
        for line in hatched(circles, hatch, edge or "ink", on.point):
            on.draw(line, over)


def holes(
    on: Canvas,
    some: Iterable[Hole | HoleCut],
    role: str,
    *,
    edge: str = "ink",
    points: float = 0.4,
    hatch: str = "",
    over: float = 4.0,
) -> None:
    """Holes and slots, true to size."""
    sizes: dict[float, list[Point]] = {}
    slots: list[shapely.Polygon] = []
    for hole in some:
        if hole.end is None:
            sizes.setdefault(hole.diameter, []).append(hole.at)
        else:
            slots.append(hole.spine.buffer(hole.diameter / 2, quad_segs=32))
    for diameter, at in sizes.items():
        discs(on, at, diameter, role, edge=edge, points=points, hatch=hatch, over=over)
    if slots:
        fill(on, slots, role, edge=edge, hatch=hatch, width=points, over=over)


def signs(
    on: Canvas, at: Sequence[Point], kind: str, *, size: float = 6.0, over: float = 6.0
) -> None:
    """Signs of a fixed size, ink on a paper ground so that they show on any colour."""
    if at:
        for shape in sign(kind, [on.at(place) for place in at], size * on.point, on.point):
            on.draw(shape, over)


def label(
    on: Canvas, at: Point, words: str, *, away: Point = (6.0, 6.0), size: float = 7.5,
    over: float = 8.0,
) -> None:  # fmt: skip
    """Words next to a point that is in view, on a paper ground.

    `away` leads in points, y up, to their nearer end; more than 5 down, the words hang below it.
    """
    if on.view.contains(*at):
        below = away[1] < -5
        box = _box(on, at, words, size, away, 0.12, left=away[0] < 0, below=below)
        on.draw(Flag(box, words, size * on.point, "paper", bold=False), over)


def note(on: Canvas, at: Point, words: str, size: float, *, over: float) -> None:
    """Words about a place, on a paper ground, so many points large."""
    x, y = on.at(at)
    wide, high = (width_of(words, size) + 0.2 * size) / 2 * on.point, 0.6 * size * on.point
    box = (x - wide, y - high, x + wide, y + high)
    on.draw(Flag(box, words, size * on.point, "paper", bold=False), over)


def outlines(on: Canvas, shapes: Iterable[shapely.Polygon], *, points: float) -> None:
    """The edges of boards with their cut-outs, dashed."""
    rims = [rim for shape in shapes for rim in (shape.exterior, *shape.interiors)]
    hairline(on, list(map(shapely.get_coordinates, rims)), dash=DASHED, points=points)


def _box(
    on: Canvas, at: Point, words: str, size: float, away: Point, pad: float, *, left: bool,
    below: bool = False, bold: bool = False,
) -> tuple[float, float, float, float]:  # fmt: skip
    """The box of words that end or begin off a place, moved into the frame if need be."""
    pt = on.point
    wide, high = width_of(words, size, bold=bold) + 2 * pad * size, size * (1.02 + 2 * pad)
    px, py = on.at(at)
    x = px + away[0] * pt - ((wide - pad * size) if left else pad * size) * pt
    y = py - away[1] * pt - (pad * size if below else high - pad * size) * pt
    left_, top, right, bottom = on.frame
    x = max(left_, min(x, right - wide * pt))
    y = max(top, min(y, bottom - high * pt))
    return x, y, x + wide * pt, y + high * pt


def flags(on: Canvas, places: Sequence[tuple[str, Point]]) -> None:
    """A circle around every place; one flag for places that would crowd each other."""
    for words, at in crowds(on, places):
        circled(on, at, words, 6.0 / on.per_mm)


def crowds(on: Canvas, places: Sequence[tuple[str, Point]]) -> list[tuple[str, Point]]:
    """The places with the words of their flags; flags that would hide each other become one.

    The flag of a crowd is at its first place and names up to three, "F5, F8"; of more it names
    one and counts the others, "F5 +3". The others have no words.
    """
    near = 30.0 / on.per_mm
    held: dict[int, list[str]] = {}
    for n, (words, at) in enumerate(places):
        for first, names in held.items():
            there = places[first][1]
            if abs(there[0] - at[0]) < near and abs(there[1] - at[1]) < near * 0.7:
                names.append(words)
                break
        else:
            held[n] = [words]
    return [(_together(held.get(n, [])), at) for n, (_, at) in enumerate(places)]


def _together(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{names[0]} +{len(names) - 1}"


def circled(on: Canvas, at: Point, words: str, radius: float) -> None:
    """A circle of this radius in mm with its flag outside it; without words, no flag."""
    discs(on, [at], 2 * radius, None, edge="paper", points=4.0, over=9)
    discs(on, [at], 2 * radius, None, edge="ink", points=1.8, over=9.1)
    if words:
        _flag(on, at, words, radius * on.per_mm * 0.75 + 2.0)


def _flag(on: Canvas, at: Point, words: str, away: float) -> None:
    """Words on a flag to the upper right of a place; long ones lean toward the centre."""
    left = len(words) > 8 and at[0] > (on.view.x0 + on.view.x1) / 2
    off = (-away if left else away, away)
    box = _box(on, at, words, 8.5, off, 0.25, left=left, bold=True)
    on.draw(Flag(box, words, 8.5 * on.point), 9.2)


def clamps(on: Canvas, held: Iterable[Clamp]) -> None:
    """Every clamp with its height above the copper; the canvas is in machine coordinates."""
    size = 6.5 * on.point
    for clamp in held:
        box, words = clamp.box, f"{number(clamp.height)} mm"
        wide, tall = (box.x1 - box.x0) * on.scale, (box.y1 - box.y0) * on.scale
        x, y = on.at(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
        long, half = width_of(words, size) / 2 + on.point, size / 2 + on.point
        # upward where they fit only so
        turn = -90.0 if wide < 2 * long and wide < tall else 0.0
        sink = 0.36 * size
        at = (x + sink, y) if turn else (x, y + sink)
        across, down = (half, long) if turn else (long, half)
        free = shapely.box(x - across, y - down, x + across, y + down)
        clamp_outline(on, box.shape, but=free)
        text = Text(at, words, size, anchor="middle", turn=turn, halo=1.5 * on.point)
        on.draw(text, 5.1)


def strips(on: Canvas, areas: bool | Sequence[Box]) -> None:
    """Where tape or vacuum holds parts of the blank from below, in machine coordinates."""
    if not isinstance(areas, bool):
        shapes = [box.shape for box in areas]
        fill(on, shapes, None, edge="ink", width=0.9, dash=TAPE, over=4.7)


def clamp_outline(
    on: Canvas, shape: shapely.Geometry, *, over: float = 5.0, but: shapely.Geometry = EMPTY
) -> None:
    """A clamp, wherever the canvas has it, without lines in a place of the page for its words."""
    fill(on, [shape], "paper", edge="ink", width=0.8, over=over)
    lined = shapely.difference(shapely.transform(shape, on.points), but)
    for line in hatched([lined], CLAMP_HATCH, "ink", on.point):
        on.draw(line, over)


def clamp_swatch(words: str) -> LegendEntry:
    """A legend entry for clamps."""
    return swatch("paper", words, hatch=CLAMP_HATCH)


def swatch(role: str, words: str, *, hatch: str = "") -> LegendEntry:
    """A legend entry for an area."""
    return LegendEntry(words, role, hatch)


def sign_swatch(kind: str, words: str) -> LegendEntry:
    """A legend entry for a sign."""
    return LegendEntry(words, sign=kind)


def line_swatch(role: str, words: str, *, dash: Dash = (), points: float = 1.2) -> LegendEntry:
    """A legend entry for a line; dashes in widths of the line."""
    return LegendEntry(words, role, dash=tuple(part * points for part in dash), width=points)
