"""Annular rings, pads and the holes of valve bases.

A hole misses its nominal place because its drill walks where it enters, and because the pass that
drills it may be misaligned with the one that cut its copper; its edge lies farther out when the
cutter runs out; and the groove reaches farther in where the surface lies high. In the worst case
all of that adds up on the side with the least copper.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.model.as_cut import AsCut
from millprep.model.blank import Placement, on_blank
from millprep.model.board import Hole
from millprep.model.cut import HoleMade
from millprep.model.finding import MOST_PLACES, Finding, limited
from millprep.model.job.rules import RulesPlan, SocketPin
from millprep.model.judged import AnnularRing, BaseFit
from millprep.standards.bases import WRONG, Base, Pattern, patterns
from millprep.standards.holes import (
    ANNULAR_RING_ADVICE,
    ANNULAR_RING_FLOOR,
    Level,
    drill_wander,
    least_hole,
    least_pad,
)
from millprep.verify.pads import pad_widths

ObjectArray = NDArray[np.object_]
Made = Mapping[str, HoleMade]
"""How each hole of a copy is made, by its id."""

FAR = 10.0
"""Annular rings wider than this are of no interest, mm."""
AS_DRAWN: Made = MappingProxyType({})
"""Holes of which nothing else is known are drilled, as wide as they are drawn."""
USUAL = RulesPlan()
_LEVELS: tuple[Level, ...] = ("A", "B", "C")
OFF = 0.05
"""A hole serves a socket's pin when it differs by no more from what that needs, mm; common
practice, no source."""
ROUND = 1e-6
LEVEL = 5e-3
"""Widths of pads are given to a hundredth of a millimetre."""


@cached
def annular_rings(
    placement: Placement,
    as_cut: AsCut,
    required: RulesPlan = USUAL,
    made: Made = AS_DRAWN,
    wider: float = 0.0,
) -> tuple[tuple[AnnularRing, ...], tuple[Finding, ...]]:
    """The copper around each hole on a piece, at the surface, the least in the worst case first.

    Args:
        placement: the copy.
        as_cut: copper of its blank.
        required: by the job.
        made: how its holes are made.
        wider: how much farther out than nominal an edge of a groove may lie, mm.
    """
    parts = [
        part.shape
        for part in (as_cut.surface or as_cut.parts)
        if any(copy == placement.index for copy, _ in part.pieces)
    ]
    holes = [hole for hole in placement.holes if hole.piece is not None]
    if not parts or not holes:
        return (), ()
    spines = np.array([hole.spine for hole in holes], dtype=object)
    solid = np.asarray(shapely.polygons(shapely.get_exterior_ring(parts)))
    which, part = shapely.STRtree(solid).query(spines, predicate="within")
    rings: list[AnnularRing] = []
    edges_of = {p: _edges(parts[p]) for p in set(part.tolist())}
    for n, p in zip(which.tolist(), part.tolist(), strict=True):
        hole, spine = holes[n], spines[n]
        hole_made = made.get(hole.id, HoleMade(hole.diameter, hole.diameter))
        edges, inside = edges_of[p]
        # its own hole is no edge of its annular ring
        own = np.concatenate(([False], shapely.intersects(inside, spine)))
        distances = np.where(own, np.inf, shapely.distance(edges, spine))
        left = float(distances.min()) - hole_made.diameter / 2
        if left < FAR:
            line = shapely.shortest_line(edges[int(distances.argmin())], spine)
            x, y = shapely.get_coordinates(line)[0].tolist()
            worst = left - hole_offset(hole_made, required) - hole_made.wider - wider
            rings.append(AnnularRing(hole.id, left, worst, (x, y)))
    rings.sort(key=lambda ring: (ring.worst, ring.hole))
    return tuple(rings), limited(list(_thin(placement, rings, required, made)))


def hole_offset(hole_made: HoleMade, required: RulesPlan) -> float:
    """How far a hole may be off its copper, mm."""
    wander = (
        drill_wander(hole_made.drill) if required.drill_wander is None else required.drill_wander
    )
    if hole_made.misalignment and required.pass_error is not None:
        return wander + required.pass_error
    return wander + hole_made.misalignment


def check_small_pads(placement: Placement, level: Level) -> tuple[Finding, ...]:
    """A note for each kind of pad that is drawn narrower than a level of ease requires."""
    kinds: dict[tuple[float, float], list[Hole]] = {}
    wide = pad_widths(placement.board)
    for hole in placement.board.holes:
        if hole.id in wide:
            kinds.setdefault((round(hole.diameter, 2), round(wide[hole.id], 2)), []).append(hole)
    findings = []
    for (diameter, width), alike in sorted(kinds.items()):
        least = least_pad(diameter, level)
        if width >= least - 5e-3:
            continue
        easier = [f"{name} {least_pad(diameter, name):.2f}" for name in _LEVELS if name != level]
        message = (
            f"{len(alike)} pads of {width:.2f} mm around holes of {diameter:.2f} mm are narrower "
            f"than the {least:.2f} mm of level {level} (IPC-2221: hole, twice an annular ring of "
            f"{ANNULAR_RING_FLOOR:g} mm without plating, and what making takes; level "
            f"{', '.join(easier)}). They can be made; their annular rings are checked as well."
        )
        findings.append(
            on_blank(placement, "pads-small", "note", message, placement.pose.point(alike[0].at))
        )
    return limited(findings)


def _edges(shape: shapely.Polygon) -> tuple[ObjectArray, ObjectArray]:
    """The outlines of an area, the outer one first, and what the others enclose."""
    inner = list(shape.interiors)
    return (
        np.array([shape.exterior, *inner], dtype=object),
        np.array([shapely.Polygon(ring) for ring in inner], dtype=object),
    )


def _thin(
    placement: Placement, rings: Sequence[AnnularRing], required: RulesPlan, made: Made
) -> Iterator[Finding]:
    by_id = {hole.id: hole for hole in placement.board.holes}
    remedy = "Draw a larger pad or a smaller hole, or isolate with a narrower gap there."
    for ring in rings:
        if ring.worst < ANNULAR_RING_FLOOR:
            hole = by_id[ring.hole]
            how = made.get(ring.hole, HoleMade(hole.diameter, hole.diameter))
            away = f"{hole_offset(how, required):.2f} mm off its place"
            if how.misalignment:
                away += ", drilled in another pass than its copper is cut in"
            message = (
                f"{hole.words} has {max(ring.ring, 0.0):.2f} mm of copper on its thinnest side, "
                f"worst case {max(ring.worst, 0.0):.2f} ({away}); {ANNULAR_RING_FLOOR:g} mm is the "
                f"least without plating. {remedy}"
            )
            yield on_blank(placement, "annular-ring-thin", "warn", message, ring.at)
    few = [item for item in rings if ANNULAR_RING_FLOOR <= item.worst < ANNULAR_RING_ADVICE]
    if few:
        message = (
            f"{len(few)} of {len(rings)} holes keep less than {ANNULAR_RING_ADVICE:g} mm of "
            f"annular ring in the worst case, the narrowest {few[0].worst:.2f} mm. They can be "
            "soldered; pads that are heated again lift sooner."
        )
        yield on_blank(placement, "annular-rings-slim", "note", message, few[0].at)


_patterns = cached(patterns)


def bases(
    placement: Placement, required: RulesPlan = USUAL, made: Made = AS_DRAWN
) -> tuple[tuple[BaseFit, ...], tuple[Finding, ...]]:
    """The valve bases among a copy's holes, and the ones that would not fit.

    Patterns are seen on the blank, copper side up, as the board is milled; `made` says how the
    holes are.
    """
    holes = [hole for hole in placement.board.holes if hole.end is None]
    widths = pad_widths(placement.board)
    sizes = {hole.id: hole.diameter for hole in holes}
    sizes |= {name: hole_made.diameter for name, hole_made in made.items()}
    fits: list[tuple[Pattern, BaseFit]] = []
    findings: list[Finding] = []
    for pattern in _patterns([placement.pose.point(hole.at) for hole in holes]):
        base = pattern.base
        pins = [holes[n].id for n in pattern.numbered("copper")]
        hole, pad = needed(base, required)
        fit = BaseFit(
            base.name,
            pattern.circle,
            base.circle,
            pattern.error,
            pattern.centre,
            tuple(pins),
            base.pins < base.positions,
            pattern.wrong,
            hole=min(sizes[pin] for pin in pins),
            pad=min((widths[pin] for pin in pins if pin in widths), default=None),
            required_hole=hole,
            required_pad=pad,
        )
        fits.append((pattern, fit))
        if pattern.wrong:
            findings.append(_wrong(placement, pattern))
    findings += _narrow(placement, fits, required)
    findings += _pins(placement, fits, required, sizes, widths)
    return tuple(fit for _, fit in fits), limited(findings)


def needed(base: Base, required: RulesPlan) -> tuple[float, float]:
    """The hole and the pad that a base needs, mm: a pin's own, or by the level of ease."""
    if _socket(base, required) is not None:
        assert required.pins is not None
        return required.pins.hole, required.pins.land
    hole = least_hole(base.pin, required.level)
    return hole, least_pad(hole, required.level)


