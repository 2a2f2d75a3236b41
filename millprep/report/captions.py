"""Words next to places in a picture, where they hide nothing, with a line if they are far off.

Every caption tries places around its mark, near ones first; the cheapest is taken. Other
captions, marks, clamps and what is engraved in the margin must stay free; boards should stay free.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.report import marks
from millprep.report.canvas import Canvas
from millprep.report.scene import Flag, width_of

SIZE = 7.0
"""Of the words, points."""
PAD = 1.2
"""Around the words, points."""
AWAY = (5.0, 9.0, 14.0, 20.0, 28.0, 38.0, 50.0, 64.0, 80.0, 100.0, 125.0)
"""Distances of the words from their mark that are tried, points."""
TURNS = 16
"""Directions that are tried."""
HIDDEN, CROSSED, OVER_BOARD, DOUBTFUL, OVER_LINE, FAR = 1000.0, 60.0, 40.0, 15.0, 500.0, 1.0
"""Costs: something hidden by the words, something crossed by the line, all of the words over a
board, another mark as near as their own and no line, an edge hidden, one point farther away."""
LEVELS = 9
"""Places along each side of a board that are tried for its name."""
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
        on.draw(Flag(box, words, SIZE * on.point, "paper", bold=False), 8)


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
    fixed = list(kept_free)
    # its area under words need not be exact, and costs by the corner
    boards = shapely.simplify(boards, 1.0 / on.per_mm)
    shapely.prepare(boards)
    done: list[PlacedCaption] = []
    for n, caption in enumerate(captions):
        others = [*fixed, *own[:n], *own[n + 1 :]]
        for placed in done:
            others += [placed.box] if placed.line is None else [placed.box, placed.line]
        tried = _tried(on, caption)
        rest = [c.at for c in captions if c is not caption]
        cost = _cost(on, tried, shapely.STRtree(others), boards)
        cost += _doubt(on, tried, rest, edges)
        best = int(np.argmin(np.round(cost, 6)))
        done.append(PlacedCaption(caption, tried.boxes[best], tried.lines[best]))
    return tuple(done)


def on_boards(
    on: Canvas,
    boards: Sequence[tuple[str, shapely.Geometry]],
    kept_free: Iterable[shapely.Geometry],
    copper: Iterable[shapely.Geometry],
) -> tuple[PlacedCaption, ...]:
    """Names along or within their boards, best above the upper edge.

    Args:
        on: the picture.
        boards: name and edge of each.
        kept_free: signs and marks, which no name hides, mm.
        copper: pieces and holes, of which a name hides as few as it can, mm.
    """
    edges = [shapely.boundary(edge) for _, edge in boards]
    signs, pieces = list(kept_free), shapely.STRtree([*copper, *edges])
    done: list[PlacedCaption] = []
    for words, edge in boards:
        x0, y0, x1, y1 = shapely.bounds(edge).tolist()
        w, h = (size / on.per_mm for size in extent(words))
        xs = np.linspace(x0, max(x1 - w, x0), LEVELS)
        ys = np.linspace(y1 + 0.55 * h, y0 - 0.55 * h, LEVELS)
        x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
        boxes = shapely.box(x, y - h / 2, x + w, y + h / 2)
        others = shapely.STRtree([*signs, *(placed.box for placed in done)])
        cost = HIDDEN * _met(others, boxes, len(boxes))
        cost += CROSSED * _met(pieces, boxes, len(boxes)) + FAR * np.arange(len(boxes))
        best = boxes[int(np.argmin(cost))]
        done.append(PlacedCaption(Caption((x0, y1), words), best, None))
    return tuple(done)


@dataclass(frozen=True, slots=True)
class _Tried:
    """Places of one caption: boxes, and the line to each, None for a near one."""

    caption: Caption
    boxes: Any
    lines: Any


def extent(words: str) -> tuple[float, float]:
    """Width and height of words with the room around them, points."""
    return width_of(words, SIZE) + 2 * PAD, SIZE * 1.05 + 2 * PAD


def _tried(on: Canvas, caption: Caption) -> _Tried:
    """Boxes around a mark, the nearest first; to the right before all other sides."""
    x, y = caption.at
    w, h = (size / on.per_mm for size in extent(caption.words))
    away = np.repeat(AWAY, TURNS)
    off = (caption.radius + away) / on.per_mm
    angle = np.tile(2 * math.pi * np.arange(TURNS) / TURNS, len(AWAY))
    cos, sin = np.cos(angle), np.sin(angle)
    # the box's centre is so far out that its rim is `off` from the mark
    with np.errstate(divide="ignore"):
        reach = np.minimum(
            np.where(np.abs(cos) > 1e-9, w / 2 / np.abs(cos), np.inf),
            np.where(np.abs(sin) > 1e-9, h / 2 / np.abs(sin), np.inf),
        )
    cx, cy = x + cos * (off + reach), y + sin * (off + reach)
    boxes = shapely.box(cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2)
    r = caption.radius / on.per_mm
    ends = np.stack(
        [np.column_stack((x + cos * far, y + sin * far)) for far in (np.full_like(off, r), off)], 1
    )
    lines: Any = shapely.linestrings(ends)
    lines[away < LINE_FROM] = None
    return _Tried(caption, boxes, lines)


def _cost(on: Canvas, tried: _Tried, tree: shapely.STRtree, boards: shapely.Geometry) -> FloatArray:
    """What every place costs; without end where it leaves the picture."""
    view, boxes, count = on.view, tried.boxes, len(tried.boxes)
    x0, y0, x1, y1 = shapely.bounds(boxes).T
    cost: FloatArray = HIDDEN * _met(tree, boxes, count)
    cost += OVER_BOARD * shapely.area(shapely.intersection(boxes, boards)) / shapely.area(boxes)
    far = shapely.distance(boxes, shapely.Point(tried.caption.at)) * on.per_mm
    cost += FAR * far + HIDDEN * (far < tried.caption.radius)
    cost += CROSSED * _met(tree, tried.lines, count)
    cost += OVER_BOARD / 4 * shapely.intersects(tried.lines, boards)
    cost[(x0 < view.x0) | (y0 < view.y0) | (x1 > view.x1) | (y1 > view.y1)] = 1e9
    return cost


def _met(tree: shapely.STRtree, shapes: Any, count: int) -> FloatArray:
    """How many of the tree's shapes each of some others meets."""
    which, _ = tree.query(shapes, predicate="intersects")
    return np.bincount(which, minlength=count).astype(float)


def _doubt(
    on: Canvas, tried: _Tried, rest: Sequence[Point], edges: Sequence[shapely.Geometry]
) -> FloatArray:
    """What it costs that words might belong to another mark, or hide an edge."""
    cost = np.zeros(len(tried.boxes))
    for edge in edges:
        cost += OVER_LINE * shapely.intersects(tried.boxes, edge)
    if rest:
        mine = shapely.distance(tried.boxes, shapely.Point(tried.caption.at))
        other = shapely.distance(tried.boxes, shapely.MultiPoint(rest))
        near = shapely.is_missing(tried.lines) & (other < mine + 6.0 / on.per_mm)
        cost += DOUBTFUL * near
    return cost
