"""Isolation by voltage: how far floating copper must keep from which net, and where.

Floating copper is a bridge: from net to net a way leads over it, however far apart the two
places are where it comes near them, and only the gaps at its two ends count. So what must hold
is not a distance from place to place but a sum: the gap of one net to a floating area and that
of another to the same area are together what the voltage between the two requires. Of all ways
to share a sum the one is taken that widens the gap of few and short nets: a supply of 300 V
among forty signals, not the forty signals.

Between two nets with no floating copper in their gap nothing can be widened: what is drawn too
near stays too near, and is told.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.paths.offset import offset
from millprep.trade.spacing import Column, required
from millprep.values.net import NetFacts
from millprep.values.path import Point

SPARE = 0.01
"""Gaps are widened by this much more, for the rounding of curves, mm."""
BESIDE = 0.02
"""Floating copper borders on what is at most this much farther than the groove is wide, mm."""
ENOUGH = 1e-9
"""A gap short by less is wide enough, mm."""
EDGE = "the board's edge"


@dataclass(frozen=True, slots=True)
class DrawnTooNear:
    """Two nets that are drawn nearer than their voltage allows.

    Attributes:
        gap: between their copper at its foot, mm.
        at: in the frame of the pieces.
    """

    one: str
    other: str
    volts: float
    gap: float
    required: float
    at: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the rules ask: column of the table, least gap that counts, whether the edge is metal."""

    column: Column = "B2"
    least_counted: float = 0.0
    edge: bool = True


@dataclass(frozen=True, slots=True)
class Widened:
    """What is to be cleared so that the voltages hold, and what no cutting can mend.

    Attributes:
        area: floating copper to take away.
        gaps: (net, mm): the widest gap of every net that is widened.
        too_near: pairs that are drawn too near.
    """

    area: BaseGeometry
    gaps: Mapping[str, float]
    too_near: tuple[DrawnTooNear, ...]


def widen(
    floating: BaseGeometry,
    pieces: Mapping[str, shapely.Polygon],
    nets: Sequence[NetFacts],
    asked: Asked,
    *,
    gap: float,
    skirt: float,
    edge: BaseGeometry,
) -> Widened:
    """Which floating copper must go for the voltages between nets.

    Args:
        floating: copper that isolation leaves and that belongs to no piece.
        pieces: the drawn copper of one copy, by id.
        nets: of that copy; those without volts may stand at any and count as floating.
        asked: the rules.
        gap: that isolation opens around every piece, at the foot.
        skirt: how far the foot of the copper reaches beyond its drawn edge, mm.
        edge: line along the board's edge.
    """
    told = [net for net in nets if net.volts is not None]
    shapes = {
        net.name: shapely.union_all([pieces[p] for p in net.pieces if p in pieces]) for net in told
    }
    told = [net for net in told if not shapes[net.name].is_empty]
    owned = {piece for net in told for piece in net.pieces}
    free = [shape for piece, shape in pieces.items() if piece not in owned]
    reach = skirt + gap + BESIDE
    bands: list[BaseGeometry] = []
    most: dict[str, float] = {}
    for stones in _together(floating, free, reach):
        area = shapely.union_all(stones)
        near = [net for net in told if shapely.dwithin(area, shapes[net.name], reach)]
        at_edge = asked.edge and bool(shapely.dwithin(area, edge, BESIDE))
        lengths = {net.name: float(shapes[net.name].length) for net in near}
        for name, wide in gaps(near, lengths, asked, gap, at_edge=at_edge).items():
            if wide > gap:
                band = offset(shapes[name], skirt + wide + SPARE)
                bands.append(shapely.intersection(band, shapely.intersection(area, floating)))
                most[name] = max(most.get(name, 0.0), wide)
    return Widened(
        shapely.union_all(bands) if bands else shapely.Polygon(),
        most,
        tuple(_too_near(told, shapes, asked.column, skirt)),
    )


