"""The shortest mismatch that a place is not known to stand, by a quadtree over all of them.

The plane of mismatches is covered by squares, the nearest to no mismatch first; a square that
its test does not vouch for is split, until one of the tolerance's size stays in doubt: its
nearest point is the answer.
"""

from __future__ import annotations

import heapq
import math
from typing import Protocol

TOLERANCE = 0.002
"""The answer is at most this far below the true one, mm."""


class Place(Protocol):
    """What can tell whether it stands a mismatch.

    Attributes:
        root: squares with sides of this times a power of two, both ways, are the best to ask
            about; 0 for any.
    """

    root: float

    def holds(self, middle: tuple[float, float], near: tuple[float, float], reach: float) -> bool:
        """Whether it stands every mismatch of a square, all within `reach` of its middle.

        `near` is the square's nearest point to no mismatch at all.
        """
        ...


def least(place: Place, most: float) -> float:
    """Length of the shortest mismatch that the place is not known to stand, or `most`."""
    half = most
    if TOLERANCE < place.root < most:
        half = place.root * 2 ** math.ceil(math.log2(most / place.root))
    squares = [(0.0, 0.0, 0.0, half)]
    while squares:
        away, x, y, half = heapq.heappop(squares)
        if away >= most:
            break
        reach = half * math.sqrt(2)
        near = (_toward(x, half), _toward(y, half))
        if place.holds((x, y), near, reach):
            continue
        # The square's nearest point is at most two of its reaches from its farthest.
        if 2 * reach <= TOLERANCE:
            return away
        quarter = half / 2
        for sx in (-quarter, quarter):
            for sy in (-quarter, quarter):
                cx, cy = x + sx, y + sy
                ax, ay = max(abs(cx) - quarter, 0.0), max(abs(cy) - quarter, 0.0)
                heapq.heappush(squares, (math.hypot(ax, ay), cx, cy, quarter))
    return most


def _toward(middle: float, half: float) -> float:
    """The number nearest to 0 of all within `half` of a middle."""
    return math.copysign(max(abs(middle) - half, 0.0), middle)
