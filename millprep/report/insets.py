"""Insets below a picture: the narrowest gap and the worst join of a blank, true to scale."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.model.blank import Box
from millprep.model.milling_pass import Join
from millprep.report import marks
from millprep.report.blank_contents import BlankContents
from millprep.report.canvas import Canvas
from millprep.report.scene import Area, Circle, Line, Shape, Text, hatched
from millprep.report.words import number

WIDE, HIGH, BETWEEN = 2.9, 1.6, 0.45
"""Inches of an inset's frame, and between two frames."""
WORDS = 3
"""Lines of words below a frame, at most."""
ROOM = HIGH + 0.35 + 0.16 * WORDS
"""Inches of the page that insets take."""
TIMES = (100, 50, 20, 10, 5, 2, 1)
"""Enlargements."""
PART = 0.25
"""What is shown takes at most this part of the frame's width."""
SIZE = 7.5
"""Of the words, points."""


@dataclass(frozen=True, slots=True)
class Inset:
    """A place of the blank worth enlarging.

    Attributes:
        name: of the inset, in the picture too.
        at: blank frame.
        size: of what is to be seen there, mm.
        join: the join that is there; None for a gap.
    """

    name: str
    at: Point
    size: float
    join: Join | None = None


def insets_of(contents: BlankContents) -> tuple[Inset, ...]:
    """The narrowest gap of the copper that is left, and the join with least to spare."""
    places: list[tuple[Point, float, Join | None]] = []
    if contents.narrowest_gap is not None and contents.as_cut is not None:
        gap, at = contents.narrowest_gap
        places.append((at, gap, None))
    worst = worst_join(contents.joins)
    if worst is not None:
        places.append((worst.at, max(worst.tolerance_electrical or 0.0, 0.1), worst))
    return tuple(Inset("AB"[n], *place) for n, place in enumerate(places))


def worst_join(joins: Sequence[Join]) -> Join | None:
    """The join in copper whose expected misalignment is the largest part of what it tolerates."""
    judged = [
        (join.predicted / join.tolerance_electrical, -n)
        for n, join in enumerate(joins)
        if join.predicted is not None and join.tolerance_electrical
    ]
    return joins[-max(judged)[1]] if judged else None


def draw_insets(on: Canvas, contents: BlankContents, insets: Sequence[Inset]) -> None:
    """Every inset side by side below the legend."""
    inch = 72 * on.point
    for n, inset in enumerate(insets):
        left = on.frame[0] + n * (WIDE + BETWEEN) * inch
        times = next((t for t in TIMES if inset.size * t <= PART * WIDE * inch), TIMES[-1])
        half = WIDE * inch / 2 / times, HIGH * inch / 2 / times
        (x, y), top = inset.at, on.inset_top + 0.1 * inch
        panel = Canvas(
            view=Box(x - half[0], y - half[1], x + half[0], y + half[1]),
            title="", size=on.size, scale=float(times), point=on.point, pixels=on.pixels,
            frame=(left, top, left + WIDE * inch, top + HIGH * inch), tolerance=0.0005,
        )  # fmt: skip
        more, words = (
            _copper(panel, contents, inset)
            if inset.join is None
            else _join(panel, contents, inset.join)
        )
        on.around += [*_ground(panel, contents), *more]
        on.around.append(Area((shapely.box(*panel.frame),), None, "ink", 0.8 * on.point))
        lines = textwrap.wrap(f"{inset.name}, {times} : 1. {words}", 56)[:WORDS]
        for k, line in enumerate(lines):
            at = (left, panel.frame[3] + (12 + 10.5 * k) * on.point)
            on.around.append(Text(at, line, SIZE * on.point))


def _seen(panel: Canvas, shapes: Sequence[shapely.Geometry]) -> tuple[shapely.Geometry, ...]:
    """What of shapes is in the frame, on the page."""
    cut = shapely.clip_by_rect(np.array(shapes, dtype=object), *panel.view.bounds)
    parts = shapely.get_parts(cut)
    kept: Any = parts[~shapely.is_empty(parts)]
    return tuple(shapely.transform(kept, panel.points)) if len(kept) else ()


