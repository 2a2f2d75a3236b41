"""The line that a blank is turned over about, and the two pins on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.finding import Refusal, stop
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole

STEP = 0.5
"""Pins are at whole steps from the blank's corner, mm, so that a rule finds them."""
ODD = 3.0
"""Turned the wrong way round, a blank lies this far off, mm, where there is room, and it shows."""
SPAN = 0.5
"""The pins are at least this part of the blank's length apart."""


@dataclass(frozen=True, slots=True)
class Turning:
    """How a blank is turned over.

    Attributes:
        pose: blank to machine, turned over.
        holes: of the pins, on the line that it is turned over about.
        along: the side that the line runs along, 0 for the blank's x, 1 for its y.
        off: by how much the blank lies off when it is turned the wrong way round, mm.
    """

    pose: Pose
    holes: tuple[RegistrationHole, ...]
    along: int
    off: float

    @property
    def words(self) -> str:
        """What a person does."""
        (x0, y0), (x1, y1) = (hole.machine for hole in self.holes)
        along = "X" if abs(x1 - x0) > abs(y1 - y0) else "Y"
        wrong = (
            f"The other way round it lies {self.off:g} mm off along {along}"
            if self.off >= ODD
            else "Mark one of the holes and its pin first: it fits the other way round as well"
        )
        return (
            f"turn the blank over about the line through its pins, which runs along {along}: each "
            f"pin keeps its hole. {wrong}"
        )


def _ends(good: FloatArray, length: float) -> tuple[float, float]:
    """Two of these places, far apart and `ODD` off the middle, or as they can be without that."""
    low, high = float(good[0]), float(good[-1])
    odd = [(low, float(t)) for t in good] + [(float(t), high) for t in good]
    odd = [(a, b) for a, b in odd if abs(a + b - length) >= ODD and b - a >= SPAN * length]
    return max(odd, key=lambda ends: ends[1] - ends[0], default=(low, high))


def turning(plan: JobPlan, blank: Blank, mill_pass: MillingPass, cut: BaseGeometry) -> Turning:
    """The pins of a blank, as far apart as there is room.

    Args:
        plan: the job.
        blank: a rectangle.
        mill_pass: its only pass.
        cut: what the pass cuts, blank frame.

    Raises:
        Refusal: when the margins have no room for two pins.
    """
    registration = plan.registration
    keep = registration.hole / 2 + registration.wall
    back = mill_pass.pose.inverse()
    clamps = [back.shape(clamp.box.shape) for clamp in plan.setup.clamps if clamp.on_in(1)]
    denied = shapely.union_all([cut, *clamps, shapely.Point(back.point(mill_pass.touch))])
    reach = back.shape(plan.machine.reachable.shape)
    inside = shapely.box(0, 0, *blank.size).buffer(-keep, join_style="mitre")
    # the axis of what bores them stays within the travel
    bored = shapely.intersection(inside, reach.buffer(-registration.hole / 2, join_style="mitre"))
    free = shapely.difference(bored, denied.buffer(keep))
    width, height = blank.size
    for along in (0, 1) if width >= height else (1, 0):
        middle, length = blank.size[1 - along] / 2, blank.size[along]
        t = np.arange(STEP, length, STEP)
        u, v = (t, np.full_like(t, middle)) if along == 0 else (np.full_like(t, middle), t)
        good = t[shapely.intersects_xy(free, u, v)]
        if not len(good) or good[-1] - good[0] < SPAN * length:
            continue
        first, last = _ends(good, length)
        over = Pose.mirror_y(height) if along == 0 else Pose(a=-1.0, c=width)
        places: list[Point] = [(s, middle) if along == 0 else (middle, s) for s in (first, last)]
        holes = tuple(
            RegistrationHole(
                f"t{n}", at, mill_pass.pose.point(at), registration.hole, "locate", 1, 1,
                pin=f"p{n}",
            )
            for n, at in enumerate(places, 1)
        )  # fmt: skip
        return Turning(
            over.then(mill_pass.pose), holes, along, round(abs(first + last - length), 3)
        )
    words = (
        "No room for two pins on a line through the blank's middle: each needs "
        f"{2 * keep:.1f} mm of laminate that nothing cuts and no clamp covers. Give [blank] a "
        "wider margin or a larger size, or move the clamps from the middle of its sides."
    )
    raise Refusal([stop("legend-no-room", words)])
