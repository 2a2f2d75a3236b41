"""Doubts about copper: drawings of one layer that admit more than one reading.

Each is refused with its place; the job then says how the layer is meant.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import Loop
from millprep.drawing.marks.evenodd import Crossing, Nest, area_of
from millprep.drawing.marks.mark import Source

LOOK = "`millprep inspect --pictures` draws each reading"


def without_fill_edges(
    loops: list[Loop], fills: list[shapely.Polygon], ledger: Ledger
) -> list[Loop]:
    """Closed lines that are not just the drawn edge of a fill.

    A line inside a fill may be meant as a gap or as copper on copper; only circles, the
    marks of pads and drills, are taken for copper.
    """
    edges = [shapely.Polygon(edge) for f in fills for edge in (f.exterior, *f.interiors)]
    edge_tree = shapely.STRtree(edges)
    fill_tree = shapely.STRtree(fills)
    out = []
    for loop in loops:
        area = area_of(loop.points)
        if isinstance(area, Crossing):
            out.append(loop)
            continue
        near = [edges[k] for k in edge_tree.query(area, predicate="intersects").tolist()]
        if any(_alike(area, edge) for edge in near):
            for source in loop.sources:
                ledger.leave(source, "it only draws the edge of a filled area")
            continue
        if loop.round is None and len(fill_tree.query(area, predicate="covered_by")):
            x, y = loop.points[0].tolist()
            ledger.stop(
                "copper-ambiguous",
                "a closed line within a filled area may be a gap in it or copper",
                f'say in layers.modes of the job: "fills", or "overlapping outlines" too; {LOOK}',
                source=loop.sources[0],
                at=(x, y),
            )
            continue
        out.append(loop)
    return out


def _alike(area: shapely.Polygon | shapely.MultiPolygon, edge: shapely.Polygon) -> bool:
    """Whether two areas have the same edge, to about 10 µm."""
    if not np.allclose(area.bounds, edge.bounds, rtol=0, atol=0.01):
        return False
    return bool(shapely.symmetric_difference(area, edge).area <= 0.01 * edge.length)


def swallowed(
    bold: Sequence[tuple[Source, list[shapely.Polygon]]], loops: list[Loop], ledger: Ledger
) -> None:
    """A closed line around tracks or fills may be a boundary, not copper that swallows them.

    Only whole tracks and fills count: a track may well begin inside a pad. Circles are
    taken for pads.
    """
    plain = [(loop, area_of(loop.points)) for loop in loops if loop.round is None]
    around = [(loop, area) for loop, area in plain if not isinstance(area, Crossing)]
    if not around or not bold:
        return
    tree = shapely.STRtree([area for _, area in around])
    reported: set[int] = set()
    for source, areas in bold:
        inside = set(tree.query(areas[0], predicate="covered_by").tolist())
        for area in areas[1:]:
            if not inside:
                break
            inside &= set(tree.query(area, predicate="covered_by").tolist())
        for k in sorted(inside - reported):
            reported.add(k)
            loop = around[k][0]
            x, y = loop.points[0].tolist()
            ledger.stop(
                "copper-ambiguous",
                f"a closed line around copper ({source}) may be a filled area or only a boundary",
                f'say in layers.modes of the job: "strokes" and "fills", or outlines too; {LOOK}',
                source=loop.sources[0],
                at=(x, y),
            )


def pads_or_gaps(nest: Nest, loops: list[Loop], ledger: Ledger) -> None:
    """A circle within an outline may be a gap, a pad on the copper, or the mark of a drill.

    A circle within a circle is a ring.
    """
    depth = nest.depth.tolist()
    parent = {
        inner: outer for outer, inner in nest.pairs.tolist() if depth[inner] == depth[outer] + 1
    }
    for i, outer in sorted(parent.items()):
        circle = loops[nest.kept[i]].round
        if circle is None or depth[i] % 2 == 0 or loops[nest.kept[outer]].round is not None:
            continue
        ledger.stop(
            "copper-ambiguous",
            "a circle within a closed outline may be a gap in the copper, a pad on it, or a drill",
            "name the layer in layers.holes too if it is a drill; if not, say in layers.modes of "
            f'the job: "nested outlines" or "overlapping outlines"; {LOOK}',
            source=loops[nest.kept[i]].sources[0],
            at=circle.at,
        )