def _socket(base: Base, required: RulesPlan) -> SocketPin | None:
    """The pin that a base's socket is built from; None when the valve itself is soldered in."""
    return required.pins if required.pins is not None and base.pin <= required.pins.takes else None


def _wrong(placement: Placement, pattern: Pattern) -> Finding:
    base = pattern.base
    message = (
        f"{base.pins} holes are placed like the pins of a {base.name} on a circle of "
        f"{pattern.circle:.2f} mm, its own is {base.circle:g} mm: a pin would be off by "
        f"{pattern.error:.2f} mm, more than {WRONG:g}. Draw the circle of the socket in hand, or "
        "leave it if these holes are for something else."
    )
    return on_blank(placement, "base-off-pattern", "warn", message, pattern.centre)


def _narrow(
    placement: Placement, fits: Sequence[tuple[Pattern, BaseFit]], required: RulesPlan
) -> Iterator[Finding]:
    """Bases whose holes the thickest pin of their valve would not enter freely."""
    tight: dict[tuple[Base, float], list[Pattern]] = {}
    for pattern, fit in fits:
        base = pattern.base
        if (
            _socket(base, required) is None
            and fit.hole < least_hole(base.pin, required.level) - ROUND
        ):
            tight.setdefault((base, round(fit.hole, 3)), []).append(pattern)
    for (base, hole), alike in tight.items():
        yield _tight(placement, base, hole, alike, required.level)


