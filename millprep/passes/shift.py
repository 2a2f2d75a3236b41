"""The shift plan: the fewest passes, a constant shift, a window for each.

The blank moves by the same distance D between passes, along the axis in which it is too
long for the travel. Pass k sees the blank at its first place less (k - 1)·D.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely

from millprep.values.blank import Box
from millprep.values.finding import Finding, Refusal
from millprep.values.machine import Machine
from millprep.values.path import Point
from millprep.values.pose import Pose

RESERVE = 2.0
"""Travel left over at the far end in the last pass, mm, where the fewest passes allow it: a
blank never lies exactly where it was planned, and a refit has to reach its end all the same."""


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """Where the blank lies in each pass.

    Attributes:
        axis: 0 when the blank moves along x, 1 along y.
        shift: D, how far it moves between passes; 0 for one pass.
        poses: blank to machine, one per pass.
        windows: what the cutter's axis reaches, blank frame, one per pass.
    """

    axis: int
    shift: float
    poses: tuple[Pose, ...]
    windows: tuple[Box, ...]

    def overlap(self, k: int) -> Box:
        """What windows k and k + 1 (from 0) share, blank frame."""
        a, b = self.windows[k], self.windows[k + 1]
        return Box(max(a.x0, b.x0), max(a.y0, b.y0), min(a.x1, b.x1), min(a.y1, b.y1))

    def low(self, k: int) -> float:
        """Where window k begins along the axis."""
        return (self.windows[k].x0, self.windows[k].y0)[self.axis]

    def high(self, k: int) -> float:
        """Where window k ends along the axis."""
        return (self.windows[k].x1, self.windows[k].y1)[self.axis]

    def polygon(self, k: int) -> shapely.Polygon:
        """Window k as an area."""
        w = self.windows[k]
        return shapely.box(w.x0, w.y0, w.x1, w.y1)


def plan(
    need: Box, machine: Machine, origin: Point, least_overlap: float, blank: int
) -> ShiftPlan:
    """The fewest passes that reach everything.

    Args:
        need: extent of the cutters' axes, blank frame.
        machine: its travel and screw lead.
        origin: machine coordinates of the blank's low corner in the first pass.
        least_overlap: what two windows must share so that registration holes and joins fit.
        blank: number, for findings.

    Raises:
        Refusal: when the first window does not hold the low end, or both sides are too long.
    """
    t = machine.travel
    first = Box(t.x0 - origin[0], t.y0 - origin[1], t.x1 - origin[0], t.y1 - origin[1])
    low, high = (need.x0, need.y0), (need.x1, need.y1)
    w_low, w_high = (first.x0, first.y0), (first.x1, first.y1)
    names = "xy"
    findings = [
        Finding(
            code="outside-travel",
            severity="stop",
            message=(
                f"The cut begins at {names[a]} {low[a]:.3f} mm of the blank, the machine's travel "
                f"at {w_low[a]:.3f}. Move the blank: [setup] origin[{a}] at least "
                f"{origin[a] + w_low[a] - low[a]:.3f}."
            ),
            frame="blank",
            at=low,
            blank=blank,
        )
        for a in (0, 1)
        if low[a] < w_low[a] - 1e-9
    ]
    long = [a for a in (0, 1) if high[a] > w_high[a] + 1e-9]
    if len(long) == 2:
        findings.append(
            Finding(
                code="too-large-both-ways",
                severity="stop",
                message=(
                    f"The cut spans {high[0] - low[0]:.1f} × {high[1] - low[1]:.1f} mm, the travel "
                    f"holds {w_high[0] - low[0]:.1f} × {w_high[1] - low[1]:.1f} mm from where the "
                    "blank lies: a blank can be moved along one side only. Turn the board, make "
                    "it narrower, or use a machine with more travel in one of the two."
                ),
                frame="blank",
                at=high,
                blank=blank,
            )
        )
    if findings:
        raise Refusal(findings)
    axis = long[0] if long else 0
    length = w_high[axis] - w_low[axis]
    rest = high[axis] - w_high[axis]
    if rest <= 1e-9:
        return ShiftPlan(axis, 0.0, (Pose.shift(*origin),), (first,))
    largest = length - least_overlap
    if largest <= 0:
        raise Refusal(
            [
                Finding(
                    code="travel-too-short",
                    severity="stop",
                    message=(
                        f"Two passes must share {least_overlap:.1f} mm for registration holes and "
                        f"joins, the travel in {names[axis]} is {length:.1f} mm. A travel of at "
                        f"least {least_overlap * 1.5:.0f} mm would do."
                    ),
                    blank=blank,
                )
            ]
        )
    count = 1 + math.ceil(rest / largest - 1e-9)
    least = min((rest + RESERVE) / (count - 1), largest)
    shift = _shift(least, rest / (count - 1), largest, machine.screw_lead)
    poses, windows = [], []
    for k in range(count):
        dx, dy = (k * shift, 0.0) if axis == 0 else (0.0, k * shift)
        poses.append(Pose.shift(origin[0] - dx, origin[1] - dy))
        windows.append(Box(first.x0 + dx, first.y0 + dy, first.x1 + dx, first.y1 + dy))
    return ShiftPlan(axis, shift, tuple(poses), tuple(windows))


def _shift(least: float, barely: float, largest: float, lead: float | None) -> float:
    """The least shift that serves, a multiple of the screw's lead where one fits.

    A shift by whole turns of the screw repeats its periodic error, so it cancels at the join;
    that is worth more than a reserve, so `barely`, the least without one, may serve as well.
    """
    if lead:
        for enough in (least, barely):
            turns = math.ceil(enough / lead - 1e-9)
            if turns * lead <= largest + 1e-9:
                return turns * lead
    # whole millimetres are easier to check with a rule
    return math.ceil(least) if math.ceil(least) <= largest else least
