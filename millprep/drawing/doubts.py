"""Drawings that admit more than one reading: copper of one layer, and bores within each other.

Copper in doubt is refused with its place; the job then says how the layer is meant. Of bores within
each other the smallest is meant, where that is certain.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import Loop
from millprep.drawing.marks.evenodd import Crossing, Nest, area_of
from millprep.drawing.marks.mark import Round, Source
from millprep.drawing.marks.neighbours import pairs
from millprep.drawing.marks.stroke import Bore, Slot, bore_area, end_of, slot_of

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


CONCENTRIC = 0.01
"""Centres this close are one, mm."""


def drills(bores: Sequence[Bore]) -> list[Round]:
    """The circles alone: the smallest of every set of concentric ones, repeated ones once."""
    return [bore for bore in smallest(bores) if isinstance(bore, Round)]


def smallest(bores: Sequence[Bore]) -> list[Bore]:
    """The smallest of those that share their centre, or both ends; repeated ones once."""
    unique = list({_key(bore): bore for bore in bores}.values())
    i, j = pairs(_middles(unique), within=CONCENTRIC).T
    wide = np.array([bore.diameter for bore in unique])
    round_ = np.array([isinstance(bore, Round) for bore in unique], dtype=bool)
    smaller = (wide[j] < wide[i]) | ((wide[j] == wide[i]) & (j < i))
    circles = round_[i] & round_[j]
    beaten = set(i[smaller & circles].tolist())
    for outer, inner in np.column_stack((i, j))[smaller & ~circles].tolist():
        if outer not in beaten and _around(unique[outer], unique[inner]):
            beaten.add(outer)
    return [bore for i, bore in enumerate(unique) if i not in beaten]


def _key(bore: Bore) -> tuple[float, ...]:
    place = (*bore.at, bore.diameter, *(end_of(bore) or ()))
    return tuple(round(value, 6) for value in place)


def _around(outer: Bore, inner: Bore) -> bool:
    """Whether, middle on middle and not both circles, one is the edge of the other's pad."""
    if not isinstance(outer, Slot):
        return bool(bore_area(outer, 1e-6).covers(bore_area(inner)))
    if not isinstance(inner, Slot):
        return False
    same = max(math.dist(outer.at, inner.at), math.dist(outer.end, inner.end))
    crossed = max(math.dist(outer.at, inner.end), math.dist(outer.end, inner.at))
    return min(same, crossed) <= CONCENTRIC


def settled(bores: Sequence[Bore], ledger: Ledger) -> list[Bore]:
    """The holes that are meant: circles that a slot covers are part of it.

    A smaller hole within a slot may be the drill of a long pad, or a first drill of the slot:
    that is a fault.
    """
    left = smallest(bores)
    slots = [i for i, bore in enumerate(left) if isinstance(bore, Slot)]
    if not slots:
        return left
    areas = np.array([bore_area(bore) for bore in left], dtype=object)
    taken: set[int] = set()
    wider = shapely.buffer(areas[slots], CONCENTRIC)
    which, inner = shapely.STRtree(areas).query(wider, predicate="contains")
    for i, j in zip(np.array(slots)[which].tolist(), inner.tolist(), strict=True):
        outer, other = left[i], left[j]
        if i == j or i in taken or j in taken:
            continue
        if other.diameter < outer.diameter - CONCENTRIC:
            ledger.stop(
                "hole-doubtful",
                f"a hole of {other.diameter:.3f} mm within a slot {outer.diameter:.3f} mm wide: "
                "the slot may be the edge of a pad or a hole of its own",
                "leave either the hole or the slot on the hole layer",
                at=other.at,
            )
        taken.add(j)
    return [bore for i, bore in enumerate(left) if i not in taken]


def _middles(bores: Sequence[Bore]) -> NDArray[np.object_]:
    ends = np.array([(*bore.at, *(end_of(bore) or bore.at)) for bore in bores]).reshape(-1, 4)
    return np.asarray(shapely.points((ends[:, :2] + ends[:, 2:]) / 2))


def split_shared(loops: list[Loop], ledger: Ledger) -> tuple[list[Loop], list[Bore]]:
    """On a layer that is copper and holes at once: the loops that stay copper, and the holes.

    A circle is the drill when no smaller one shares its centre; larger ones around it are
    the pad's edge. So is a slot with no hole in it that crosses no other outline.
    """
    slots = {k: slot for k, loop in enumerate(loops) if not loop.round and (slot := _slot(loop))}
    edges = _pad_edges(loops, slots) if slots else set()
    circles = [
        (loop, loop.round)
        for k, loop in enumerate(loops)
        if loop.round is not None and k not in edges
    ]
    stay = [
        loop
        for k, loop in enumerate(loops)
        if k in edges or (loop.round is None and k not in slots)
    ]
    long = smallest([slot for k, slot in slots.items() if k not in edges])
    for k in slots.keys() - edges:
        for source in loops[k].sources:
            ledger.use(source, "holes")
    small = drills([circle for _, circle in circles])
    if not small:
        return stay, long
    tree = shapely.STRtree(_middles(small))
    for loop, circle in circles:
        at = shapely.Point(circle.at)
        around = tree.query(at, predicate="dwithin", distance=CONCENTRIC).tolist()
        if any(circle.diameter <= small[k].diameter * (1 + 1e-6) + 1e-6 for k in around):
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            stay.append(loop)
    return stay, [*small, *long]


def _slot(loop: Loop) -> Slot | None:
    return slot_of(loop.points)


def _pad_edges(loops: list[Loop], slots: dict[int, Slot]) -> set[int]:
    """Slots with another line in or across them, and circles around slots."""
    rims = shapely.STRtree([shapely.LinearRing(loop.points) for loop in loops])
    numbers = list(slots)
    areas = np.array([bore_area(slot) for slot in slots.values()], dtype=object)
    result: set[int] = set()
    which, rim = rims.query(areas, predicate="intersects")
    for i, j in zip(which.tolist(), rim.tolist(), strict=True):
        outer, other = slots[numbers[i]], slots.get(j)
        if other is None or not (_same_size(outer, other) and _around(outer, other)):
            result.add(numbers[i])
    for j, loop in enumerate(loops):
        if loop.round is not None and bool(
            shapely.covers(bore_area(loop.round, 1e-6), areas).any()
        ):
            result.add(j)
    return result


def _same_size(slot: Slot, other: Slot) -> bool:
    return abs(slot.diameter - other.diameter) <= CONCENTRIC
