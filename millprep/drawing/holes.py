"""Holes on hole layers: circles, dots, rings, slots; of concentric ones the smallest is meant."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import Loop, OpenChain
from millprep.drawing.marks.mark import Fill, Mark, Round, Source, Stroke, round_of
from millprep.drawing.marks.neighbours import pairs
from millprep.drawing.marks.slot import Bore, Slot, area_of, end_of, slot_of, spine_of
from millprep.values.board import CopperPiece, Hole
from millprep.values.path import Point

CONCENTRIC = 0.01
"""Centres this close are one, mm."""

THIN = 0.2
"""A ring drawn with a pen thinner than this share of its diameter may be the pen's circle."""

REMEDY = (
    "draw holes as circles; slots as two parallel lines closed by two half circles, or as a "
    "straight line as wide as the slot; other openings on the outline layer, as cut-outs"
)


def rounds(marks: Sequence[Mark], loops: list[Loop], ledger: Ledger) -> list[Bore]:
    """Circles, and slots, on a layer that holds nothing but holes; whatever else is a fault."""
    out: list[Bore] = []
    for mark in marks:
        if isinstance(mark, Stroke) and mark.widths.any():
            found = _of_stroke(mark, ledger)
        elif isinstance(mark, Fill):
            found = _of_fill(mark, ledger)
        else:
            continue
        if found is not None:
            out.append(found)
            ledger.use(mark.source, "holes")
    for loop in loops:
        found = loop.round or slot_of(loop.points)
        if found is not None:
            out.append(found)
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            _not_round(loop.sources[0], _pair(loop.points[0]), ledger)
    return out


def left_open(runs: Sequence[OpenChain], ledger: Ledger) -> None:
    """Lines of no width on a hole layer that do not close are faults."""
    for run in runs:
        ledger.stop(
            "hole-not-round",
            "an open line on a hole layer",
            REMEDY,
            source=run.sources[0],
            at=_pair(run.points[0]),
        )


def _not_round(source: Source, at: Point, ledger: Ledger) -> None:
    ledger.stop(
        "hole-not-round",
        "this shape on a hole layer is neither a circle nor a slot",
        REMEDY,
        source=source,
        at=at,
    )


def _of_stroke(mark: Stroke, ledger: Ledger) -> Bore | None:
    at = mark.to_mm.point(*mark.vertices[0].tolist())
    even = mark.to_mm.even and not mark.tapered and not np.ptp(mark.widths) > 0
    if len(mark.vertices) == 1 and mark.to_mm.even:
        return Round(at, float(mark.widths.max()) * mark.to_mm.stretch[0])
    found: Bore | None = mark.curve.round
    if found is None and even and mark.closed:
        found = slot_of(mark.curve.points)
    elif found is None and even and (slot := _straight(mark)) is not None:
        return slot
    if found is None or not even:
        _not_round(mark.source, at, ledger)
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    inner, outer = found.diameter - width, found.diameter + width
    if inner <= 1e-6 * outer:
        return found._replace(diameter=outer)
    if width < THIN * found.diameter:
        shape = "slot" if isinstance(found, Slot) else "circle"
        ledger.stop(
            "hole-doubtful",
            f"a {shape} drawn with a pen of {width:.3f} mm: the hole may be {inner:.3f} mm (its "
            f"inside), {found.diameter:.3f} mm (its middle) or {outer:.3f} mm (its outside)"
            + (" wide" if isinstance(found, Slot) else ""),
            "draw the hole as a line without width",
            source=mark.source,
            at=found.at,
        )
        return None
    return found._replace(diameter=inner)


def _straight(mark: Stroke) -> Slot | None:
    """The slot that a straight open stroke sweeps, its ends round."""
    if mark.bulges.any():
        return None
    points = mark.curve.points
    way = points[-1] - points[0]
    length = float(np.hypot(*way))
    if not length > 0:
        return None
    unit = way / length
    off = (points - points[0]) @ np.array([-unit[1], unit[0]])
    along = (points - points[0]) @ unit
    if np.abs(off).max() > 1e-6 or not (np.diff(along) > 0).all():
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    return Slot.between(_pair(points[0]), _pair(points[-1]), width)


def _of_fill(mark: Fill, ledger: Ledger) -> Bore | None:
    area = mark.areas[0]
    ring = area.interiors[0] if len(area.interiors) == 1 else area.exterior
    points = np.asarray(ring.coords)[:-1]
    found: Bore | None = None
    if len(mark.areas) == 1 and len(area.interiors) <= 1:
        found = round_of(points) if mark.curved else None
        found = found or slot_of(points)
    if found is None:
        point = area.representative_point()
        _not_round(mark.source, (point.x, point.y), ledger)
    return found


def drills(found: Sequence[Bore]) -> list[Round]:
    """The circles alone: the smallest of every set of concentric ones, repeated ones once."""
    return [bore for bore in smallest(found) if isinstance(bore, Round)]


