"""How the blank lies in each pass: straight in pass 1, turns of the screw, overhang, turned.

What is cut keeps its shape however the blank lies, since later passes find it by its holes. But a
blank that is turned about its lower-left corner by θ takes its edges with it: a place (x, y) of
the pattern then lies at (x + θ·y, y - θ·x) on the blank. So the turn is limited by what must stay
on the laminate: the boards with the cut around them, and the registration holes with half of their
walls. Half of that turn is allowed, the other half is left for an error of the corner.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box, Placement, overhangs
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.milling_pass import EdgeCheck, RegistrationHole
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


SHARE = 0.5
"""Of the room, what the turn may take; of a registration hole's wall, what must stay."""
STEP = 10.0
"""The second point is so many mm along the edge, times a whole number."""
CLEAR = 5.0
"""It is this far from the far corner at least, mm, where a corner may be rounded or chipped."""
LEAST = 3
"""And this many times `STEP` from the corner at least, or the angle cannot be seen."""


@dataclass(frozen=True, slots=True)
class _Kept:
    """What must stay on the laminate: corners (n, 2), the laminate left around them, its name."""

    corners: FloatArray
    around: float
    name: str


def edge_check(
    laminate: Blank,
    pose: Pose,
    travel: Box,
    clamped: BaseGeometry,
    placements: Sequence[Placement],
    holes: Sequence[RegistrationHole],
    kerf: float,
    wall: float,
) -> EdgeCheck | None:
    """A second point on the long edge of the blank in pass 1; None for an offcut or a short edge.

    Args:
        laminate: the blank.
        pose: blank to machine in pass 1.
        travel: of the machine; a person may go to its very ends.
        clamped: what clamps deny to it, machine frame.
        placements: boards on the blank.
        holes: registration holes of all passes.
        kerf: width of the cut around the boards, mm.
        wall: laminate that registration holes ask for around them, mm.
    """
    if laminate.outline is not None:
        return None
    long = 0 if laminate.size[0] >= laminate.size[1] else 1
    reach = laminate.size[long] - CLEAR
    along = next(
        (
            n * STEP
            for n in range(math.floor(reach / STEP), LEAST - 1, -1)
            if _seen(n * STEP, long, pose, travel, clamped)
        ),
        None,
    )
    if along is None:
        return None
    turns = [
        (_turn(kept, laminate.size), kept.name)
        for kept in _kept(laminate, placements, holes, kerf, wall)
    ]
    turn, limit = min(turns, default=(0.0, ""))
    at = (along, 0.0) if long == 0 else (0.0, along)
    # rounded down, so that what is printed is allowed
    within = math.floor(100 * SHARE * turn * along + 1e-9) / 100
    return EdgeCheck(pose.point(at), long, max(within, 0.0), limit)


def _seen(along: float, long: int, pose: Pose, travel: Box, clamped: BaseGeometry) -> bool:
    """Whether the spindle can be over a place of the edge."""
    at = pose.point((along, 0.0) if long == 0 else (0.0, along))
    return travel.contains(*at) and not shapely.intersects_xy(clamped, *at)


def _kept(
    laminate: Blank,
    placements: Sequence[Placement],
    holes: Sequence[RegistrationHole],
    kerf: float,
    wall: float,
) -> Iterator[_Kept]:
    """What must stay on the laminate; of a cut that leaves it as planned the board alone."""
    sheet = shapely.box(0.0, 0.0, *laminate.size)
    for placement in placements:
        hull = placement.pose.shape(placement.board.outline).convex_hull
        around = kerf if sheet.covers(hull.buffer(kerf - 1e-9, join_style="mitre")) else 0.0
        copy = f" copy {placement.copy}" if placement.copy > 1 else ""
        name = f"board {placement.board.name}{copy}"
        yield _Kept(shapely.get_coordinates(hull), around, name)
    for hole in holes:
        around = hole.diameter / 2 + SHARE * wall
        yield _Kept(shapely.get_coordinates(hole.spine), around, f"registration hole {hole.id}")


def _turn(kept: _Kept, size: tuple[float, float]) -> float:
    """How far the blank may be turned about its corner, either way, radians."""
    x, y = kept.corners.T
    around = kept.around
    room = np.concatenate((y - around, size[1] - around - y, x - around, size[0] - around - x))
    lever = np.concatenate((x, x, y, y))
    turns = np.where(lever > 1e-9, room / np.maximum(lever, 1e-9), math.inf)
    return max(float(turns.min()), 0.0)
