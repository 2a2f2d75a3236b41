"""The narrowest gaps between pieces as cut, and the narrowest copper of each piece."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
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
"""Widths that are searched for are whole multiples of this, mm."""
NO_BAY = 1e-6
"""A hole whose hull has no more beyond it, mm², has no bay that half a `STEP` fits into."""
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
    reach = FIRST_REACH
    first, second, distance = pairs_within(shapes, reach)
    while len(first) < min(count, pairs) and reach < LAST_REACH:
        reach *= 2
        first, second, distance = pairs_within(shapes, reach)
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


def pairs_within(
    shapes: Shapes, reach: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Every two areas no farther from each other than `reach`, mm, by number, and how far."""
    # holes count only where another area lies in them
    filled = np.asarray(shapely.polygons(shapely.get_exterior_ring(shapes)))
    x0, y0, x1, y1 = shapely.bounds(filled).T
    boxes = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
    first, second = shapely.STRtree(filled).query(boxes)
    first, second = first[first < second], second[first < second]
    shapely.prepare(filled)
    close = shapely.dwithin(filled[first], filled[second], reach)
    first, second = first[close], second[close]
    far = shapely.distance(shapes[first], shapes[second])
    near = far <= reach
    return first[near], second[near], far[near]


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
    rings, of = shapely.get_rings(every, return_index=True)
    far, ends = _around_holes(rings, of, np.zeros(len(rings)))
    across = np.asarray(shapely.shortest_line(*rings[ends.T]), dtype=object)
    across[np.isinf(far)] = None
    far = shapely.length(across)
    width = _widths(every, far)
    worn = np.flatnonzero(width != far)
    across[worn] = _places(every[worn], width[worn])
    middles = shapely.line_interpolate_point(across, 0.5, normalized=True)
    return tuple(
        Neck(name, wide, (x, y))
        for (name, _), wide, (x, y) in zip(
            shapes, width.tolist(), shapely.get_coordinates(middles).tolist(), strict=True
        )
    )


def necks_below(shapes: Shapes, width: float, worn: FloatArray | float = 0.0) -> FloatArray:
    """The width of each shape's narrowest neck, mm to `STEP`; `width` if none is narrower.

    `worn` is how much is taken off every ring first, mm; off holes that are not `are_round` as
    much as off the outer edge.
    """
    rings, of = shapely.get_rings(shapes, return_index=True)
    off = np.broadcast_to(np.asarray(worn), len(rings))
    across, _ = _around_holes(rings, of, off)
    return _widths(shapes, across, width, off[np.searchsorted(of, np.arange(len(shapes)))])


def _around_holes(
    rings: Shapes, of: NDArray[np.intp], worn: FloatArray
) -> tuple[FloatArray, NDArray[np.intp]]:
    """How far in each shape a hole is from another hole or from the outer edge, infinite without.

    And the numbers, (n, 2), of these two rings. Of every ring some is `worn`, mm.
    """
    outer = np.flatnonzero(np.diff(of, prepend=-1))
    hole = np.delete(np.arange(len(rings)), outer)
    other, whose = outer[of[hole]], of[hole]
    shapely.prepare(rings[outer])
    far = shapely.distance(rings[other], rings[hole]) - worn[other] - worn[hole]
    least = np.full(len(outer), math.inf)
    np.minimum.at(least, whose, far)
    # two holes count where they are nearer to each other than any is to the outer edge
    pairs = shapely.STRtree(rings[hole]).query(
        rings[hole],
        predicate="dwithin",
        distance=np.maximum(least[whose] + worn[hole] + worn.max(initial=0.0), 0.0),
    )
    first, second = hole[pairs]
    own = (first < second) & (of[first] == of[second])
    first, second = first[own], second[own]
    between = shapely.distance(rings[first], rings[second]) - worn[first] - worn[second]
    both = np.append([other, hole], [first, second], axis=1)
    far = np.append(far, between)
    nearest = np.lexsort((far, of[both[1]]))
    shape, at = np.unique(of[both[1, nearest]], return_index=True)
    least[shape] = far[nearest[at]]
    ends = np.repeat(outer, 2).reshape(-1, 2)
    ends[shape] = both[:, nearest[at]].T
    return least, ends


