"""Whether holes fit the pins of valve bases."""

from __future__ import annotations

from millprep.trade.bases import WRONG, Base, Pattern, patterns
from millprep.trade.holes import Level, least_hole
from millprep.values.finding import Finding
from millprep.values.judged import BaseFound
from millprep.values.layout import Placement
from millprep.values.told import limited, on_blank


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