def smallest(found: Sequence[Bore]) -> list[Bore]:
    """The smallest of those that share their centre, or both ends; repeated ones once."""
    unique = list({_key(bore): bore for bore in found}.values())
    near = pairs(_middles(unique), within=CONCENTRIC)
    beaten = {
        i
        for i, j in near.tolist()
        if (unique[j].diameter, j) < (unique[i].diameter, i) and _around(unique[i], unique[j])
    }
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


def settled(found: Sequence[Bore], ledger: Ledger) -> list[Bore]:
    """The holes that are meant: circles on a slot that it takes along are not told apart.

    A smaller hole within a slot may be the drill of a long pad, or a first drill of the slot:
    that is a fault.
    """
    left = smallest(found)
    areas = np.array([area_of(bore) for bore in left], dtype=object)
    slots = [i for i, bore in enumerate(left) if isinstance(bore, Slot)]
    if not slots:
        return left
    taken: set[int] = set()
    wider = shapely.buffer(areas[slots], CONCENTRIC)
    which, inner = shapely.STRtree(areas).query(wider, predicate="contains")
    for i, j in zip(np.array(slots)[which].tolist(), inner.tolist(), strict=True):
        one, other = left[i], left[j]
        if i == j or i in taken or j in taken:
            continue
        if other.diameter < one.diameter - CONCENTRIC:
            ledger.stop(
                "hole-doubtful",
                f"a hole of {other.diameter:.3f} mm within a slot {one.diameter:.3f} mm wide: the "
                "slot may be the edge of a pad or a hole of its own",
                "leave either the hole or the slot on the hole layer",
                at=other.at,
            )
        taken.add(j)
    return [bore for i, bore in enumerate(left) if i not in taken]


def _middles(found: Sequence[Bore]) -> NDArray[np.object_]:
    ends = np.array([(*bore.at, *(end_of(bore) or bore.at)) for bore in found]).reshape(-1, 4)
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
    found: set[int] = set()
    which, rim = rims.query(areas, predicate="intersects")
    for i, j in zip(which.tolist(), rim.tolist(), strict=True):
        one, other = slots[numbers[i]], slots.get(j)
        if other is None or not (_same_size(one, other) and _around(one, other)):
            found.add(numbers[i])
    for j, loop in enumerate(loops):
        if loop.round is not None and bool(shapely.covers(area_of(loop.round, 1e-6), areas).any()):
            found.add(j)
    return found


def _same_size(one: Slot, other: Slot) -> bool:
    return abs(one.diameter - other.diameter) <= CONCENTRIC


def holes(found: Sequence[Bore], pieces: Sequence[CopperPiece]) -> tuple[Hole, ...]:
    """Numbered holes in reading order, each with the copper piece it stands on."""
    unique = smallest(found)
    unique.sort(key=lambda r: (round(r.at[0], 3), round(r.at[1], 3), r.diameter))
    if not unique:
        return ()
    areas = np.array([area_of(bore, 0.01) for bore in unique], dtype=object)
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    which: dict[int, list[int]] = {}
    a, b = shapely.STRtree(shapes).query(areas, predicate="intersects")
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        which.setdefault(i, []).append(j)
    out = []
    for i, r in enumerate(unique):
        candidates = which.get(i) or _in_opening(r, shapes)
        if len(candidates) > 1:
            # between pads, the one with most copper under the hole has it
            common = shapely.area(shapely.intersection(areas[i], shapes[candidates]))
            candidates = [candidates[int(np.argmax(common))]]
        piece = pieces[candidates[0]].id if candidates else None
        out.append(Hole(f"h{i + 1}", r.at, r.diameter, piece, end_of(r)))
    return tuple(out)


def _in_opening(bore: Bore, shapes: NDArray[np.object_]) -> list[int]:
    """The piece in whose opening the hole lies, if that is no more than a diameter longer."""
    spine = spine_of(bore)
    most = spine.length + 2 * bore.diameter
    found = []
    for j in shapely.STRtree(shapes).query(spine).tolist():
        for ring in shapes[j].interiors:
            x0, y0, x1, y1 = ring.bounds
            if max(x1 - x0, y1 - y0) <= most and shapely.Polygon(ring).covers(spine):
                found.append(j)
    return found


def close_drilled(
    shapes: Sequence[shapely.Polygon], found: Sequence[Bore]
) -> list[shapely.Polygon]:
    """Fill openings in pads that the drill takes away anyway, so that pads are whole."""
    if not found or not any(len(s.interiors) for s in shapes):
        return list(shapes)
    spines = [spine_of(bore) for bore in found]
    tree = shapely.STRtree(spines)
    out = []
    for shape in shapes:
        keep = []
        for ring in shape.interiors:
            inside = shapely.Polygon(ring)
            near = tree.query(inside.envelope.buffer(CONCENTRIC))
            corners = shapely.points(np.asarray(ring.coords))
            if not any(
                shapely.distance(corners, spines[k]).max() <= found[k].diameter / 2 + 1e-3
                for k in near.tolist()
            ):
                keep.append(ring)
        whole = (
            shape if len(keep) == len(shape.interiors) else shapely.Polygon(shape.exterior, keep)
        )
        out.append(whole)
    return out


def _pair(p: NDArray[np.float64]) -> Point:
    return (float(p[0]), float(p[1]))
