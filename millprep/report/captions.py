"""Words next to places in a picture, where they hide nothing, with a line if they are far off.

Every caption tries places around its mark, near ones first; the cheapest is taken. Other
captions, marks, clamps and what is engraved in the margin must stay free; boards should stay free.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.report import marks
from millprep.report.canvas import Canvas
from millprep.report.fonts import width_of
from millprep.report.scene import Flag

SIZE = 7.0
"""Of the words, points."""
PAD = 1.2
"""Around the words, points."""
AWAY = (5.0, 9.0, 14.0, 20.0, 28.0, 38.0, 50.0, 64.0, 80.0, 100.0, 125.0)
"""Distances of the words from their mark that are tried, points."""
TURNS = 16
"""Directions that are tried."""
HIDDEN, CROSSED, OVER_BOARD, DOUBTFUL, OVER_LINE, FAR = 1000.0, 60.0, 40.0, 15.0, 3.0, 1.0
"""Costs: something hidden by the words, something crossed by the line, all of the words over a
board, another mark as near as their own and no line, an edge hidden, one point farther away."""
LINE_FROM = 10.0
"""Words that are farther off have a line to their mark, points."""


@dataclass(frozen=True, slots=True)
class Caption:
    """Words for a mark of a radius in points."""

    at: Point
    words: str
    radius: float = 4.0


@dataclass(frozen=True, slots=True)
class PlacedCaption:
    """Where a caption's words go: their box and the line to them, mm; no line for None."""

    caption: Caption
    box: shapely.Polygon
    line: shapely.LineString | None


def put(on: Canvas, arranged: Iterable[PlacedCaption]) -> None:
    """Draw captions where they go."""
    for placed in arranged:
        if placed.line is not None:
            path = [shapely.get_coordinates(placed.line)]
            marks.hairline(on, path, "paper", points=1.8, over=7.8)
            marks.hairline(on, path, "ink", points=0.6, over=7.9)
        x0, y0, x1, y1 = placed.box.bounds
        (left, bottom), (right, top) = on.at((x0, y0)), on.at((x1, y1))
        box = (left, min(top, bottom), right, max(top, bottom))
        words = placed.caption.words
        on.draw(Flag(box, words, SIZE * on.point, "paper", None, bold=False), 8)


def arrange(
    on: Canvas,
    captions: Sequence[Caption],
    kept_free: Iterable[shapely.Geometry],
    boards: shapely.Geometry,
    edges: Sequence[shapely.Geometry] = (),
) -> tuple[PlacedCaption, ...]:
    """Where captions go, each at the cheapest place that those before it leave.

    Args:
        on: the picture.
        captions: in the order in which they choose.
        kept_free: what words must not hide, mm.
        boards: what words had better not hide, mm.
        edges: lines that words had better not hide, mm.
    """
    own = [shapely.Point(c.at).buffer(c.radius / on.per_mm, quad_segs=4) for c in captions]
    fixed = [g for g in kept_free if not shapely.is_empty(g)]
    shapely.prepare(boards)
    done: list[PlacedCaption] = []
    for n, caption in enumerate(captions):
        others = [*fixed, *own[:n], *own[n + 1 :]]
        for placed in done:
            others += [placed.box] if placed.line is None else [placed.box, placed.line]
        tree = shapely.STRtree(others)
        wide, high = extent(caption.words)
        tried = list(_places(on, caption, wide, high))
        rest = [c.at for c in captions if c is not caption]
        costs = [_cost(on, place, tree, boards) + _doubt(on, place, rest, edges) for place in tried]
        done.append(tried[int(np.argmin(np.round(costs, 6)))])
    return tuple(done)


def extent(words: str) -> tuple[float, float]:
    """Width and height of words with the room around them, points."""
    return width_of(words, SIZE) + 2 * PAD, SIZE * 1.05 + 2 * PAD


def _places(on: Canvas, caption: Caption, wide: float, high: float) -> Iterable[PlacedCaption]:
    """Boxes around a mark, the nearest first; to the right before all other sides."""
    x, y = caption.at
    w, h = wide / on.per_mm, high / on.per_mm
    for away in AWAY:
        off = (caption.radius + away) / on.per_mm
        for k in range(TURNS):
            angle = 2 * math.pi * k / TURNS
            cos, sin = math.cos(angle), math.sin(angle)
            # the box's centre is so far out that its rim is `off` from the mark
            reach = min(
                w / 2 / abs(cos) if abs(cos) > 1e-9 else math.inf,
                h / 2 / abs(sin) if abs(sin) > 1e-9 else math.inf,
            )
            cx, cy = x + cos * (off + reach), y + sin * (off + reach)
            box = shapely.box(cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2)
            line = None
            if away >= LINE_FROM:
                r = caption.radius / on.per_mm
                line = shapely.LineString(
                    [(x + cos * r, y + sin * r), (x + cos * off, y + sin * off)]
                )
            yield PlacedCaption(caption, box, line)


def _cost(
    on: Canvas,
    place: PlacedCaption,
    tree: shapely.STRtree,
    boards: shapely.Geometry,
) -> float:
    """What a place costs; without end where it leaves the picture."""
    view = on.view
    x0, y0, x1, y1 = place.box.bounds
    if x0 < view.x0 or y0 < view.y0 or x1 > view.x1 or y1 > view.y1:
        return 1e9
    cost = HIDDEN * len(tree.query(place.box, predicate="intersects"))
    cost += OVER_BOARD * place.box.intersection(boards).area / place.box.area
    far = shapely.distance(place.box, shapely.Point(place.caption.at)) * on.per_mm
    cost += FAR * float(far) + HIDDEN * bool(far < place.caption.radius)
    if place.line is not None:
        cost += CROSSED * len(tree.query(place.line, predicate="intersects"))
        cost += OVER_BOARD / 4 * bool(place.line.intersects(boards))
    return cost


def _doubt(
    on: Canvas, place: PlacedCaption, rest: Sequence[Point], edges: Sequence[shapely.Geometry]
) -> float:
    """What it costs that words might belong to another mark, or hide an edge."""
    cost = OVER_LINE * sum(bool(place.box.intersects(edge)) for edge in edges)
    if place.line is None and rest:
        mine = shapely.distance(place.box, shapely.Point(place.caption.at))
        other = shapely.distance(place.box, shapely.MultiPoint(rest))
        cost += DOUBTFUL * bool(other < mine + 6.0 / on.per_mm)
    return cost
