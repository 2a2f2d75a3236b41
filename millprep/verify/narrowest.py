"""The narrowest gaps between pieces as cut, and the narrowest copper of each piece."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray, Point
from millprep.model.as_cut import CopperPart, Neck, PairGap
from millprep.verify.sweep import Shapes, dilated

FIRST_REACH = 0.8
"""Where the search begins, mm: to look less far first costs more than it saves."""
LAST_REACH = 1000.0
FIRST_WIDTH = 0.25
"""The search for necks begins here, mm; a power of two, so that widths are multiples of one."""
STEP = 0.002
"""The width is found to this, mm."""
FINEST = 2.0**-10
"""Widths are whole multiples of this, mm."""
SAMPLE = 8
"""Of so many shapes one is measured before all others."""


def pair_gaps(parts: Sequence[CopperPart], placement: int, count: int) -> tuple[PairGap, ...]:
    """The `count` narrowest gaps between parts of a copy, each between another two parts.

    A part is named by the first piece of the copy that it carries.
    """
    mine = [part for part in parts if any(copy == placement for copy, _ in part.pieces)]
    shapes = np.array([part.shape for part in mine], dtype=object)
    pairs = len(shapes) * (len(shapes) - 1) // 2
    if not pairs:
        return ()
    names = [next(name for copy, name in part.pieces if copy == placement) for part in mine]
    tree = shapely.STRtree(shapes)
    reach = FIRST_REACH
    first = second = np.array([], dtype=int)
    while len(first) < min(count, pairs) and reach < LAST_REACH:
        first, second = tree.query(shapes, predicate="dwithin", distance=reach)
        first, second = first[first < second], second[first < second]
        reach *= 2
    distance = shapely.distance(shapes[first], shapes[second])
    order = np.lexsort((second, first, distance))[:count]
    lines = shapely.shortest_line(shapes[first[order]], shapes[second[order]])
    middles = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
    # Parts that touch at a point have no line between them worth a middle; none are cut so.
    return tuple(
        PairGap((names[i], names[j]), float(distance[k]), (float(x), float(y)))
        for i, j, k, (x, y) in zip(
            first[order].tolist(), second[order].tolist(), order.tolist(), middles, strict=True
        )
    )


def outlines(shapes: Sequence[shapely.Geometry], edges: int) -> tuple[NDArray[np.int64], Shapes]:
    """The outlines of areas in lines of at most so many edges, and whose each is, by number."""
    parts, of_part = shapely.get_parts(np.array(shapes, dtype=object), return_index=True)
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    if not len(rings):
        return np.zeros(0, dtype=np.int64), rings
    xy = shapely.get_coordinates(rings)
    count = shapely.get_num_coordinates(rings) - 1
    first = np.cumsum(count + 1) - (count + 1)
    lines = -(-count // edges)
    ring = np.repeat(np.arange(len(rings)), lines)
    nth = np.arange(len(ring)) - np.repeat(np.cumsum(lines) - lines, lines)
    length = np.minimum(count[ring] - nth * edges, edges) + 1
    line = np.repeat(np.arange(len(ring)), length)
    within = np.arange(len(line)) - np.repeat(np.cumsum(length) - length, length)
    at = (first[ring] + nth * edges)[line] + within
    return of_part[of_ring[ring]], np.asarray(shapely.linestrings(xy[at], indices=line))


def every_neck(shapes: Sequence[tuple[str, shapely.Geometry]]) -> tuple[Neck, ...]:
    """The narrowest neck of each named shape to `STEP`, in their order.

    A neck is narrower than w when taking w / 2 off every edge parts the shape, opens the
    copper around one of its holes, or leaves nothing; copper that leads to nothing wider, a
    blind end, is no neck. One that leads to an end less than half as wide again, or less than
    `FIRST_WIDTH`, may be missed: taking more off takes the end away as well.
    """
    every = np.array([shape for _, shape in shapes], dtype=object)
    # a board has few widths of tracks and of annular rings
    first = np.arange(len(every)) % SAMPLE == SAMPLE - 1
    width = np.zeros(len(every))
    width[first] = _widths(every[first])
    width[~first] = _widths(every[~first], likely=width[first])
    places = _places(every, width)
    return tuple(
        Neck(name, wide, at)
        for (name, _), wide, at in zip(shapes, width.tolist(), places, strict=True)
    )


def neck_below(shape: shapely.Geometry, width: float) -> float:
    """The width of a shape's narrowest neck, mm to `STEP`; `width` if none is narrower."""
    return float(_widths(np.array([shape], dtype=object), width)[0])


