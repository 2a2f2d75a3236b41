"""Valve bases recognized in the places of drilled holes.

Pin circles and pitches of the three common bases were read in the files of a public footprint
library; pin diameters (EIA RS-209-A, IEC 60067) are from memory. What holes a socket needs is
for its maker's drawing to say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Base:
    """Pins at equal steps around a circle, of which some positions may stay empty.

    Attributes:
        circle: diameter of the pin circle, mm.
        positions: places around the circle, 360° / positions apart.
        pins: how many of them, next to each other, hold a pin.
        pin: largest diameter of a pin, mm.
    """

    name: str
    circle: float
    positions: int
    pins: int
    pin: float

    @property
    def neighbours(self) -> float:
        """Distance of two neighbouring pins, mm."""
        return self.circle * math.sin(math.pi / self.positions)

    def places(self) -> FloatArray:
        """(pins, 2) places about the centre, the gap upward, clockwise from the gap."""
        step = 2 * math.pi / self.positions
        turn = math.pi / 2 - step * (np.arange(self.pins) + (self.positions - self.pins + 1) / 2)
        return self.circle / 2 * np.column_stack((np.cos(turn), np.sin(turn)))


BASES = (
    Base("7-pin miniature (B7G)", 9.53, 8, 7, 1.016),
    Base("9-pin (noval, B9A)", 11.89, 10, 9, 1.016),
    Base("octal (K8A)", 17.45, 8, 8, 2.36),
)

STRETCH = 0.12
"""A pattern is taken for a base drawn wrong when its circle is off by up to this fraction."""
NEAR = 0.3
"""How far a hole may be off its place in the pattern to be looked at as part of it, mm."""
ROUNDING = 1e-9
"""Two ways to work out one length differ by less, mm."""
ALIKE = 0.15
"""How far each hole may be off its place once the pattern's own circle is fitted, mm."""
WRONG = 0.1
"""A pin that is farther than this from where the base has it does not enter freely, mm;
common practice, no source."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """Holes that lie like the pins of a base.

    Attributes:
        base: that it resembles.
        holes: indices into the points, clockwise as the points are seen, from the gap on.
        centre: of the circle through them.
        circle: diameter of that circle, mm.
        error: largest distance of a hole from its place on the true base, laid on as well as
            it can be, mm.
    """

    base: Base
    holes: tuple[int, ...]
    centre: tuple[float, float]
    circle: float
    error: float

    @property
    def wrong(self) -> bool:
        """Whether the base would not fit."""
        return self.error > WRONG

    def numbered(self, seen_from: Literal["copper", "components"]) -> tuple[int, ...]:
        """The holes in the order of pin 1, 2, …, when the points are seen from that side.

        Pins count clockwise from the gap on the side that the pins come out of, which is the
        copper's. A base without a gap has no first pin in its holes; its order starts anywhere.
        """
        return self.holes if seen_from == "copper" else self.holes[::-1]


def patterns(points: ArrayLike) -> tuple[Pattern, ...]:
    """Every base in (n, 2) places of holes, mm, left to right; no hole in two of them.

    A pattern has all pins of its base, none in its empty positions, and a circle off by no
    more than `STRETCH`.
    """
    xy = np.asarray(points, dtype=float).reshape(-1, 2)
    fitted: list[Pattern] = []
    for base in BASES:
        seen: set[tuple[int, ...]] = set()
        for circle in _circles(xy, base):
            key = tuple(sorted(circle))
            if key not in seen:
                seen.add(key)
                pattern = _fitted(xy, base, circle)
                if pattern is not None:
                    fitted.append(pattern)
    taken: set[int] = set()
    kept: list[Pattern] = []
    for pattern in sorted(fitted, key=lambda p: (p.error, p.centre)):
        if taken.isdisjoint(pattern.holes):
            taken.update(pattern.holes)
            kept.append(pattern)
    return tuple(sorted(kept, key=lambda p: p.centre))


def _circles(xy: FloatArray, base: Base) -> list[list[int]]:
    """Holes around every centre that two neighbours of the base could have, in their order."""
    if len(xy) < base.pins:
        return []
    low, high = base.neighbours * (1 - STRETCH), base.neighbours * (1 + STRETCH)
    step = 2 * math.pi / base.positions
    firsts: list[int] = []
    middles = [np.zeros((0, 2))]
    for i, at in enumerate(xy):
        spans = xy - at
        chords = np.hypot(spans[:, 0], spans[:, 1])
        near = np.flatnonzero((chords >= low) & (chords <= high))
        # The centre lies left of the chord: each pair is tried in both directions.
        left = np.column_stack((-spans[near, 1], spans[near, 0])) / (2 * math.tan(step / 2))
        middles.append((at + xy[near]) / 2 + left)
        firsts += [i] * len(near)
    centres = np.concatenate(middles)
    likely = _likely(xy, base, centres, firsts)
    tried = (_around(xy, base, centres[n], firsts[n]) for n in likely)
    return [circle for circle in tried if circle is not None]


def _likely(xy: FloatArray, base: Base, centres: FloatArray, firsts: list[int]) -> list[int]:
    """Which centres have a hole at one of more places, next to each other, than may be empty."""
    holes, middles = xy @ np.array([1, 1j]), centres @ np.array([1, 1j])
    turns = np.exp(
        -1j * math.tau / base.positions * (1 + np.arange(base.positions - base.pins + 1))
    )
    places = middles[:, None] + (holes[firsts] - middles)[:, None] * turns
    return [
        n
        for n, some in enumerate(places)
        if (np.abs(holes - some[:, None]) <= NEAR + ROUNDING).any()
    ]


def _around(xy: FloatArray, base: Base, centre: FloatArray, first: int) -> list[int] | None:
    """The holes at the positions around a centre, clockwise from the gap; None if not the base."""
    spoke = xy[first] - centre
    turn = math.atan2(spoke[1], spoke[0]) - np.arange(base.positions) * 2 * math.pi / base.positions
    places = centre + math.hypot(*spoke) * np.column_stack((np.cos(turn), np.sin(turn)))
    distances = np.hypot(*(xy[None, :, :] - places[:, None, :]).transpose(2, 0, 1))
    nearest = np.argmin(distances, axis=1)
    full = distances[np.arange(base.positions), nearest] <= NEAR
    if full.sum() != base.pins or len(set(nearest[full].tolist())) != base.pins:
        return None
    start = 0
    if base.pins < base.positions:
        gap = np.flatnonzero(~full)
        # The empty positions are side by side, and the pins begin after the last of them.
        ends = [g for g in gap.tolist() if full[(g + 1) % base.positions]]
        if len(ends) != 1:
            return None
        start = ends[0] + 1
    order = (start + np.arange(base.pins)) % base.positions
    holes: list[int] = nearest[order].tolist()
    return holes


def _fitted(xy: FloatArray, base: Base, holes: list[int]) -> Pattern | None:
    """The pattern with its own circle and its error on the true one; None if it does not fit.

    The least-squares motion and scale from the base's places to the holes: Umeyama 1991, in
    the plane and with complex numbers, where turn and scale are one factor.
    """
    to = xy[holes] @ np.array([1, 1j])
    model = base.places() @ np.array([1, 1j])
    mean, centred = to.mean(), model - model.mean()
    factor = np.vdot(centred, to - mean) / np.vdot(centred, centred).real
    scale = abs(factor)
    centre = mean - factor * model.mean()
    if np.abs(to - (centre + factor * model)).max() > ALIKE or abs(scale - 1) > STRETCH:
        return None
    true = mean + factor / scale * centred
    return Pattern(
        base,
        tuple(holes),
        (float(centre.real), float(centre.imag)),
        float(scale * base.circle),
        float(np.abs(to - true).max()),
    )