def gaps(
    nets: Sequence[NetFacts],
    lengths: Mapping[str, float],
    asked: Asked,
    least: float,
    *,
    at_edge: bool,
) -> dict[str, float]:
    """The gap that every net needs to floating copper that all of them border on, in mm.

    Any two add up to what their volts require, a gap below the least counted as nothing; with
    `at_edge` each alone holds what its volts to the edge require.
    """
    floor = {net.name: least for net in nets}
    need: dict[tuple[str, str], float] = {}
    ground = NetFacts(EDGE, ("",), (0.0, 0.0))
    for one, other in itertools.permutations(nets, 2):
        need[one.name, other.name] = _required(one, other, asked)
    for net in nets if at_edge else ():
        if _required(net, ground, asked) > _counted(least, asked):
            floor[net.name] = max(least, asked.least_counted, _required(net, ground, asked))
    wide = dict(floor)

    def enough(one: str) -> float:
        """The gap of a net that holds against all others as they are."""
        short = [
            need[one, other] - _counted(wide[other], asked) for other in wide if other != one
        ]
        most = max(short, default=0.0)
        if most <= _counted(floor[one], asked) + ENOUGH:
            return floor[one]
        return max(floor[one], asked.least_counted, most)

    def gain(one: str) -> float:
        """What of all that lacks is mended by widening a net, for each mm along it."""
        lacks = [
            need[one, other] - _counted(wide[one], asked) - _counted(wide[other], asked)
            for other in wide
            if other != one
        ]
        return sum(lack for lack in lacks if lack > ENOUGH) / max(lengths[one], ENOUGH)

    while True:
        name = max(sorted(wide), key=gain, default="")
        if not name or gain(name) == 0:
            break
        wide[name] = enough(name)
    # what was widened first may no longer need it; the longest nets gain most by it
    for name in sorted(wide, key=lambda one: (-lengths[one], one)):
        wide[name] = enough(name)
    return wide


def _required(one: NetFacts, other: NetFacts, asked: Asked) -> float:
    volts = one.volts_to(other)
    assert volts is not None, "nets without volts are floating"
    return required(volts, asked.column)


def _counted(gap: float, asked: Asked) -> float:
    """A gap as the rules count it."""
    return gap if gap >= asked.least_counted else 0.0


def _together(
    floating: BaseGeometry, free: Sequence[BaseGeometry], reach: float
) -> list[list[BaseGeometry]]:
    """Floating areas in groups: those of one group border on one another or on free pieces."""
    areas = [*shapely.get_parts(floating), *free]
    group = list(range(len(areas)))

    def root(n: int) -> int:
        while group[n] != n:
            n = group[n]
        return n

    shapes = np.asarray(areas, dtype=object)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=reach)
    for a, b in zip(one.tolist(), other.tolist(), strict=True):
        low, high = sorted((root(a), root(b)))
        group[high] = low
    found: dict[int, list[BaseGeometry]] = {}
    for n, area in enumerate(areas):
        found.setdefault(root(n), []).append(area)
    return list(found.values())


def _too_near(
    nets: Sequence[NetFacts],
    shapes: Mapping[str, BaseGeometry],
    column: Column,
    skirt: float,
) -> list[DrawnTooNear]:
    found = []
    for one, other in itertools.combinations(nets, 2):
        volts = one.volts_to(other)
        assert volts is not None
        asked = required(volts, column)
        a, b = shapes[one.name], shapes[other.name]
        if not shapely.dwithin(a, b, asked + 2 * skirt):
            continue
        line = shapely.shortest_line(a, b)
        gap = float(line.length) - 2 * skirt
        if gap + 1e-6 < asked:
            at = line.interpolate(0.5, normalized=True)
            found.append(DrawnTooNear(one.name, other.name, volts, gap, asked, (at.x, at.y)))
    return sorted(found, key=lambda pair: pair.gap - pair.required)
