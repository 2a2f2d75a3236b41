"""Two passes with the blank turned by half a turn between them, for a machine with an open side.

The blank's low corner lies at the same place of the machine in both passes, once its own and
once the one across; what lies beyond the travel hangs over the same side both times. Scale and
squareness cancel at the joins as for a shift, since half a turn commutes with every linear map;
the screw's periodic error does not, for the two halves run along the screw in opposite senses.
"""

from __future__ import annotations

import math

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.finding import Finding, Refusal
from millprep.model.machine import Machine
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.shift import ShiftPlan, outside


def plan(
    need: Box,
    machine: Machine,
    origin: Point,
    least_overlap: float,
    size: tuple[float, float],
    blank: int,
) -> ShiftPlan:
    """One pass where that is enough, else two, half a turn apart.

    Args:
        need: extent of the cutters' axes, blank frame.
        machine: its travel.
        origin: machine coordinates of the corner that lies lowest, in both passes.
        least_overlap: what the two windows must share.
        size: of the blank.
        blank: number, for findings.

    Raises:
        Refusal: when the travel holds less than half of the blank and the overlap, or is too
            narrow across, with a travel that is enough.
    """
    t = machine.reachable
    first = Box(t.x0 - origin[0], t.y0 - origin[1], t.x1 - origin[0], t.y1 - origin[1])
    second = Box(size[0] - first.x1, size[1] - first.y1, size[0] - first.x0, size[1] - first.y0)
    findings = outside(need, first, origin, blank, machine)
    low, high = (need.x0, need.y0), (need.x1, need.y1)
    ends = ((first.x0, first.x1), (first.y0, first.y1))
    long = [a for a in (0, 1) if high[a] > ends[a][1] + 1e-9]
    if not findings and not long:
        return ShiftPlan(0, 0.0, (Pose.shift(*origin),), (first,))
    axis = long[0] if long else 0
    for a in (0, 1):
        start, end = ends[a]
        # how far the travel must reach, from the blank's low corner
        reach = (size[a] + least_overlap) / 2
        if a != axis:
            reach = max(high[a], size[a] - low[a])
        if end < reach - 1e-9:
            findings.append(_too_short(a, machine, end - start, reach - start, blank))
        # the far end is the low end of the second pass
        over = high[a] - (size[a] - start)
        if over > 1e-9:
            findings.append(_beyond(a, origin[a] + over, blank))
    if findings:
        raise Refusal(findings)
    turned = Pose.turn(180).then(Pose.shift(size[0] + origin[0], size[1] + origin[1]))
    shift = (second.x0 - first.x0, second.y0 - first.y0)[axis]
    return ShiftPlan(axis, shift, (Pose.shift(*origin), turned), (first, second), turned=True)


def turn_findings(
    made: ShiftPlan, holes: tuple[RegistrationHole, ...], blank: int
) -> tuple[Finding, ...]:
    """A note on how a turned blank goes back."""
    if not made.turned:
        return ()
    places = "; ".join(
        f"{h.id} at {h.machine[0]:.3f}, {h.machine[1]:.3f}" for h in holes if h.used_in == 2
    )
    return (
        Finding(
            code="blank-turned",
            severity="note",
            message=(
                f"Between passes 1 and 2 blank {blank} is turned by half a turn, copper side up, "
                f"so that its far end is where the near one was. Its holes are then on the machine "
                f"at: {places}. The larger one is the key: the blank goes on one way only."
            ),
            blank=blank,
            mill_pass=2,
        ),
    )


def _too_short(axis: int, machine: Machine, length: float, least: float, blank: int) -> Finding:
    # rounded up, so that the value named is enough
    enough = math.ceil((least + 2 * machine.travel_margin) * 10 - 1e-6) / 10
    return Finding(
        code="travel-too-short",
        severity="stop",
        message=(
            f"[setup] turn gives two passes, and {machine.reachable_words} is {length:.1f} mm in "
            f"{'xy'[axis]}: too short for what each of them must reach. Use a travel of at least "
            f"{enough:.1f} mm, or leave turn out to move the blank along instead."
        ),
        blank=blank,
    )


def _beyond(axis: int, least: float, blank: int) -> Finding:
    return Finding(
        code="outside-travel",
        severity="stop",
        message=(
            f"Turned, the cut at the far end of the blank begins before the travel in "
            f"{'xy'[axis]}. Move the blank: [setup] origin[{axis}] at least {least:.3f}."
        ),
        blank=blank,
        mill_pass=2,
    )
