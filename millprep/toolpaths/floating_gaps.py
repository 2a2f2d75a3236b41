"""Required gaps divided among nets that border on one floating area.

A net may border on it with pads and with the rest of its copper; where the gap between two pads
is judged by a column of its own, each of the two has a gap of its own.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from millprep.model.net import NetFacts
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
