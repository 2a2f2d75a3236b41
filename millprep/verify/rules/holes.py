"""Whether the holes of valve bases fit what is soldered into them: valves, or pins of sockets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from millprep.model.board import Hole
from millprep.model.copy_findings import limited, on_blank
from millprep.model.finding import Finding
from millprep.model.judged import BaseFound
from millprep.model.layout import Placement
from millprep.model.pad import widths as land_widths
from millprep.model.plan import RulesPlan, SocketPin
from millprep.standards.bases import WRONG, Base, Pattern, patterns
from millprep.standards.holes import Level, least_hole, least_land
from millprep.verify.rules.annular_rings import AS_DRAWN, USUAL, Made

OFF = 0.05
"""A hole serves a socket's pin when it differs by no more from what that asks for, mm; common
practice, no source."""
ROUND = 1e-6
LEVEL = 5e-3
"""Lands are told to a hundredth of a millimetre."""


def bases(
    placement: Placement, asked: RulesPlan = USUAL, made: Made = AS_DRAWN
) -> tuple[tuple[BaseFound, ...], tuple[Finding, ...]]:
    """The valve bases among a copy's holes, and the ones that would not fit.

    Patterns are seen on the blank, copper side up, as the board is milled; `made` tells how the
    holes are.
    """
    holes = [hole for hole in placement.board.holes if hole.end is None]
    widths = land_widths(placement.board)
    sizes = {hole.id: hole.diameter for hole in holes}
    sizes |= {name: one.diameter for name, one in made.items()}
    found: list[tuple[Pattern, BaseFound]] = []
    findings: list[Finding] = []
    for pattern in patterns([placement.pose.point(hole.at) for hole in holes]):
        base = pattern.base
        pins = [holes[n].id for n in pattern.numbered("copper")]
        hole, land = asks(base, asked)
        one = BaseFound(
            base.name,
            pattern.circle,
            base.circle,
            pattern.error,
            pattern.centre,
            tuple(pins),
            base.pins < base.positions,
            pattern.wrong,
            hole=min(sizes[pin] for pin in pins),
            land=min((widths[pin] for pin in pins if pin in widths), default=None),
            asked_hole=hole,
            asked_land=land,
        )
        found.append((pattern, one))
        if pattern.wrong:
            findings.append(_wrong(placement, pattern))
    findings += _narrow(placement, found, asked)
    findings += _pins(placement, found, asked, sizes, widths)
    return tuple(one for _, one in found), limited(findings)


def asks(base: Base, asked: RulesPlan) -> tuple[float, float]:
    """The hole and the land that a base asks for, mm: a pin's own, or by the level of ease."""
    if _socket(base, asked) is not None:
        assert asked.pins is not None
        return asked.pins.hole, asked.pins.land
    hole = least_hole(base.pin, asked.level)
    return hole, least_land(hole, asked.level)


def _socket(base: Base, asked: RulesPlan) -> SocketPin | None:
    """The pin that a base's socket is built from; None when the valve itself is soldered in."""
    return asked.pins if asked.pins is not None and base.pin <= asked.pins.takes else None


def _wrong(placement: Placement, pattern: Pattern) -> Finding:
    base = pattern.base
    message = (
        f"{base.pins} holes stand like the pins of a {base.name} on a circle of "
        f"{pattern.circle:.2f} mm, its own is {base.circle:g} mm: a pin would be off by "
        f"{pattern.error:.2f} mm, more than {WRONG:g}. Draw the circle of the socket in hand, or "
        "leave it if these holes are for something else."
    )
    return on_blank(placement, "base-off-pattern", "warn", message, pattern.centre)


def _narrow(
    placement: Placement, found: Sequence[tuple[Pattern, BaseFound]], asked: RulesPlan
) -> Iterator[Finding]:
    """Bases whose holes the thickest pin of their valve would not enter freely."""
    tight: dict[tuple[Base, float], list[Pattern]] = {}
    for pattern, one in found:
        base = pattern.base
        if _socket(base, asked) is None and one.hole < least_hole(base.pin, asked.level) - ROUND:
            tight.setdefault((base, round(one.hole, 3)), []).append(pattern)
    for (base, hole), alike in tight.items():
        yield _tight(placement, base, hole, alike, asked.level)


def _tight(
    placement: Placement, base: Base, hole: float, alike: list[Pattern], level: Level
) -> Finding:
    enters = "do not let" if hole <= base.pin else "hardly let"
    message = (
        f"{len(alike)} × {base.name}: holes of {hole:.2f} mm {enters} a pin in, which is up to "
        f"{base.pin:g} mm thick; level {level} of IPC-2222 asks for "
        f"{least_hole(base.pin, level):.2f} mm. Drill wider for valves that are soldered in; for "
        "sockets of single pins say [rules.pins], else the socket maker's drawing counts."
    )
    return on_blank(placement, "base-holes-narrow", "note", message, alike[0].centre)


def _pins(
    placement: Placement,
    found: Sequence[tuple[Pattern, BaseFound]],
    asked: RulesPlan,
    sizes: Mapping[str, float],
    widths: Mapping[str, float],
) -> Iterator[Finding]:
    """Holes and lands that do not serve the pins of a socket, by kind."""
    by_id = {hole.id: hole for hole in placement.board.holes}
    holes: dict[tuple[Base, float], list[Hole]] = {}
    small: dict[tuple[Base, float], list[Hole]] = {}
    for pattern, one in found:
        pin = _socket(pattern.base, asked)
        for name in one.pins if pin is not None else ():
            assert pin is not None
            if abs(sizes[name] - pin.hole) > OFF + ROUND:
                holes.setdefault((pattern.base, round(sizes[name], 2)), []).append(by_id[name])
            width = widths.get(name)
            if width is not None and width < pin.land - LEVEL:
                small.setdefault((pattern.base, round(width, 2)), []).append(by_id[name])
    for (base, size), which in holes.items():
        assert asked.pins is not None
        at = placement.pose.point(which[0].at)
        yield on_blank(
            placement, "socket-pin-hole", "warn", _hole_words(base, size, which, asked.pins), at
        )
    for (base, width), which in small.items():
        assert asked.pins is not None
        message = (
            f"{base.name}: {len(which)} lands of {width:.2f} mm, the pins of its socket ask for "
            f"{asked.pins.land:g} mm. Draw wider lands, or say the land that you can live with in "
            "[rules.pins]."
        )
        at = placement.pose.point(which[0].at)
        yield on_blank(placement, "socket-pin-land", "warn", message, at)


def _hole_words(base: Base, size: float, which: Sequence[Hole], pin: SocketPin) -> str:
    if size <= pin.thickest:
        what = f"a pin of up to {pin.thickest:g} mm does not enter"
    elif size < pin.hole:
        what = f"a pin of up to {pin.thickest:g} mm has {size - pin.thickest:.2f} mm of room"
    else:
        what = f"a pin of {pin.thinnest:g} mm stands {size - pin.thinnest:.2f} mm loose"
    return (
        f"{base.name}: {len(which)} holes of {size:.2f} mm, the pins of its socket ask for "
        f"{pin.hole:g} mm: {what}. Draw them as wide as asked and name a drill for it, or say the "
        "hole of the pin in hand in [rules.pins]."
    )
