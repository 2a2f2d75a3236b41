"""Registration holes: where they stand, and how well they find the blank again.

Pass k drills the holes that pass k + 1 drops onto the bed's pins (or measures). With a
constant shift D and fixed places p on the bed, the hole for p is drilled at p + D.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.passes.shift import ShiftPlan
from millprep.values.blank import Blank
from millprep.values.finding import Finding, Refusal
from millprep.values.milling_pass import RegistrationHole
from millprep.values.path import FloatArray
from millprep.values.plan import RegistrationPlan

GRID = 3.0
"""Distance between places that are tried, mm."""
SCALENE = 2.0
"""Sides of the triangle of holes differ by at least this much, so that a turned or flipped
blank fits no pins, mm."""


def least_overlap(plan: RegistrationPlan) -> float:
    """What two windows must share: room for a hole with its walls, and for the key beside it."""
    return 2 * (plan.hole + 2 * plan.wall) + plan.key + plan.overrun * 2


def spread(holes: FloatArray, at: float, axis: int) -> float:
    """Standard deviation across the axis, at a place along it, per unit of hole error.

    σ_lat² / σ² = 1/N + (x - c)² / S, S = Σ|h - c|²: the 2-D form after Fitzpatrick, West and
    Maurer, IEEE Transactions on Medical Imaging 17(5), 1998.
    """
    centre = holes.mean(axis=0)
    s = float(((holes - centre) ** 2).sum())
    return float(np.sqrt(1 / len(holes) + (at - centre[axis]) ** 2 / s))


def choose(
    shift: ShiftPlan,
    blank: Blank,
    plan: RegistrationPlan,
    keep_out: BaseGeometry,
    clamped: Sequence[BaseGeometry],
    far_end: float,
) -> tuple[RegistrationHole, ...]:
    """Two locating holes and a key for every pass after the first.

    Args:
        shift: windows and poses.
        blank: the laminate.
        plan: diameters and wall.
        keep_out: what is cut on the blank, grown to where no hole's wall may reach.
        clamped: per pass what the clamps deny to a drill, machine frame.
        far_end: coordinate along the axis of the farthest cut, where an error in angle shows.

    Raises:
        Refusal: when the margins have no room, with the margin that would do.
    """
    if len(shift.poses) == 1:
        return ()
    edge = plan.key / 2 + plan.wall
    inside = shapely.box(edge, edge, blank.size[0] - edge, blank.size[1] - edge)
    overlap = shift.overlap(0)
    # an end mill winds within the hole, so the whole hole lies in both windows
    reach = shapely.box(overlap.x0, overlap.y0, overlap.x1, overlap.y1).buffer(
        -plan.key / 2, join_style="mitre"
    )
    grid = _grid(reach.intersection(inside).bounds)
    free = np.ones(len(grid), dtype=bool)
    step = np.array([shift.shift, 0.0] if shift.axis == 0 else [0.0, shift.shift])
    denied = keep_out.buffer(edge, quad_segs=4)
    for k in range(len(shift.poses) - 1):
        # the same place on the bed serves every pass, so a hole must be free in all of them
        places = grid + k * step
        free &= shapely.contains_xy(inside, places) & ~shapely.contains_xy(denied, places)
        for number, pose in ((k, shift.poses[k]), (k + 1, shift.poses[k + 1])):
            free &= ~shapely.contains_xy(clamped[number], pose.points(places))
    places = grid[free]
    best = _best(places, shift, far_end)
    if best is None:
        raise Refusal([_no_room(blank, plan)])
    found: list[RegistrationHole] = []
    for k in range(len(shift.poses) - 1):
        for place, role in zip(best, ("locate", "locate", "key"), strict=True):
            x, y = (place + k * step).tolist()
            found.append(
                RegistrationHole(
                    id=f"r{len(found) + 1}",
                    blank=(x, y),
                    machine=shift.poses[k + 1].point((x, y)),
                    diameter=plan.key if role == "key" else plan.hole,
                    role="key" if role == "key" else "locate",
                    drilled_in=k + 1,
                    used_in=k + 2,
                )
            )
    return tuple(found)


def _grid(bounds: tuple[float, float, float, float]) -> FloatArray:
    if not np.isfinite(bounds).all():
        return np.zeros((0, 2))
    x0, y0, x1, y1 = bounds
    # whole millimetres are easier to read off and to bore
    xs = np.arange(np.ceil(x0), np.floor(x1) + 1e-9, GRID)
    ys = np.arange(np.ceil(y0), np.floor(y1) + 1e-9, 1.0)
    return np.array([(x, y) for x in xs for y in ys], dtype=float).reshape(-1, 2)


def _best(places: FloatArray, shift: ShiftPlan, far_end: float) -> FloatArray | None:
    """The pair with the least error at join and far end, and a key that fits it."""
    if len(places) < 3:
        return None
    seam = (shift.overlap(0).x0 + shift.overlap(0).x1) / 2
    if shift.axis == 1:
        seam = (shift.overlap(0).y0 + shift.overlap(0).y1) / 2
    # of every column only the outermost places can be best
    across = 1 - shift.axis
    rows = np.unique(places[:, shift.axis])
    outer = []
    for row in rows.tolist():
        column = places[places[:, shift.axis] == row]
        outer.append(column[np.argmin(column[:, across])])
        outer.append(column[np.argmax(column[:, across])])
    tried = np.unique(np.array(outer), axis=0)
    scored = []
    for i, j in itertools.combinations(range(len(tried)), 2):
        pair = tried[[i, j]]
        if np.hypot(*(pair[1] - pair[0])) < 3 * SCALENE:
            continue
        score = spread(pair, seam, shift.axis) + 0.25 * spread(pair, far_end, shift.axis)
        scored.append((round(score, 9), i, j))
    # in a short overlap only a key farther in makes the sides differ
    for keys in (tried, places):
        for _, i, j in sorted(scored):
            pair = tried[[i, j]]
            key = _key(pair, keys)
            if key is not None:
                return np.vstack((pair, key))
    return None


def _key(pair: FloatArray, places: FloatArray) -> FloatArray | None:
    """The place whose triangle with the pair is the most unlike its own images."""
    a, b = pair
    side = np.hypot(*(b - a))
    to_a, to_b = np.hypot(*(places - a).T), np.hypot(*(places - b).T)
    differ = np.minimum.reduce((np.abs(to_a - to_b), np.abs(to_a - side), np.abs(to_b - side)))
    differ = np.where(np.minimum(to_a, to_b) < 3 * SCALENE, 0.0, differ)
    n = int(np.argmax(np.round(differ, 6)))
    return places[n] if differ[n] >= SCALENE else None


def _no_room(blank: Blank, plan: RegistrationPlan) -> Finding:
    margin = plan.key + 2 * plan.wall
    return Finding(
        code="no-room-for-registration",
        severity="stop",
        message=(
            f"Blank {blank.number} has no room for three registration holes in the strip that "
            f"both passes reach. A margin of at least {margin:.1f} mm free of boards and clamps "
            "along both long edges would do; or move the clamps, or lower [registration] wall."
        ),
        blank=blank.number,
    )

