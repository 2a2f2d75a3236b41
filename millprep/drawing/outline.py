"""The board's edge: one outer loop and the cut-outs in it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE, Chained, Loop, chain
from millprep.drawing.marks.evenodd import Crossing, nest
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke
from millprep.drawing.marks.slot import Bore, slot_of
from millprep.geometry.path import Point


def outline(
    marks: Sequence[Mark],
    ledger: Ledger,
    *,
    circles_are_holes: bool,
    tolerance: float = TOLERANCE,
) -> tuple[shapely.Polygon | None, list[Bore]]:
    """Board area from the marks of the outline layers, and circles and slots left for holes.

    Wide lines count by their centre line. With `circles_are_holes`, circles and slots within
    the outer loop are holes instead of cut-outs.
    """
    curves: list[Curve] = []
    for mark in marks:
        if isinstance(mark, Stroke):
            curves.append(mark.curve)
        elif isinstance(mark, Curve):
            curves.append(mark)
        elif isinstance(mark, Fill):
            ledger.leave(mark.source, "a filled area draws no edge")
    if not curves:
        ledger.stop(
            "outline-empty",
            "the outline layers hold no lines",
            "name the layer that holds the board's edge",
        )
        return None, []
    chained = chain(curves, tolerance)
    for source in chained.repeated:
        ledger.leave(source, "it is drawn twice or encloses nothing")
    _faults(chained, ledger)
    if chained.opened or chained.branches:
        return None, []
    return _sorted_out(chained.loops, ledger, circles_are_holes)


def _faults(chained: Chained, ledger: Ledger) -> None:
    for at in chained.branches:
        ledger.stop(
            "outline-branches",
            "more than two lines of the outline meet here",
            "leave only the board's edge on the outline layer",
            at=at,
        )
    ends: list[tuple[Point, int]] = []
    for k, run in enumerate(chained.opened):
        # an end at a branch is no gap
        ends += [
            (end, k)
            for end in (_pair(run.points[0]), _pair(run.points[-1]))
            if all(math.dist(end, at) > TOLERANCE for at in chained.branches)
        ]
    for gap, other in _gaps([e for e, _ in ends]):
        (x0, y0), (x1, y1) = ends[gap][0], ends[other][0]
        size = float(np.hypot(x1 - x0, y1 - y0))
        ledger.stop(
            "outline-open",
            f"the outline is open: it ends at ({x0:.4f}, {y0:.4f}) and goes on at "
            f"({x1:.4f}, {y1:.4f}) mm, {size:.4f} mm away",
            "close the gap in the drawing, or let the job close gaps of this size",
            source=chained.opened[ends[gap][1]].sources[0],
            at=(x0, y0),
        )


def _gaps(ends: list[Point]) -> list[tuple[int, int]]:
    """Pairs of open ends, nearest first, each end once."""
    xy = np.array(ends).reshape(-1, 2)
    result: list[tuple[int, int]] = []
    free = list(range(len(ends)))
    if len(free) > 400:  # hopeless; the first few say enough
        free = free[:400]
    while len(free) > 1:
        pts = xy[free]
        d = np.hypot(*(pts[:, None] - pts[None]).transpose(2, 0, 1))
        d[np.tril_indices(len(free))] = np.inf
        i, j = np.unravel_index(int(np.argmin(d)), d.shape)
        result.append((free[int(i)], free[int(j)]))
        free = [k for n, k in enumerate(free) if n not in (int(i), int(j))]
    return result


def _sorted_out(
    loops: list[Loop], ledger: Ledger, circles_are_holes: bool
) -> tuple[shapely.Polygon | None, list[Bore]]:
    nesting = nest([loop.points for loop in loops])
    crossing = nesting if isinstance(nesting, Crossing) else nesting.cross()
    if crossing is not None or isinstance(nesting, Crossing):
        assert crossing is not None
        ledger.stop(
            "outline-crosses",
            f"{crossing.words} on the outline layers",
            "leave only the board's edge and its cut-outs there",
            source=loops[crossing.first].sources[0],
            at=crossing.at,
        )
        return None, []
    if not any(area.area > 0 for area in nesting.areas):
        ledger.stop(
            "outline-empty",
            "what is drawn on the outline layers encloses nothing",
            "draw the board's edge there as a closed line",
        )
        return None, []
    depth = nesting.depth.tolist()
    if depth.count(0) > 1:
        places = [nesting.areas[i].bounds for i, d in enumerate(depth) if d == 0]
        size = ", ".join(f"{b[2] - b[0]:.2f} × {b[3] - b[1]:.2f} mm at ({b[0]:.2f}, {b[1]:.2f})"
                         for b in places[:6])  # fmt: skip
        at = loops[nesting.kept[depth.index(0)]].points[0]
        ledger.stop(
            "outline-several",
            f"the outline layers hold {len(places)} separate boards: {size}",
            "ask for copies of one in the job; a [[board.selection]] with a region takes one of "
            f"them, and `millprep new --region {_around(places[0])}` writes it for the first",
            at=_pair(at),
        )
        return None, []
    outer = depth.index(0)
    shell = nesting.areas[outer]
    holes: list[Bore] = []
    inner: list[shapely.Polygon | shapely.MultiPolygon] = []
    for i, area in enumerate(nesting.areas):
        loop = loops[nesting.kept[i]]
        bore = loop.round or slot_of(loop.points) if i != outer and circles_are_holes else None
        if bore is not None:
            holes.append(bore)
            for source in loop.sources:
                ledger.use(source, "holes")
            continue
        for source in loop.sources:
            ledger.use(source, "outline")
        if i == outer:
            continue
        if depth[i] > 1:
            ledger.stop(
                "outline-island",
                "a closed line within a cut-out encloses laminate that would fall out",
                "remove it from the outline layer",
                source=loop.sources[0],
                at=_pair(loop.points[0]),
            )
        inner.append(area)
    for k, loop in enumerate(loops):
        if k not in nesting.kept:
            for source in loop.sources:
                ledger.leave(source, "it is drawn twice or encloses nothing")
    board = shapely.difference(shell, shapely.union_all(inner)) if inner else shell
    single = [a for a in (shell, *inner) if isinstance(a, shapely.Polygon) and not a.interiors]
    if inner and len(single) == len(inner) + 1:
        plain = shapely.Polygon(single[0].exterior, [a.exterior for a in single[1:]])
        board = plain if plain.is_valid else board
    if board.geom_type != "Polygon" or board.is_empty:
        ledger.stop(
            "outline-falls-apart",
            "the cut-outs cut the board into several parts",
            "leave the board in one part",
            at=_pair(loops[nesting.kept[outer]].points[0]),
        )
        return None, []
    return board, holes


def _around(box: tuple[float, float, float, float]) -> str:
    """A rectangle a little larger than a box, as --region takes it."""
    x0, y0, x1, y1 = box
    low, high = (
        (math.floor(v * 10 - 1) / 10 for v in (x0, y0)),
        (math.ceil(v * 10 + 1) / 10 for v in (x1, y1)),
    )
    return ",".join(f"{v:g}" for v in (*low, *high))


def _pair(p: NDArray[np.float64]) -> Point:
    return (float(p[0]), float(p[1]))
