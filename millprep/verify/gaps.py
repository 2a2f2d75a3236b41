"""The gaps between pairs of pieces as cut, the narrowest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.model.as_cut import CopperPart, PairGap

FIRST_REACH = 0.1
"""Where the search begins, mm: boxes are far cheaper to compare than outlines to measure."""
LAST_REACH = 1000.0


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
    one = other = np.array([], dtype=int)
    while len(one) < min(count, pairs) and reach < LAST_REACH:
        one, other = tree.query(shapes, predicate="dwithin", distance=reach)
        one, other = one[one < other], other[one < other]
        reach *= 2
    distance = shapely.distance(shapes[one], shapes[other])
    order = np.lexsort((other, one, distance))[:count]
    lines = shapely.shortest_line(shapes[one[order]], shapes[other[order]])
    middles = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
    # Parts that touch at a point have no line between them worth a middle; none are cut so.
    return tuple(
        PairGap((names[i], names[j]), float(distance[k]), (float(x), float(y)))
        for i, j, k, (x, y) in zip(
            one[order].tolist(), other[order].tolist(), order.tolist(), middles, strict=True
        )
    )
