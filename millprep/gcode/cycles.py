"""Straight drilling as the cycles G81 and G83: NISTIR 6556, section 3.5.16.

R is the height of rapid moves, so that down to the copper the drill feeds as it does without
cycles: a cutter zeroed a little wrongly would meet it at rapid otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from millprep.gcode.lines import At
from millprep.model.cutter import Drill
from millprep.model.program import Cycle, Move

RETRACTED = 0.254
"""G83 goes back at rapid to this far above where it was, mm (0.010 inch)."""


def cycles(
    moves: Sequence[Move], start: At, drill: Drill, clearance: float, decimals: int
) -> list[Move]:
    """The moves with every hole that is drilled straight down turned into a cycle's motions.

    A deep hole, for which the drill withdraws, becomes pecks of one depth, as G83 makes them,
    none deeper than the drill is wide.
    """
    found: list[Move] = []
    at, n = start, 0
    while n < len(moves):
        feeds = list(_strokes(moves, n, at, clearance))
        if not feeds:
            found.append(moves[n])
            at = moves[n][1:4]
            n += 1
            continue
        peck = _peck(clearance - feeds[-1].z, drill.diameter, decimals) if feeds[1:] else 0.0
        cycle = Cycle(at[0], at[1], feeds[-1].z, clearance, peck, feeds[-1].feed or 0.0)
        over = Move("rapid", at[0], at[1], clearance, cycle=cycle)
        if found and found[-1].motion == "rapid" and _over(found[-1], at, clearance):
            found.pop()
        found += [over, *_motions(cycle)]
        n += 2 * len(feeds)
    return found


def _over(move: Move, at: At, clearance: float) -> bool:
    """Whether a rapid may become the cycle's own: it goes across at clearance."""
    return move.cycle is None and (move.x, move.y, move.z) == (*at[:2], clearance)


def _strokes(moves: Sequence[Move], first: int, at: At, clearance: float) -> Iterator[Move]:
    """The feeds straight down from clearance at one place, each with its way up after it."""
    x, y, z = at
    depth = math.inf
    if z != clearance:
        return
    for down, up in zip(moves[first::2], moves[first + 1 :: 2], strict=False):
        plain = not (down.wait or down.stop or up.wait or up.stop)
        straight = down.motion == "feed" and (down.x, down.y) == (x, y) and down.z < depth
        back = up.motion == "rapid" and (up.x, up.y, up.z) == (x, y, clearance)
        if not (plain and straight and back):
            return
        yield down
        depth = down.z


def _peck(way: float, diameter: float, decimals: int) -> float:
    """Depth of one peck on a way from R to the floor, on the grid of the last digit.

    The last peck falls short of the others by a digit at least, so that no rounding decides
    whether one more follows.
    """
    whole = round(way * 10**decimals)
    count = math.ceil(way / diameter - 1e-9)
    each = math.ceil(whole / count)
    return float((each + (each * count == whole)) / 10**decimals)


def _motions(cycle: Cycle) -> Iterator[Move]:
    """What a controller makes of the cycle, once over the hole."""
    x, y, floor, top, peck, feed = cycle
    reached = top - peck
    while peck > 0 and reached > floor:
        yield Move("feed", x, y, reached, feed=feed, cycle=cycle)
        yield Move("rapid", x, y, top, cycle=cycle)
        yield Move("rapid", x, y, reached + RETRACTED, cycle=cycle)
        reached -= peck
    yield Move("feed", x, y, floor, feed=feed, cycle=cycle)
    yield Move("rapid", x, y, top, cycle=cycle)
