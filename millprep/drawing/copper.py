"""Copper: from marks on copper layers to connected pieces."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.drawing import stroke
from millprep.drawing.chain import Loop, chain
from millprep.drawing.evenodd import Crossing, nest, odd_areas
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Curve, Fill, Mark, Stroke

SPECK = 1e-6
"""Areas below this, mm², are noise of the arithmetic, not copper and no gap in it."""


def parts(marks: Sequence[Mark], loops: list[Loop], ledger: Ledger) -> list[shapely.Polygon]:
    """Copper areas of one layer, not yet joined.

    Args:
        marks: of the layer, without those taken for holes.
        loops: closed lines of the layer, without those taken for holes.
        ledger: takes the faults.
    """
    out: list[shapely.Polygon] = []
    for mark in marks:
        if isinstance(mark, Fill):
            out += mark.areas
            ledger.use(mark.source, "copper")
        elif isinstance(mark, Stroke) and mark.widths.any():
            out += _wide(mark, ledger)
    return out + _enclosed(loops, ledger)


def lines(marks: Sequence[Mark], ledger: Ledger) -> list[Loop]:
    """Closed lines of no width on one layer, chained; open ones are a fault."""
    curves = [
        mark if isinstance(mark, Curve) else mark.curve
        for mark in marks
        if isinstance(mark, Curve) or (isinstance(mark, Stroke) and not mark.widths.any())
    ]
    chained = chain(curves)
    for source in chained.repeated:
        ledger.leave(source, "it is drawn twice")
    for run in chained.opened:
        middle = run.points[len(run.points) // 2]
        ledger.stop(
            "copper-zero-width",
            f"a line of no width that encloses nothing, from "
            f"({run.points[0][0]:.3f}, {run.points[0][1]:.3f}) to "
            f"({run.points[-1][0]:.3f}, {run.points[-1][1]:.3f})",
            "draw the track with its width, or close the outline",
            source=run.sources[0],
            at=(float(middle[0]), float(middle[1])),
        )
    return chained.loops


def _wide(mark: Stroke, ledger: Ledger) -> list[shapely.Polygon]:
    x, y = mark.to_mm.point(*mark.vertices[0].tolist())
    if mark.tapered:
        ledger.stop(
            "copper-tapered",
            "a track that changes its width along a segment, whose ends have no clear shape",
            "draw it with a constant width on every segment",
            source=mark.source,
            at=(x, y),
        )
        return []
    if not (mark.widths > 0).all():
        ledger.stop(
            "copper-zero-width",
            "a track with a width on some segments and none on others",
            "give every segment its width",
            source=mark.source,
            at=(x, y),
        )
        return []
    ledger.use(mark.source, "copper")
    return stroke.areas(mark)


def _enclosed(loops: list[Loop], ledger: Ledger) -> list[shapely.Polygon]:
    """Areas that the closed lines of one layer enclose.

    Lines that nest are read even-odd, lines that only overlap as one area. Where some
    nest and others overlap both readings are possible: refused.
    """
    if not loops:
        return []
    found = nest([loop.points for loop in loops])
    if isinstance(found, Crossing):
        ledger.stop(
            "copper-crosses-itself",
            f"{found.words}, so that its inside is not clear",
            "draw it as separate outlines",
            source=loops[found.first].sources[0],
            at=found.at,
        )
        return []
    crossing = found.cross()
    if crossing is not None and len(found.pairs):
        ledger.stop(
            "copper-ambiguous",
            f"two closed lines overlap here, while others on the layer lie within each other: "
            f"the inner ones may be gaps or copper ({len(found.crossing)} pairs overlap, "
            f"{len(found.pairs)} nest)",
            "draw the copper as fills or merged outlines",
            source=loops[crossing.first].sources[0],
            at=crossing.at,
        )
        return []
    for loop in loops:
        for source in loop.sources:
            ledger.use(source, "copper")
    if crossing is not None:
        return [p for area in found.areas for p in shapely.get_parts(area)]
    return odd_areas(found)


def pieces(areas: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Join areas that touch; neighbours are found by a tree, each group is joined alone."""
    if not areas:
        return []
    array = np.array(areas, dtype=object)
    shapely.prepare(array)
    a, b = shapely.STRtree(array).query(array, predicate="intersects")
    parent = list(range(len(array)))
    for i, j in zip(a[a < b].tolist(), b[a < b].tolist(), strict=True):
        i, j = _root(parent, i), _root(parent, j)
        if i != j:
            parent[max(i, j)] = min(i, j)
    groups: dict[int, list[int]] = {}
    for i in range(len(array)):
        groups.setdefault(_root(parent, i), []).append(i)
    out: list[shapely.Polygon] = []
    for group in groups.values():
        joined = array[group[0]] if len(group) == 1 else shapely.union_all(array[group])
        out += [
            _clean(part)
            for part in shapely.get_parts(joined)
            if part.geom_type == "Polygon" and part.area > SPECK
        ]
    return out


def _root(parent: list[int], i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


def _clean(area: shapely.Polygon) -> shapely.Polygon:
    """The area without vertices on top of each other and without specks for holes."""
    inner = [ring for ring in area.interiors if shapely.Polygon(ring).area > SPECK]
    tidy = shapely.Polygon(area.exterior, inner) if len(inner) < len(area.interiors) else area
    tidy = shapely.remove_repeated_points(tidy, 1e-7)
    return tidy if tidy.is_valid and tidy.geom_type == "Polygon" else area


def sorted_reading(shapes: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Left to right, then bottom to top, by the low corner of the box."""
    return sorted(shapes, key=lambda s: tuple(round(v, 3) for v in s.bounds))
