"""What copper is left around holes once boards are isolated and drilled, at worst.

A hole stands off its place because its drill walks where it enters, and because the pass that
drills it may miss the one that cut its copper; its rim lies farther out when the cutter runs out;
and the groove reaches farther in where the surface lies high. At worst all of that comes together
on the side where there is least copper.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.as_cut import AsCut
from millprep.model.board import Hole
from millprep.model.copy_findings import limited, on_blank
from millprep.model.finding import Finding
from millprep.model.hole_made import HoleMade
from millprep.model.judged import RingLeft
from millprep.model.layout import Placement
from millprep.model.pad import widths
from millprep.model.plan import RulesPlan
from millprep.standards.holes import RING_ADVICE, RING_FLOOR, Level, drill_wander, least_land

ObjectArray = NDArray[np.object_]
Made = Mapping[str, HoleMade]
"""How each hole of a copy is made, by its id."""

FAR = 10.0
"""Rings wider than this are of no interest, mm."""
AS_DRAWN: Made = MappingProxyType({})
"""Holes of which nobody told how they are made are drilled, as wide as they are drawn."""
USUAL = RulesPlan()


def rings(
    placement: Placement,
    as_cut: AsCut,
    asked: RulesPlan = USUAL,
    made: Made = AS_DRAWN,
    wider: float = 0.0,
) -> tuple[tuple[RingLeft, ...], tuple[Finding, ...]]:
    """The copper around each hole on a piece, at the surface, the least at worst first.

    Args:
        placement: the copy.
        as_cut: copper of its blank.
        asked: by the job.
        made: how its holes are made.
        wider: how much farther out than asked an edge of a groove may lie, mm.
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
        one = made.get(hole.id, HoleMade(hole.diameter, hole.diameter))
        edges, inside = edges_of[p]
        # its own hole is no edge of its ring
        own = np.concatenate(([False], shapely.intersects(inside, spine)))
        apart = np.where(own, np.inf, shapely.distance(edges, spine))
        left = float(apart.min()) - one.diameter / 2
        if left < FAR:
            line = shapely.shortest_line(edges[int(apart.argmin())], spine)
            x, y = shapely.get_coordinates(line)[0].tolist()
            worst = left - off(one, asked) - one.wider - wider
            found.append(RingLeft(hole.id, left, worst, (x, y)))
    found.sort(key=lambda one: (one.worst, one.hole))
    return tuple(found), limited(list(_thin(placement, found, asked, made)))


def off(one: HoleMade, asked: RulesPlan) -> float:
    """How far a hole may stand off its copper, mm."""
    wander = drill_wander(one.drill) if asked.drill_wander is None else asked.drill_wander
    if one.apart and asked.pass_error is not None:
        return wander + asked.pass_error
    return wander + one.apart


def small_lands(placement: Placement, level: Level) -> tuple[Finding, ...]:
    """A note for each kind of land that is drawn narrower than a level of ease asks for."""
    kinds: dict[tuple[float, float], list[Hole]] = {}
    wide = widths(placement.board)
    for one in placement.board.holes:
        if one.id in wide:
            kinds.setdefault((round(one.diameter, 2), round(wide[one.id], 2)), []).append(one)
    found = []
    for (hole, width), alike in sorted(kinds.items()):
        least = least_land(hole, level)
        if width >= least - 5e-3:
            continue
        easier = [f"{name} {least_land(hole, name):.2f}" for name in _LEVELS if name != level]
        message = (
            f"{len(alike)} lands of {width:.2f} mm around holes of {hole:.2f} mm are narrower "
            f"than the {least:.2f} mm of level {level} (IPC-2221: hole, twice a ring of "
            f"{RING_FLOOR:g} mm without plating, and what making takes; level "
            f"{', '.join(easier)}). They can be made; what is left around each is told by itself."
        )
        found.append(
            on_blank(
                placement, "lands-small", "note", message, placement.pose.point(alike[0].at)
            )
        )
    return limited(found)


_LEVELS: tuple[Level, ...] = ("A", "B", "C")


def _edges(shape: shapely.Polygon) -> tuple[ObjectArray, ObjectArray]:
    """The rings of an area, the outer one first, and what the others enclose."""
    inner = list(shape.interiors)
    return (
        np.array([shape.exterior, *inner], dtype=object),
        np.array([shapely.Polygon(ring) for ring in inner], dtype=object),
    )


def _thin(
    placement: Placement, found: Sequence[RingLeft], asked: RulesPlan, made: Made
) -> Iterator[Finding]:
    by_id = {hole.id: hole for hole in placement.board.holes}
    remedy = "Draw a larger pad or a smaller hole, or isolate with a narrower gap there."
    for one in found:
        if one.worst < RING_FLOOR:
            hole = by_id[one.hole]
            how = made.get(one.hole, HoleMade(hole.diameter, hole.diameter))
            away = f"{off(how, asked):.2f} mm off its place"
            if how.apart:
                away += ", drilled in another pass than its copper is cut in"
            message = (
                f"{hole.words} has {max(one.ring, 0.0):.2f} mm of copper on its thinnest side, "
                f"{max(one.worst, 0.0):.2f} at worst ({away}); {RING_FLOOR:g} mm is the floor "
                f"without plating. {remedy}"
            )
            yield on_blank(placement, "ring-thin", "warn", message, one.at)
    few = [one for one in found if RING_FLOOR <= one.worst < RING_ADVICE]
    if few:
        message = (
            f"{len(few)} of {len(found)} holes keep less than {RING_ADVICE:g} mm of copper around "
            f"them at worst, the thinnest {few[0].worst:.2f} mm. They can be soldered; pads that "
            "are heated again lift sooner."
        )
        yield on_blank(placement, "rings-slim", "note", message, few[0].at)
