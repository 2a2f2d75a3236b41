"""Arcs as lines, for machines that know no arcs."""

from __future__ import annotations

import math
from collections.abc import Iterator

from millprep.model.dialect import FLATTENED
from millprep.model.program import Move

At = tuple[float, float, float]


def lines(move: Move, at: At) -> Iterator[Move]:
    """An arc from `at` as feeds whose ends lie on it, off it by no more than `FLATTENED`."""
    assert move.i is not None
    assert move.j is not None
    x, y, z = at
    cx, cy = x + move.i, y + move.j
    radius = math.hypot(move.i, move.j)
    first = math.atan2(y - cy, x - cx)
    sign = 1.0 if move.motion == "arc_ccw" else -1.0
    sweep = (sign * (math.atan2(move.y - cy, move.x - cx) - first)) % (2 * math.pi)
    sweep = sweep or 2 * math.pi
    # a chord over the angle a runs radius · (1 - cos(a / 2)) inside of its arc
    widest = 2 * math.acos(max(1 - FLATTENED / radius, 0.0))
    count = math.ceil(sweep / widest - 1e-9)
    for n in range(1, count):
        turned = first + sign * sweep * n / count
        yield Move(
            "feed",
            cx + radius * math.cos(turned),
            cy + radius * math.sin(turned),
            z + (move.z - z) * n / count,
            feed=move.feed,
        )
    yield move._replace(motion="feed", i=None, j=None)
