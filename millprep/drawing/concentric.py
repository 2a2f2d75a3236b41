"""Of bores within each other, the one that is meant: the smallest, where that is certain."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import Loop
from millprep.drawing.marks.mark import Round
from millprep.drawing.marks.neighbours import pairs
from millprep.drawing.marks.stroke import Bore, Slot, area_of, end_of, slot_of

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
    """Whether, middle on middle, one is the edge of the other's pad."""
    if not isinstance(outer, Slot):
        return not isinstance(inner, Slot) or area_of(outer, 1e-6).covers(area_of(inner))
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
    areas = np.array([area_of(bore) for bore in left], dtype=object)
    slots = [i for i, bore in enumerate(left) if isinstance(bore, Slot)]
    if not slots:
        return left
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
    areas = np.array([area_of(slot) for slot in slots.values()], dtype=object)
    result: set[int] = set()
    which, rim = rims.query(areas, predicate="intersects")
    for i, j in zip(which.tolist(), rim.tolist(), strict=True):
        outer, other = slots[numbers[i]], slots.get(j)
        if other is None or not (_same_size(outer, other) and _around(outer, other)):
            result.add(numbers[i])
    for j, loop in enumerate(loops):
        if loop.round is not None and bool(shapely.covers(area_of(loop.round, 1e-6), areas).any()):
            result.add(j)
    return result


def _same_size(slot: Slot, other: Slot) -> bool:
    return abs(slot.diameter - other.diameter) <= CONCENTRIC
