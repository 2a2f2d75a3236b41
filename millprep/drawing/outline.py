"""The board's edge: one outer loop and the cut-outs in it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import stroke
from millprep.drawing.marks.chain import TOLERANCE, Chained, Loop, chain
from millprep.drawing.marks.evenodd import Crossing, Nest, nest, odd_areas
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke
from millprep.drawing.marks.stroke import Bore, slot_of
from millprep.geometry.path import Point
from millprep.model.job.layers import OutlinePen

NO_OPENING = 0.1
"""No cutter goes into a cut-out that is no longer than this, mm (common practice, no source)."""
WIDEST_PEN = 0.6
"""A frame narrower than this, mm, is a line that a pen drew (common practice, no source)."""

MOST_ENDS = 400
"""Of more open ends only the first are paired: no outline is drawn so, and they say enough."""


def outline(
    marks: Sequence[Mark],
    ledger: Ledger,
    *,
    circles_are_holes: bool,
    tolerance: float = TOLERANCE,
    pen: OutlinePen | None = None,
    chained: Chained | None = None,
) -> tuple[shapely.Polygon | None, list[Bore]]:
    """Board area from the marks of the outline layers, and circles and slots left for holes.

    Wide lines count by their centre line. With `circles_are_holes`, circles and slots within
    the outer loop are holes instead of cut-outs. `pen` says which line is the edge where both
    rims of a pen's line are drawn, or which rim is where the lines have a width themselves.
    `chained` is given where the lines are chained already.
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
    if pen in ("outer", "inner") and (rims := _rims(marks, pen)):
        return _sorted_out(rims, ledger, circles_are_holes)
    chained = chain(curves, tolerance) if chained is None else chained
    for source in chained.repeated:
        ledger.leave(source, "it is drawn twice or encloses nothing")
    if (chained.opened or chained.branches) and pen is None and _rims(marks, "outer"):
        run = chained.opened[0] if chained.opened else None
        ledger.stop(
            "outline-open",
            "the line of the outline is open or branches, but as wide as it is drawn it encloses "
            "the board",
            'say outline_pen = "outer" or "inner" in the job to take that rim of it, or close it '
            "in the drawing, or let the job close its gaps: close_gaps",
            source=None if run is None else run.sources[0],
            at=chained.branches[0] if run is None else _pair(run.points[0]),
        )
        return None, []
    if chained.opened and not chained.loops and _like_tracks(marks):
        ledger.stop(
            "outline-open",
            "the outline is open, and all its lines have a width, as tracks have",
            "check whether the layers of copper and outline are swapped; if not, close the outline",
            source=chained.opened[0].sources[0],
            at=_pair(chained.opened[0].points[0]),
        )
        return None, []
    _faults(chained, ledger)
    if chained.opened or chained.branches:
        return None, []
    loops = _of_a_pen(chained.loops, pen, ledger)
    if loops is None:
        return None, []
    return _sorted_out(loops, ledger, circles_are_holes)


def _like_tracks(marks: Sequence[Mark]) -> bool:
    """Whether all lines have a width."""
    lines = [mark for mark in marks if isinstance(mark, (Stroke, Curve))]
    return all(isinstance(mark, Stroke) and bool((mark.widths > 0).all()) for mark in lines)


def _rims(marks: Sequence[Mark], pen: OutlinePen) -> list[Loop]:
    """The rims of lines that have a width, as wide as they are drawn; [] where they do not close.

    What they cover must be frames: areas with one opening each, specks of the pen aside.
    """
    strokes = [mark for mark in marks if isinstance(mark, Stroke)]
    if not strokes or not _like_tracks(marks) or any(mark.tapered for mark in strokes):
        return []
    if max(m.widths.max() * m.to_mm.stretch[0] for m in strokes) > 20 * WIDEST_PEN:
        return []  # these are no lines of an edge
    covered = shapely.union_all([area for mark in strokes for area in stroke.areas(mark)])
    out: list[Loop] = []
    parts = [part for part in shapely.get_parts(covered) if isinstance(part, shapely.Polygon)]
    for part in sorted(parts, key=lambda part: -shapely.Polygon(part.exterior).area):
        inside = sorted(part.interiors, key=lambda ring: -shapely.Polygon(ring).area)
        specks = sum(shapely.Polygon(ring).area for ring in inside[1:])
        if not inside or specks > 0.01 * shapely.Polygon(inside[0]).area:
            return []
        mine = [m for m in strokes if part.covers(shapely.Point(m.curve.points[0]))]
        ring = part.exterior if pen == "outer" else inside[0]
        curved = all(mark.curve.curved for mark in mine)
        out.append(Loop(np.asarray(ring.coords)[:-1], curved, tuple(m.source for m in mine)))
    return out


def _open_ends(chained: Chained) -> list[tuple[Point, int]]:
    """The ends of open runs, each with the number of its run; an end at a branch is no gap."""
    return [
        (end, k)
        for k, run in enumerate(chained.opened)
        for end in (_pair(run.points[0]), _pair(run.points[-1]))
        if all(math.dist(end, at) > TOLERANCE for at in chained.branches)
    ]


