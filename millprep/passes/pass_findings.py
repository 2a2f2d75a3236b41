"""Findings about where the blank lies in each pass: the screw's turns, overhang, a turned blank."""

from __future__ import annotations

import math

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box, overhangs
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.passes.shift import ShiftPlan, plan


def check_screw_turns(made: ShiftPlan, machine: Machine, blank: int) -> tuple[Finding, ...]:
    """A warning for every shift that is no whole number of turns of the screw, if known."""
    lead = machine.screw_lead
    if not lead or made.turned:
        return ()
    first, findings = made.windows[0], []
    stated = machine.periodic_error
    amplitude = 0.01 if stated is None else stated
    source = "an assumed amplitude of 0.01 mm" if stated is None else f"the stated {stated:g} mm"
    for a, name in enumerate("xy"):
        shifts = {
            round(low - (first.x0, first.y0)[a], 9)
            for w in made.windows
            if (low := (w.x0, w.y0)[a]) > (first.x0, first.y0)[a] + 1e-9
        }
        if not shifts:
            continue
        shift = min(shifts)
        turns = shift / lead
        if abs(turns - round(turns)) < 1e-6:
            continue
        # two places D apart on a sine of amplitude A differ by at most 2A·|sin(πD / lead)|
        share = 2 * abs(math.sin(math.pi * turns))
        findings.append(
            Finding(
                code="shift-not-whole-turns",
                severity="warn",
                message=(
                    f"The blank moves by {shift:g} mm in {name}: {turns:.3f} turns of the screw "
                    f"({lead:g} mm lead), so the screw's periodic error does not cancel at the "
                    f"joins. They are off by up to {share:.2f} times its amplitude, "
                    f"{amplitude * share:.3f} mm with {source}. Use a little more travel or a "
                    "shorter board."
                ),
                blank=blank,
            )
        )
    return tuple(findings)


def check_origin(
    made: ShiftPlan, need: Box, machine: Machine, origin: Point, least_overlap: float, blank: int
) -> tuple[Finding, ...]:
    """A warning where the blank lies so far off that more passes are needed than elsewhere.

    Args:
        made: the passes at the origin that the job states.
        need: extent of the cutters' axes, blank frame.
        machine: its travel.
        origin: as the job states it, machine frame.
        least_overlap: what two windows share at least.
        blank: its number.
    """
    if made.turned or len(made.poses) == 1:
        return ()
    reach = machine.reachable
    # whole millimetres, so that it can be set with a rule
    better = (math.ceil(reach.x0 - need.x0), math.ceil(reach.y0 - need.y0))
    count = len(plan(need, machine, better, least_overlap, blank).poses)
    if count >= len(made.poses):
        return ()
    return (
        Finding(
            code="origin-costs-passes",
            severity="warn",
            message=(
                f"With its corner at X{origin[0]:g} Y{origin[1]:g} blank {blank} takes "
                f"{len(made.poses)} passes, because the travel ends on it. With [setup] origin = "
                f"[{better[0]}, {better[1]}] it takes {count}."
            ),
            frame="machine",
            at=origin,
            blank=blank,
        ),
    )


def overhang_findings(pose: Pose, blank: Blank, travel: Box, number: int) -> tuple[Finding, ...]:
    """A note for every side over which more than half of the blank hangs."""
    return tuple(
        Finding(
            code="blank-overhangs",
            severity="note",
            message=(
                f"In pass {number} blank {blank.number} overhangs the {side.side} end of the "
                f"travel by {side.by:.0f} mm, {100 * side.share:.0f} % of its length, and tips. "
                "Support it there, level with the spoilboard, at about "
                f"X {side.prop[0]:g}, Y {side.prop[1]:g} of the machine."
            ),
            frame="machine",
            at=side.prop,
            blank=blank.number,
            mill_pass=number,
        )
        for side in overhangs(pose, blank, travel)
        if side.share > 0.5
    )
