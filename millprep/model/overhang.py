"""Where a blank hangs over the travel so far that it would tip, and where to hold it up.

The bed is taken to end where the travel does; nobody states more of it. A uniform sheet of
which more than half hangs over tips off a straight edge. A prop two thirds of the way out
keeps it level: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box

PROP = 2 / 3
"""Share of the overhang at which a prop stands."""
WORTH = 1.0
"""Less than this hangs over nothing, mm."""


@dataclass(frozen=True, slots=True)
class Overhang:
    """What hangs over one side of the travel.

    Attributes:
        side: left, right, front or back.
        by: how far, mm.
        share: of the blank's length that way, 0 to 1.
        prop: where to hold it up, machine frame.
    """

    side: str
    by: float
    share: float
    prop: Point


def overhangs(pose: Pose, blank: Blank, travel: Box) -> tuple[Overhang, ...]:
    """What of a blank hangs over each side of the travel in a pass."""
    x0, y0, x1, y1 = pose.shape(shapely.box(0.0, 0.0, *blank.size)).bounds
    length, width = x1 - x0, y1 - y0
    # a prop stands in the middle of what lies over the bed across
    x = (max(x0, travel.x0) + min(x1, travel.x1)) / 2
    y = (max(y0, travel.y0) + min(y1, travel.y1)) / 2
    found = (
        ("left", travel.x0 - x0, length, (travel.x0 - PROP * (travel.x0 - x0), y)),
        ("right", x1 - travel.x1, length, (travel.x1 + PROP * (x1 - travel.x1), y)),
        ("front", travel.y0 - y0, width, (x, travel.y0 - PROP * (travel.y0 - y0))),
        ("back", y1 - travel.y1, width, (x, travel.y1 + PROP * (y1 - travel.y1))),
    )
    return tuple(
        Overhang(side, by, by / whole, (round(at[0], 1), round(at[1], 1)))
        for side, by, whole, at in found
        if by > WORTH
    )
