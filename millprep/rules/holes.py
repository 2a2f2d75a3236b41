"""Whether holes fit the pins of valve bases, and what copper is left around them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.trade.bases import WRONG, Base, Pattern, patterns
from millprep.trade.holes import RING_ADVICE, RING_FLOOR, Level, least_hole
from millprep.values.as_cut import AsCut
from millprep.values.finding import Finding
from millprep.values.judged import BaseFound, RingLeft
from millprep.values.layout import Placement
from millprep.values.told import limited, on_blank

ObjectArray = NDArray[np.object_]

FAR = 10.0
"""Rings wider than this are of no interest, mm."""


def bases(
    placement: Placement, level: Level = "A"
) -> tuple[tuple[BaseFound, ...], tuple[Finding, ...]]:
    """The valve bases among a copy's holes, and the ones that would not fit.

    Patterns are seen on the blank, copper side up, as the board is milled.
    """
    holes = [hole for hole in placement.board.holes if hole.end is None]
    found: list[BaseFound] = []
    findings: list[Finding] = []
    tight: dict[tuple[Base, float], list[Pattern]] = {}
    for pattern in patterns([placement.pose.point(hole.at) for hole in holes]):
        base = pattern.base
        pins = tuple(holes[n].id for n in pattern.numbered("copper"))
        keyed = base.pins < base.positions
        found.append(
            BaseFound(
                base.name, pattern.circle, base.circle, pattern.error, pattern.centre, pins, keyed,
                pattern.wrong,
            )
        )  # fmt: skip
        if pattern.wrong:
            findings.append(_wrong(placement, pattern))
        thinnest = round(min(holes[n].diameter for n in pattern.holes), 3)
        if thinnest < least_hole(base.pin, level) - 1e-6:
            tight.setdefault((base, thinnest), []).append(pattern)
    findings += [_tight(placement, *key, alike, level) for key, alike in tight.items()]
    return tuple(found), limited(findings)


def _wrong(placement: Placement, pattern: Pattern) -> Finding:
    base = pattern.base
    message = (
        f"{base.pins} holes stand like the pins of a {base.name} on a circle of "
        f"{pattern.circle:.2f} mm, its own is {base.circle:g} mm: a pin would be off by "
        f"{pattern.error:.2f} mm, more than {WRONG:g}. Draw the circle of the socket in hand, or "
        "leave it if these holes are for something else."
    )
    return on_blank(placement, "base-off-pattern", "warn", message, pattern.centre)


def _tight(
    placement: Placement, base: Base, hole: float, alike: list[Pattern], level: Level
) -> Finding:
    """Holes that the thickest pin of the base would not enter freely."""
    enters = "do not let" if hole <= base.pin else "hardly let"
    message = (
        f"{len(alike)} × {base.name}: holes of {hole:.2f} mm {enters} a pin in, which is up to "
        f"{base.pin:g} mm thick; level {level} of IPC-2222 asks for "
        f"{least_hole(base.pin, level):.2f} mm. Drill wider for valves that are soldered in; for "
        "sockets their maker's drawing counts."
    )
    return on_blank(placement, "base-holes-narrow", "note", message, alike[0].centre)


def rings(
    placement: Placement, as_cut: AsCut, wander: float
) -> tuple[tuple[RingLeft, ...], tuple[Finding, ...]]:
    """What copper is left around each hole on a piece, at the surface, the narrowest first.

    `wander` mm is how far a hole may stand off its place; it is taken from every ring.
    """
    parts = [
        part.shape
        for part in (as_cut.surface or as_cut.parts)
        if any(copy == placement.index for copy, _ in part.pieces)
    ]
    holes = [hole for hole in placement.board.holes if hole.piece is not None]
    if not parts or not holes:
        return (), ()
    spines = np.array([placement.pose.shape(hole.spine) for hole in holes], dtype=object)
    solid = np.asarray(shapely.polygons(shapely.get_exterior_ring(parts)))
    which, part = shapely.STRtree(solid).query(spines, predicate="within")
    found: list[RingLeft] = []
    edges_of = {p: _edges(parts[p]) for p in set(part.tolist())}
    for n, p in zip(which.tolist(), part.tolist(), strict=True):
        hole, spine = holes[n], spines[n]
        edges, inside = edges_of[p]
        # its own hole is no edge of its ring
        own = np.concatenate(([False], shapely.intersects(inside, spine)))
        apart = np.where(own, np.inf, shapely.distance(edges, spine))
        left = float(apart.min()) - hole.diameter / 2 - wander
        if left < FAR:
            line = shapely.shortest_line(edges[int(apart.argmin())], spine)
            x, y = shapely.get_coordinates(line)[0].tolist()
            found.append(RingLeft(hole.id, left, (x, y)))
    found.sort(key=lambda one: (one.ring, one.hole))
    return tuple(found), limited(list(_thin(placement, found)))


def _edges(shape: shapely.Polygon) -> tuple[ObjectArray, ObjectArray]:
    """The rings of an area, the outer one first, and what the others enclose."""
    inner = list(shape.interiors)
    return (
        np.array([shape.exterior, *inner], dtype=object),
        np.array([shapely.Polygon(ring) for ring in inner], dtype=object),
    )


def _thin(placement: Placement, found: list[RingLeft]) -> Iterable[Finding]:
    by_id = {hole.id: hole for hole in placement.board.holes}
    remedy = "Draw a larger pad or a smaller hole, or isolate with a narrower gap there."
    for one in found:
        if one.ring < RING_FLOOR:
            message = (
                f"{by_id[one.hole].words} has {max(one.ring, 0.0):.2f} mm of copper on its "
                f"thinnest side once it wanders; {RING_FLOOR:g} mm is the floor without plating. "
                f"{remedy}"
            )
            yield on_blank(placement, "ring-thin", "warn", message, one.at)
    few = [one for one in found if RING_FLOOR <= one.ring < RING_ADVICE]
    if few:
        message = (
            f"{len(few)} of {len(found)} holes keep less than {RING_ADVICE:g} mm of copper around "
            f"them once they wander, the thinnest {few[0].ring:.2f} mm. They can be soldered; "
            "pads that are heated again lift sooner."
        )
        yield on_blank(placement, "rings-slim", "note", message, few[0].at)