def _widths(
    shapes: Shapes, most: float = math.inf, likely: FloatArray | Sequence[float] = ()
) -> FloatArray:
    """The width of each shape's narrowest neck, mm to `STEP`, at most `most`.

    What is `likely`, all of it widths as from here, is tried first.
    """
    low, high = np.zeros(len(shapes)), np.zeros(len(shapes))
    open_, wide = np.arange(len(shapes)), 0.0
    while len(open_) and wide < most:
        wide = min(_next_width(wide), most)
        thin = _thin(shapes[open_], wide)
        high[open_] = wide
        open_ = open_[~thin]
        low[open_] = wide
    ends = np.sort(np.array([(width, width + FINEST) for width in likely]), axis=None)
    while (busy := np.flatnonzero(high - low > STEP / 2)).size:
        middle = (low[busy] + high[busy]) / 2
        if len(ends):
            first = ends.searchsorted(low[busy], "right")
            last = ends.searchsorted(high[busy], "left")
            middle = np.where(
                first < last, ends.take((first + last) // 2, mode="clip"), middle // FINEST * FINEST
            )
        thin = _thin(shapes[busy], middle)
        high[busy[thin]] = middle[thin]
        low[busy[~thin]] = middle[~thin]
    return low


def _next_width(width: float) -> float:
    """Widths that are tried, mm: two in every octave, so that ends half as wide again show."""
    if not width:
        return FIRST_WIDTH
    mantissa, exponent = math.frexp(width)
    return math.ldexp(0.75 if mantissa == 0.5 else 1.0, exponent)


def _places(shapes: Shapes, width: FloatArray) -> list[Point]:
    """Where each shape gives way when it is eroded by half of its narrowest neck and a little."""
    eroded = _eroded(shapes, width + STEP)
    return [
        _place(shape, rest, float(wide))
        for shape, rest, wide in zip(shapes.tolist(), eroded.tolist(), width, strict=True)
    ]


def _place(shape: shapely.Geometry, eroded: shapely.Geometry, width: float) -> Point:
    parts = shapely.get_parts(eroded)
    if len(parts) > 1:
        largest = int(np.argmax(shapely.area(parts)))
        others = np.delete(parts, largest)
        # of several that are equally near the leftmost counts
        others = others[np.lexsort(shapely.bounds(others).T[::-1])]
        rest = shapely.MultiPolygon(others.tolist())
        at = shapely.shortest_line(parts[largest], rest).interpolate(0.5, normalized=True)
    else:
        # The neck next to a hole, or all of it: the largest area that wearing takes for good.
        opened = shapely.buffer(eroded, (width + STEP) / 2, quad_segs=4)
        lost = shapely.get_parts(shapely.difference(shape, opened))
        at = lost[int(np.argmax(shapely.area(lost)))].representative_point()
    return (float(at.x), float(at.y))


def _thin(shapes: Shapes, width: float | FloatArray) -> NDArray[np.bool_]:
    """Which shapes have a neck narrower than a width, or each than its own."""
    eroded = _eroded(shapes, width)
    whole = shapely.get_type_id(eroded) == shapely.GeometryType.POLYGON
    whole &= shapely.get_num_interior_rings(eroded) == shapely.get_num_interior_rings(shapes)
    whole &= ~shapely.is_empty(eroded)
    thin: NDArray[np.bool_] = ~whole
    return thin


def _eroded(shapes: Shapes, width: float | FloatArray) -> Shapes:
    """Each shape with half of its width taken off every edge."""
    return dilated(shapes, -np.broadcast_to(np.asarray(width), len(shapes)) / 2, 4)