def _widths(
    shapes: Shapes, across: FloatArray, most: float = math.inf, worn: FloatArray | float = 0.0
) -> FloatArray:
    """The width of each shape's narrowest neck, mm to `STEP`, at most `most`.

    `across`, as from `_around_holes`, are those of necks that need no search, so none wider is
    looked for. Off each shape's edge some is `worn` first, mm.
    """
    width = np.fmin(across, most)
    top = np.where(width < most, width - STEP, most)
    solid, off = _filled(shapes), np.broadcast_to(2 * np.asarray(worn), len(shapes))
    low, high = np.zeros(len(shapes)), np.zeros(len(shapes))
    open_, wide = np.flatnonzero(top > 0), 0.0
    while len(open_):
        wide = _next_width(wide)
        tried = np.minimum(wide, top[open_])
        thin = _thin(solid[open_], tried + off[open_])
        high[open_[thin]] = tried[thin]
        low[open_[~thin]] = tried[~thin]
        open_ = open_[~thin & (tried < top[open_])]
    busy = np.flatnonzero(high)
    # a board has few widths of tracks: those of some are the likely ones of all others
    likely = np.zeros(0)
    for some in (busy[SAMPLE - 1 :: SAMPLE], np.delete(busy, slice(SAMPLE - 1, None, SAMPLE))):
        width[some] = _between(solid[some], off[some], low[some], high[some], likely)
        likely = width[some]
    return width


def _between(
    shapes: Shapes, off: FloatArray, low: FloatArray, high: FloatArray, likely: FloatArray
) -> FloatArray:
    """The width of each shape's narrowest neck, wider than `low`, narrower than `high`.

    So much less than in the shape as it `off` says. What is `likely`, all of it widths as from
    here, is tried first.
    """
    low, high = low.copy(), high.copy()
    ends = np.unique(np.append(likely, likely + FINEST))
    while (busy := np.flatnonzero(high - low > STEP / 2)).size:
        middle = (low[busy] + high[busy]) / 2
        middle = np.maximum(middle // FINEST * FINEST, low[busy] + FINEST)
        first = ends.searchsorted(low[busy], "right")
        last = ends.searchsorted(high[busy], "left")
        known = first < last
        middle[known] = ends[(first + last)[known] // 2]
        thin = _thin(shapes[busy], middle + off[busy])
        high[busy[thin]] = middle[thin]
        low[busy[~thin]] = middle[~thin]
    return low


def _filled(shapes: Shapes) -> Shapes:
    """The shapes without their round holes.

    Wearing opens copper at a hole that comes near to another edge, and that is known. Otherwise a
    hole parts copper only where a bay of it closes.
    """
    rings, of = shapely.get_rings(shapes, return_index=True)
    kept = np.diff(of, prepend=-1) > 0
    kept[~kept] = ~are_round(rings[~kept])
    return np.asarray(shapely.polygons(rings[kept], indices=of[kept]))


def are_round(rings: Shapes) -> NDArray[np.bool_]:
    """Which rings have no bay on their inner side."""
    beyond = shapely.area(shapely.convex_hull(rings)) - shapely.area(shapely.polygons(rings))
    without: NDArray[np.bool_] = beyond <= NO_BAY
    return without


def _next_width(width: float) -> float:
    """Widths that are tried, mm: two in every octave, so that ends half as wide again show."""
    if not width:
        return FIRST_WIDTH
    mantissa, exponent = math.frexp(width)
    return math.ldexp(0.75 if mantissa == 0.5 else 1.0, exponent)


def _places(shapes: Shapes, width: FloatArray) -> list[shapely.Geometry]:
    """Where each shape gives way when it is eroded by half of its narrowest neck and a little."""
    eroded = _eroded(shapes, width + STEP)
    return [
        _place(shape, rest, float(wide))
        for shape, rest, wide in zip(shapes.tolist(), eroded.tolist(), width, strict=True)
    ]


def _place(shape: shapely.Geometry, eroded: shapely.Geometry, width: float) -> shapely.Geometry:
    """A line whose middle is in the neck."""
    parts = shapely.get_parts(eroded)
    if len(parts) > 1:
        largest = int(np.argmax(shapely.area(parts)))
        others = np.delete(parts, largest)
        # of several that are equally near the leftmost counts
        others = others[np.lexsort(shapely.bounds(others).T[::-1])]
        line: shapely.Geometry = shapely.shortest_line(
            parts[largest], shapely.MultiPolygon(others.tolist())
        )
        return line
    # All of it, or around a hole: the largest area that wearing takes for good.
    opened = shapely.buffer(eroded, (width + STEP) / 2, quad_segs=4)
    lost = shapely.get_parts(shapely.difference(shape, opened))
    at = lost[int(np.argmax(shapely.area(lost)))].representative_point()
    return shapely.LineString([at, at])


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