def _tight(
    placement: Placement, base: Base, hole: float, alike: list[Pattern], level: Level
) -> Finding:
    fit = "too narrow" if hole <= base.pin else "tight"
    message = (
        f"{len(alike)} × {base.name}: holes of {hole:.2f} mm are {fit} for pins of up to "
        f"{base.pin:g} mm; level {level} of IPC-2222 asks for "
        f"{least_hole(base.pin, level):.2f} mm. Drill wider for valves that are soldered in; for "
        "sockets of single pins set [rules.pins], else the drawing of the socket counts."
    )
    finding = on_blank(placement, "base-holes-narrow", "note", message, alike[0].centre)
    return replace(finding, places=tuple(pattern.centre for pattern in alike[1 : MOST_PLACES + 1]))


def _pins(
    placement: Placement,
    fits: Sequence[tuple[Pattern, BaseFit]],
    required: RulesPlan,
    sizes: Mapping[str, float],
    widths: Mapping[str, float],
) -> Iterator[Finding]:
    """Holes and pads that do not serve the pins of a socket, by kind."""
    by_id = {hole.id: hole for hole in placement.board.holes}
    holes: dict[tuple[Base, float], list[Hole]] = {}
    small: dict[tuple[Base, float], list[Hole]] = {}
    for pattern, fit in fits:
        pin = _socket(pattern.base, required)
        for name in fit.pins if pin is not None else ():
            assert pin is not None
            if abs(sizes[name] - pin.hole) > OFF + ROUND:
                holes.setdefault((pattern.base, round(sizes[name], 2)), []).append(by_id[name])
            width = widths.get(name)
            if width is not None and width < pin.land - LEVEL:
                small.setdefault((pattern.base, round(width, 2)), []).append(by_id[name])
    for (base, size), which in holes.items():
        assert required.pins is not None
        at = placement.pose.point(which[0].at)
        yield on_blank(
            placement, "socket-pin-hole", "warn", _hole_words(base, size, which, required.pins), at
        )
    for (base, width), which in small.items():
        assert required.pins is not None
        message = (
            f"{base.name}: {len(which)} pads of {width:.2f} mm, the pins of its socket require "
            f"{required.pins.land:g} mm. Draw wider pads, or set the pad that you accept in "
            "[rules.pins]."
        )
        at = placement.pose.point(which[0].at)
        yield on_blank(placement, "socket-pin-pad", "warn", message, at)


def _hole_words(base: Base, size: float, which: Sequence[Hole], pin: SocketPin) -> str:
    if size <= pin.thickest:
        what = f"a pin of up to {pin.thickest:g} mm does not enter"
    elif size < pin.hole:
        what = f"a pin of up to {pin.thickest:g} mm has {size - pin.thickest:.2f} mm of room"
    else:
        what = f"a pin of {pin.thinnest:g} mm is {size - pin.thinnest:.2f} mm loose"
    return (
        f"{base.name}: {len(which)} holes of {size:.2f} mm, the pins of its socket require "
        f"{pin.hole:g} mm: {what}. Draw them as wide and name a drill for it, or set the "
        "hole of the pin in hand in [rules.pins]."
    )