def _faults(chained: Chained, ledger: Ledger) -> None:
    for at in chained.branches:
        ledger.stop(
            "outline-branches",
            "more than two lines of the outline meet here",
            "leave only the board's edge on the outline layer",
            at=at,
        )
    ends = _open_ends(chained)
    gaps = _gaps([e for e, _ in ends])
    widest = max((math.dist(ends[gap][0], ends[other][0]) for gap, other in gaps), default=0.0)
    several = f"; it has {len(ends)} such ends" if len(ends) > MOST_ENDS else ""
    all_of_them = ""
    if len(gaps) > 1 and not several:
        several = f"; it has {len(gaps)} gaps, the widest {widest:.4f} mm"
        all_of_them = f": close_gaps = {math.ceil(widest * 100) / 100:g} closes all"
    for gap, other in gaps:
        (x0, y0), (x1, y1) = ends[gap][0], ends[other][0]
        size = math.dist((x0, y0), (x1, y1))
        ledger.stop(
            "outline-open",
            f"the outline is open: it ends at ({x0:.4f}, {y0:.4f}) and goes on at "
            f"({x1:.4f}, {y1:.4f}) mm, {size:.4f} mm away{several}",
            f"close the gap in the drawing, or let the job close gaps of this size{all_of_them}",
            source=chained.opened[ends[gap][1]].sources[0],
            at=(x0, y0),
        )


def _gaps(ends: list[Point]) -> list[tuple[int, int]]:
    """Pairs of open ends, nearest first, each end once."""
    xy = np.array(ends).reshape(-1, 2)
    result: list[tuple[int, int]] = []
    free = list(range(min(len(ends), MOST_ENDS)))
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
        _several(nesting, depth, loops, ledger)
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
    # where the ends of a line cross a little, they enclose what no cutter goes around in
    wide = [ring for ring in board.interiors if np.ptp(ring.coords, axis=0).max() > NO_OPENING]
    return shapely.Polygon(board.exterior, wide), holes


def _several(nesting: Nest, depth: list[int], loops: list[Loop], ledger: Ledger) -> None:
    """A stop for more than one board."""
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


def _of_a_pen(loops: list[Loop], pen: OutlinePen | None, ledger: Ledger) -> list[Loop] | None:
    """The lines meant by what a pen drew, where both its rims, or each of its lines, are given.

    No board is a frame as narrow as a pen. The loops as they are where the outermost line is no
    such frame; None, with a fault, where it is one and nobody says which line is the edge.
    """
    nesting = nest([loop.points for loop in loops]) if len(loops) > 1 else None
    if nesting is None or isinstance(nesting, Crossing):
        return loops
    if len(nesting.crossing):
        ink = list(shapely.get_parts(shapely.union_all(nesting.areas)))
    else:
        ink = odd_areas(nesting)
    ink.sort(key=lambda area: -shapely.Polygon(area.exterior).area)
    known = {_key(nesting.areas[i]): loops[k] for i, k in enumerate(nesting.kept)}
    sources = tuple(source for loop in loops for source in loop.sources)
    out: list[Loop] = []
    widest = 0.0
    for area in ink:
        width = _pen_of(area)
        if width is not None:
            line = _line_of(area, width, pen)
            mine = sources[:1] if out else sources  # the first line answers for all
            out.append(Loop(np.asarray(line.coords)[:-1], False, mine))
            widest = max(widest, width)
        elif out and (single := known.get(_key(area))) is not None:
            out.append(single)
        else:
            return loops
    if out and pen is None:
        ledger.stop(
            "outline-of-a-pen",
            f"the outline is drawn as the two rims of a line {widest:.3f} mm wide, so the edge "
            "may be its outer rim, its middle or its inner rim",
            'draw the edge as one line, or give outline_pen = "outer", "middle" or "inner" in the '
            "job",
            at=_pair(out[0].points[0]),
        )
        return None
    return out or loops


def _key(area: shapely.Polygon | shapely.MultiPolygon) -> tuple[float, ...]:
    """Names an area among others; size alone would not: cut-outs of one size are common."""
    return tuple(round(value, 6) for value in (*area.bounds, area.area))


def _line_of(area: shapely.Polygon, width: float, pen: OutlinePen | None) -> shapely.LinearRing:
    """The line that is meant of a frame drawn by a pen."""
    if pen == "outer":
        return area.exterior
    inner = shapely.Polygon(area.interiors[0])
    if pen == "inner":
        return inner.exterior
    middle = inner.buffer(width / 2, join_style="mitre", mitre_limit=2.0)
    assert isinstance(middle, shapely.Polygon)
    return middle.exterior


def _pen_of(area: shapely.Polygon) -> float | None:
    """The even width of a frame that is as narrow as a pen, mm; None for anything else."""
    if len(area.interiors) != 1:
        return None
    outer, inner = area.exterior, area.interiors[0]
    width = float(shapely.distance(outer, inner))
    mean = float(2 * area.area / (outer.length + inner.length))
    # from corner to corner it is wider
    even = mean < 1.2 * width and shapely.hausdorff_distance(outer, inner) <= 1.6 * width
    return width if even and width <= WIDEST_PEN else None


def _around(box: tuple[float, float, float, float]) -> str:
    """A rectangle a little larger than a box, as --region takes it."""
    x0, y0, x1, y1 = box
    low = (math.floor(v * 10 - 1) / 10 for v in (x0, y0))
    high = (math.ceil(v * 10 + 1) / 10 for v in (x1, y1))
    return ",".join(f"{v:g}" for v in (*low, *high))


def _pair(p: NDArray[np.float64]) -> Point:
    return (float(p[0]), float(p[1]))
