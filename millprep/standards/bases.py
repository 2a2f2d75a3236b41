"""Valve bases recognized in the places of drilled holes.

Pin circles and pitches of the three common bases were read in the files of a public footprint
library; pin diameters (EIA RS-209-A, IEC 60067) are from memory. What holes a socket needs is
for its maker's drawing to say.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
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
    holes = np.asarray(shapely.points(xy))
    tree = shapely.STRtree(holes)
    first, second = tree.query(holes, predicate="dwithin", distance=high)
    order = np.lexsort((second, first))
    first, second = first[order], second[order]
    spans = xy[second] - xy[first]
    far = np.hypot(*spans.T) >= low
    first, second, spans = first[far], second[far], spans[far]
    # The centre lies left of the chord: each pair is tried in both directions.
    left = np.column_stack((-spans[:, 1], spans[:, 0])) / (2 * math.tan(step / 2))
    centres = (xy[first] + xy[second]) / 2 + left
    # of more places, next to each other, than may be empty, one has a hole
    sure = _positions(xy[first], centres, step, 1 + np.arange(base.positions - base.pins + 1))
    spots = shapely.points(sure.reshape(-1, 2))
    taken, _ = tree.query(spots, predicate="dwithin", distance=NEAR + ROUNDING)
    likely = np.unique(taken // sure.shape[1])
    places = _positions(xy[first[likely]], centres[likely], step, np.arange(base.positions))
    nearest = np.reshape(tree.nearest(shapely.points(places.reshape(-1, 2))), places.shape[:2])
    full = np.hypot(*(xy[nearest] - places).transpose(2, 0, 1)) <= NEAR
    tried = map(_in_order, nearest.tolist(), full.tolist(), itertools.repeat(base.pins))
    return [circle for circle in tried if circle is not None]


def _positions(
    holes: FloatArray, centres: FloatArray, step: float, steps: NDArray[np.int64]
) -> FloatArray:
    """(n, steps, 2) places so many steps on from holes, clockwise around their centres."""
    spokes = holes - centres
    turn = np.arctan2(spokes[:, 1], spokes[:, 0])[:, None] - step * steps
    ring = np.stack((np.cos(turn), np.sin(turn)), axis=2)
    return np.asarray(centres[:, None] + np.hypot(*spokes.T)[:, None, None] * ring)


def _in_order(nearest: list[int], full: list[bool], pins: int) -> list[int] | None:
    """The holes at the positions around a centre, clockwise from the gap; None if not the base."""
    holes = [hole for hole, there in zip(nearest, full, strict=True) if there]
    if len(holes) != pins or len(set(holes)) != pins:
        return None
    # The empty positions are side by side, and the pins begin after the last of them.
    begins = [n for n, there in enumerate(full) if there and not full[n - 1]]
    if len(begins) > 1:
        return None
    before = sum(full[: begins[0]]) if begins else 0
    return holes[before:] + holes[:before]


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