def _ground(panel: Canvas, contents: BlankContents) -> list[Shape]:
    """Copper that is left on the laminate, its edges as drawn, and grooves at the surface."""
    blank = shapely.box(0, 0, *contents.blank.size)
    parts = contents.as_cut.parts if contents.as_cut else ()
    kept = _seen(panel, [part.shape for part in parts if part.pieces])
    floating = _seen(panel, [part.shape for part in parts if not part.pieces])
    drawn = _seen(panel, [shapely.boundary(piece) for piece in contents.pieces])
    grooves = contents.as_cut.grooves if contents.as_cut else ()
    rims = _seen(panel, [shapely.boundary(groove.surface) for groove in grooves])
    holes = [hole for placed in contents.placed for hole in placed.holes]
    near = [hole for hole in holes if panel.view.grown(hole.diameter).contains(*hole.at)]
    bores = [hole.spine.buffer(hole.diameter / 2, quad_segs=32) for hole in near]
    thin = 0.7 * panel.point
    return [
        Area((shapely.box(*panel.frame),), "paper"),
        Area(_seen(panel, [blank]), "laminate"),
        *hatched(floating, marks.FLOATING, "copper", panel.point),
        Area(kept, "copper"),
        Area(_seen(panel, bores), "paper"),
        _lines(rims, thin, ()),
        _lines(drawn, thin, (2 * thin, 2 * thin)),
    ]


def _lines(shapes: Sequence[shapely.Geometry], width: float, dash: tuple[float, ...]) -> Line:
    return Line(tuple(map(shapely.get_coordinates, shapes)), width, "ink", dash)


def _copper(panel: Canvas, contents: BlankContents, inset: Inset) -> tuple[list[Shape], str]:
    """A line across the narrowest gap, and its width in words."""
    parts = contents.as_cut.parts if contents.as_cut else ()
    near = [p.shape for p in parts if p.pieces and p.shape.intersects(panel.view.shape)]
    across = [shapely.shortest_line(a, b) for a, b in combinations(near, 2)]
    words = (
        f"Narrowest gap: {number(inset.size, 3)} mm at the foot of the copper. Full lines: "
        "grooves at the surface; dashes: copper as drawn"
    )
    if not across:
        return [], words
    line = panel.points(shapely.get_coordinates(min(across, key=lambda run: run.length)))
    return _bar(panel, line, 1.2), words


def _bar(panel: Canvas, line: Any, points: float) -> list[Shape]:
    """A line with ticks at its ends, in a rim of paper."""
    along = (line[1] - line[0]) / max(float(np.hypot(*(line[1] - line[0]))), 1e-9)
    tick = np.array([-along[1], along[0]]) * 3.5 * panel.point
    runs = (line, *(np.array([end - tick, end + tick]) for end in line))
    return [
        Line(runs, (points + 2.0) * panel.point, "paper"),
        Line(runs, points * panel.point, "ink"),
    ]


def _join(panel: Canvas, contents: BlankContents, join: Join) -> tuple[list[Shape], str]:
    """Where both passes end on the path, and two bars across it: expected and tolerated."""
    at, across = np.array(join.at), np.array(join.across)
    along = np.array([-across[1], across[0]])
    width = _width(contents, join)
    ends = tuple(
        panel.at((x, y)) for x, y in (at + join.overrun * along, at - join.overrun * along)
    )
    left, top, right, bottom = panel.frame
    seen = tuple(end for end in ends if left < end[0] < right and top < end[1] < bottom)
    path = np.array([at - 99 * along, at + 99 * along])
    line = _seen(panel, [shapely.LineString(path)])
    shapes: list[Shape] = [
        _lines(line, 0.7 * panel.point, (5 * panel.point, 3 * panel.point)),
        Circle(seen, width / 2 * panel.scale, None, "ink", 1.2 * panel.point),
    ]
    off = 7.0 / panel.per_mm * along
    for length, side, points in ((join.predicted, 1, 2.4), (join.tolerance_electrical, -1, 1.0)):
        if length:
            half = across * length / 2
            shapes += _bar(
                panel,
                panel.points(np.array([at + side * off - half, at + side * off + half])),
                points,
            )
    words = (
        f"Join of passes {join.passes[0]} and {join.passes[1]}, circles: where they end. Thick "
        f"bar: misalignment on 99.7 % of blanks, {number(join.predicted or 0.0, 3)} mm; thin bar: "
        f"tolerated, {number(join.tolerance_electrical or 0.0, 3)} mm"
    )
    return shapes, words


def _width(contents: BlankContents, join: Join) -> float:
    """Width at the surface of the groove that a join is in."""
    place = shapely.Point(join.at)
    by_name = {cutter.name: cutter for cutter in contents.cutters}
    laps: list[Any] = [lap for lap in contents.laps if lap.piece == join.piece]
    laps = laps or list(contents.path_cuts)
    nearest = min(
        laps, key=lambda cut: shapely.distance(shapely.LineString(cut.path.flattened(0.05)), place)
    )
    return by_name[nearest.cutter].width(nearest.depth)
