"""Moves with few decimals, so that text and table hold the same places and arcs stay arcs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from millprep.gcode.lines import At, lines
from millprep.model.program import Move

SHORTEST = 20
"""An arc whose chord is shorter than so many last digits is told as lines: rounded, its ends
could change places, and a controller would run the full circle."""
MISMATCH = 0.0019
"""Radii at the two ends of an arc may differ by no more, mm; 0.002 is allowed by NISTIR 6556,
3.5.3.2."""


def rounded(moves: Iterable[Move], start: At, decimals: int) -> Iterator[Move]:
    """The moves with all places on the grid of the last digit.

    Start and centre of an arc would be rounded each on its own; here the centre is told anew
    for the rounded ends, or the arc as lines where that does not hold.
    """
    true, at = start, place(start, decimals)
    for move in moves:
        if move.i is None:
            yield _on_grid(move, decimals)
        else:
            arc = _arc(move, true, at, decimals)
            if arc is not None:
                yield arc
            else:
                for line in lines(move, true):
                    yield _on_grid(line, decimals)
        true = (move.x, move.y, move.z)
        at = place(true, decimals)


def place(at: At, decimals: int) -> At:
    """The nearest place on the grid of the last digit."""
    x, y, z = at
    return (round(x, decimals), round(y, decimals), round(z, decimals))


def _on_grid(move: Move, decimals: int) -> Move:
    x, y, z = place((move.x, move.y, move.z), decimals)
    feed = None if move.feed is None else round(move.feed, decimals)
    return move._replace(x=x, y=y, z=z, feed=feed)


def _arc(move: Move, true: At, at: At, decimals: int) -> Move | None:
    """The arc between rounded ends; None where none fits."""
    assert move.i is not None
    assert move.j is not None
    end = place((move.x, move.y, move.z), decimals)
    across = (end[0] - at[0], end[1] - at[1])
    chord = math.hypot(*across)
    if chord < SHORTEST * 10**-decimals:
        return None
    centre = (true[0] + move.i, true[1] + move.j)
    # as far from one end as from the other: moved along the chord until it stands over its middle
    off = sum(
        ((a + b) / 2 - c) * w for a, b, c, w in zip(at, end, centre, across, strict=False)
    )
    i, j = (
        round(c + off * w / chord**2 - a, decimals)
        for c, w, a in zip(centre, across, at, strict=False)
    )
    if abs(math.hypot(i, j) - math.dist(end[:2], (at[0] + i, at[1] + j))) > MISMATCH:
        return None
    return _on_grid(move, decimals)._replace(i=i, j=j)
