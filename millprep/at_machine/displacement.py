"""How far a blank lies from where it was expected."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from millprep.at_machine.reading_fit import Fit
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose

FARTHEST = 25.0
"""A blank put back by hand lies within this distance of its planned place, mm: common
practice, no source. What is farther off is a mistake in the readings or in the set-up."""
LARGEST_TURN = 5.0
"""And it is turned by less than this, degrees; also common practice."""


def near(found: Fit, expected: Pose, places: Sequence[Point]) -> bool:
    """Whether the blank lies about where it was expected."""
    return abs(turn(found.pose, expected)) <= LARGEST_TURN and (
        farthest(found.pose, expected, places) <= FARTHEST
    )


def turn(pose: Pose, expected: Pose) -> float:
    """Degrees by which one pose is turned from another, counter-clockwise."""
    relative = expected.inverse().then(pose)
    return math.degrees(math.atan2(relative.d, relative.a))


def farthest(pose: Pose, expected: Pose, places: Sequence[Point]) -> float:
    """The largest distance between the images of the holes."""
    off = pose.points(places) - expected.points(places)
    return float(np.hypot(*off.T).max())
