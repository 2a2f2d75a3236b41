"""Isolation by voltage: how far floating copper keeps from which net, divided among nets.

Floating copper is a bridge between two nets, however far from each other the places are where it
comes near them: only the gaps at its two ends count. So a distance from place to place is not
enough. The gap of one net to a floating area and the gap of another net to the same area must add
up to what the voltage between the two requires. Of all ways to divide the sum, the one is taken
that widens the gap of few and short nets: a supply of 300 V among forty signals, not the forty
signals.

Metal at 0 V (the board's edge, screws) is one more neighbour of a floating area. No cut can widen
its own gap: every net next to the area makes up for what that gap lacks.

Between two nets with no floating copper in their gap nothing can be widened: what is drawn too
near stays too near, and gives a finding.

A net may border on a floating area with pads and with the rest of its copper; where the gap between
two pads is judged by a column of its own, each of the two has a gap of its own.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offset
from millprep.geometry.path import Point
from millprep.model.job.nets import NetFacts
from millprep.standards.spacing import Column, required

ENOUGH = 1e-9
"""A gap short by less is wide enough, mm."""
METAL = NetFacts("metal", ("",), (0.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingRules:
    """The spacing that the rules require.

    Attributes:
        column: of the table.
        pad_column: column for the gap between two pads; None for `column` there too.
        least_counted: gaps narrower than this count as nothing, mm.
    """

    column: Column = "B2"
    pad_column: Column | None = None
    least_counted: float = 0.0

    def counted(self, gap: float) -> float:
        """A gap as the rules count it."""
        return gap if gap >= self.least_counted else 0.0

    def between(self, net_copper: NetCopper, other: NetCopper) -> Column:
        """The column that counts between two sides."""
        return (
            self.pad_column if self.pad_column and net_copper.pads and other.pads else self.column
        )


@dataclass(frozen=True, slots=True)
class NetCopper:
    """The copper of a net that borders on a floating area: its pads, or the rest of it."""

    net: NetFacts
    pads: bool = False

    @property
    def key(self) -> Key:
        """Its name among others."""
        return (self.net.name, self.pads)


Key = tuple[str, bool]
"""(net, whether it is that net's pads)."""


def pairs(sides: Sequence[NetCopper]) -> Iterator[tuple[NetCopper, NetCopper]]:
    """Every two sides of different nets, both ways round."""
    for permutation, other in itertools.permutations(sides, 2):
        if permutation.net.name != other.net.name:
            yield permutation, other


def needed(net_copper: NetCopper, other: NetCopper, rules: SpacingRules) -> float:
    """The spacing that the volts between two sides require, mm."""
    volts = net_copper.net.volts_to(other.net)
    assert volts is not None, "nets without volts are floating"
    return required(volts, rules.between(net_copper, other))


def gaps(
    sides: Sequence[NetCopper],
    lengths: Mapping[Key, float],
    rules: SpacingRules,
    least: float,
    metal: float | None = None,
) -> dict[Key, float]:
    """The gap that every side needs to floating copper that all of them border on, in mm.

    Any two add up to what their volts require, a gap below the least counted as nothing.

    Args:
        sides: of nets with volts.
        lengths: of their edges: of two solutions the one is taken that widens along less.
        rules: required spacing.
        least: gap that isolation opens in any case, mm.
        metal: how far metal at 0 V is from the floating copper, mm; None where there is none.
    """
    floor = {side.key: least for side in sides}
    need: dict[Key, dict[Key, float]] = {side.key: {} for side in sides}
    for side, other in pairs(sides):
        need[side.key][other.key] = needed(side, other, rules)
    for side in sides if metal is not None else ():
        assert metal is not None
        more = needed(side, NetCopper(METAL), rules) - rules.counted(metal)
        if more > rules.counted(least):
            floor[side.key] = max(least, rules.least_counted, more)
    wide = dict(floor)

    def enough(key: Key) -> float:
        """The gap of a side that holds against all others as they are."""
        short = [more - rules.counted(wide[other]) for other, more in need[key].items()]
        most = max(short, default=0.0)
        if most <= rules.counted(floor[key]) + ENOUGH:
            return floor[key]
        return max(floor[key], rules.least_counted, most)

    def gain(key: Key) -> float:
        """How much of what is missing a wider gap of one side adds, for each mm along it."""
        lacks = [
            more - rules.counted(wide[key]) - rules.counted(wide[other])
            for other, more in need[key].items()
        ]
        return sum(lack for lack in lacks if lack > ENOUGH) / max(lengths[key], ENOUGH)

    while wide:
        name = max(sorted(wide), key=gain)
        if gain(name) == 0:
            break
        wide[name] = enough(name)
    # what was widened first may no longer need it; the longest sides gain most by it
    for name in sorted(wide, key=lambda side: (-lengths[side], side)):
        wide[name] = enough(name)
    return wide


SPARE = 0.01
"""Gaps are widened by this much more, for the rounding of curves, mm."""
BORDERS = 0.02
"""Floating copper borders on what is at most this much farther than the groove is wide, mm."""
NOTHING = shapely.Polygon()


@dataclass(frozen=True, slots=True)
class DrawnTooNear:
    """Two nets that are drawn nearer than their voltage allows.

    Attributes:
        gap: between their copper at its foot, mm.
        at: in the frame of the pieces.
        column: of the table.
    """

    net: str
    other: str
    volts: float
    gap: float
    required: float
    at: Point
    column: Column


@dataclass(frozen=True, slots=True)
class Widened:
    """What to clear for the voltages, and what no cutting can correct.

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
    rules: SpacingRules,
    *,
    gap: float,
    skirt: float,
    metal: Sequence[BaseGeometry] = (),
    pads: BaseGeometry = NOTHING,
) -> Widened:
    """Which floating copper must go for the voltages between nets.

    Args:
        floating: copper that isolation leaves and that belongs to no piece.
        pieces: the drawn copper of one copy, by id.
        nets: of that copy; those without volts count as floating.
        rules: required spacing.
        gap: that isolation opens around every piece, at the foot.
        skirt: how far the foot of the copper reaches beyond its drawn edge, mm.
        metal: what counts as metal at 0 V: a line along the edge, what screws cover.
        pads: where the copper is pad, if pads are judged by a column of their own.
    """
    with_volts = [net for net in nets if net.volts is not None]
    shapes: dict[Key, BaseGeometry] = {}
    sides: list[NetCopper] = []
    for net in with_volts:
        whole = shapely.union_all([pieces[p] for p in net.pieces if p in pieces])
        on_pads = shapely.intersection(whole, pads) if rules.pad_column else NOTHING
        rest = shapely.difference(whole, pads) if rules.pad_column else whole
        for side, shape in ((NetCopper(net), rest), (NetCopper(net, pads=True), on_pads)):
            if not shape.is_empty:
                sides.append(side)
                shapes[side.key] = shape
    owned = {piece for side in sides for piece in side.net.pieces}
    free = [shape for piece, shape in pieces.items() if piece not in owned]
    reach = skirt + gap + BORDERS
    strips: list[BaseGeometry] = []
    most: dict[str, float] = {}
    for stones in _together(floating, free, reach):
        area = shapely.union_all(stones)
        near = [side for side in sides if shapely.dwithin(area, shapes[side.key], reach)]
        lengths = {side.key: float(shapes[side.key].length) for side in near}
        away = min(
            (float(shapely.distance(area, metal_part)) for metal_part in metal), default=None
        )
        for key, wide in gaps(near, lengths, rules, gap, away).items():
            if wide > gap:
                strip = offset(shapes[key], skirt + wide + SPARE)
                strips.append(shapely.intersection(strip, shapely.intersection(area, floating)))
                most[key[0]] = max(most.get(key[0], 0.0), wide)
    return Widened(
        shapely.union_all(strips) if strips else shapely.Polygon(),
        most,
        tuple(_too_near(sides, shapes, rules, skirt)),
    )


def _together(
    floating: BaseGeometry, free: Sequence[BaseGeometry], reach: float
) -> list[list[BaseGeometry]]:
    """Floating areas in groups: those of one group border on one another or on free pieces."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    areas = [*shapely.get_parts(floating), *free]
    shapes = np.asarray(areas, dtype=object)
    pairs_ = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=reach)
    borders = coo_array((np.ones(pairs_.shape[1]), pairs_), shape=(len(areas), len(areas)))
    _, labels = connected_components(borders, directed=False)
    groups: dict[int, list[BaseGeometry]] = {}
    for label, area in zip(labels.tolist(), areas, strict=True):
        groups.setdefault(label, []).append(area)
    return list(groups.values())


def _too_near(
    sides: Sequence[NetCopper],
    shapes: Mapping[Key, BaseGeometry],
    rules: SpacingRules,
    skirt: float,
) -> list[DrawnTooNear]:
    """For every pair of nets the two sides that lack most."""
    worst: dict[tuple[str, str], DrawnTooNear] = {}
    for side, other in pairs(sides):
        names = (side.net.name, other.net.name)
        a, b = shapes[side.key], shapes[other.key]
        least = needed(side, other, rules)
        if names[::-1] in worst or not shapely.dwithin(a, b, least + 2 * skirt):
            continue
        line = shapely.shortest_line(a, b)
        gap = float(line.length) - 2 * skirt
        known = worst.get(names)
        if gap + 1e-6 < least and (known is None or gap - least < known.gap - known.required):
            volts = side.net.volts_to(other.net)
            assert volts is not None
            at = line.interpolate(0.5, normalized=True)
            worst[names] = DrawnTooNear(
                *names, volts, gap, least, (at.x, at.y), rules.between(side, other)
            )
    return sorted(worst.values(), key=lambda pair: pair.gap - pair.required)
