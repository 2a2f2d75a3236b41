"""Numbers next to the holes of every pass, and crosses that show a person the right ones.

With a constant shift the holes of another set come over the pins as well, and nothing but a
look can show. So the pass that drills holes engraves next to them the number of the pass that they
are for, and a cross which is in no two passes at the same place of the spoilboard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry import letters
from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.blank import Blank, Box
from millprep.model.cut import Engraving
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.shift import ShiftPlan

HEIGHT = 3.0
"""Height of a number, mm."""
CROSS = 3.0
"""Width of a cross, mm."""
CLEAR = 1.0
"""Laminate between an engraving and whatever else is cut, and the blank's edge, mm."""
NEAR = 25.0
"""A number is within this distance of its key hole, mm."""
LEAST_DISTANCE = 6.0
"""Crosses of two passes are at least this far from each other on the spoilboard, mm."""


@dataclass(frozen=True, slots=True)
class Labels:
    """What is engraved on a blank to distinguish the holes of each pass.

    Attributes:
        by_pass: lines by the number of the pass that engraves them.
        crosses: as places to look at.
        taken: where they are, blank frame.
        findings: what had no room.
    """

    by_pass: dict[int, tuple[Engraving, ...]]
    crosses: tuple[RegistrationHole, ...]
    taken: BaseGeometry
    findings: tuple[Finding, ...]


def plan(
    shift: ShiftPlan,
    blank: Blank,
    holes: Sequence[RegistrationHole],
    cut: BaseGeometry,
    clamped: Sequence[BaseGeometry],
    cutter: Cutter,
    depth: float,
) -> Labels:
    """Numbers and crosses for every pass that is found by holes.

    Args:
        shift: windows and poses.
        blank: the laminate.
        holes: registration holes of all passes.
        cut: what is cut on the blank besides, blank frame.
        clamped: per pass what clamps deny to the spindle, machine frame.
        cutter: that engraves, at `depth` below the surface.
        depth: of the tip.
    """
    width = cutter.width(depth)
    taken: list[BaseGeometry] = []
    by_pass: dict[int, list[Engraving]] = {}
    crosses: list[RegistrationHole] = []
    findings: list[Finding] = []
    areas = [h.spine.buffer(h.diameter / 2, quad_segs=4) for h in holes]
    solid = shapely.union_all([cut, *areas]).buffer(CLEAR + width / 2, quad_segs=4)

    def room(passes: Sequence[int]) -> BaseGeometry:
        free: BaseGeometry = shapely.box(CLEAR, CLEAR, blank.size[0] - CLEAR, blank.size[1] - CLEAR)
        denied: list[BaseGeometry] = [solid, *(area.buffer(CLEAR) for area in taken)]
        for k in passes:
            free = free.intersection(shift.polygon(k))
            denied.append(shift.poses[k].inverse().shape(clamped[k]))
        return free.difference(shapely.union_all(denied))

    for number in sorted({hole.used_in for hole in holes}):
        mine = [hole for hole in holes if hole.used_in == number]
        key = next(hole for hole in mine if hole.role == "key")
        engraved = by_pass.setdefault(key.drilled_in, [])
        size = (letters.width(str(number), HEIGHT), HEIGHT)
        at = _next_to(room([key.drilled_in - 1]), key.blank, size)
        if at is None:
            findings.append(_no_room("number", number, key))
        else:
            taken.append(shapely.box(*at, at[0] + size[0], at[1] + size[1]))
            engraved += [
                Engraving(path, cutter.name, depth, f"number {number}")
                for path in letters.strokes(str(number), HEIGHT, at)
            ]
        avoid = [shift.poses[number - 1].inverse().point(other.machine) for other in crosses]
        there = _away(room([key.drilled_in - 1, number - 1]), mine, avoid)
        if there is None:
            findings.append(_no_room("cross to look at", number, key))
            continue
        (x, y), half = there, CROSS / 2
        taken.append(shapely.box(x - half, y - half, x + half, y + half))
        engraved += [
            Engraving(Path.lines(line), cutter.name, depth, f"cross {number}")
            for line in ([(x - half, y), (x + half, y)], [(x, y - half), (x, y + half)])
        ]
        crosses.append(
            RegistrationHole(
                id=f"w{number}",
                blank=there,
                machine=shift.poses[number - 1].point(there),
                diameter=width,
                role="witness",
                drilled_in=key.drilled_in,
                used_in=number,
            )
        )
    return Labels(
        {number: tuple(lines) for number, lines in by_pass.items()},
        tuple(crosses),
        shapely.union_all(taken),
        tuple(findings),
    )


def _next_to(room: BaseGeometry, hole: Point, size: tuple[float, float]) -> Point | None:
    """Low corner of the free rectangle of this size whose centre is nearest to a hole."""
    steps = np.arange(-NEAR, NEAR + 0.25, 0.5)
    u, v = (grid.ravel() for grid in np.meshgrid(steps, steps))
    order = np.lexsort((u, v, np.round(np.hypot(u, v), 6)))
    # low corners at half millimetres, so that they can be found with a rule
    x = np.round((hole[0] + u[order] - size[0] / 2) * 2) / 2
    y = np.round((hole[1] + v[order] - size[1] / 2) * 2) / 2
    low = np.column_stack((x, y))
    n = first_fitting(room, low, low + size)
    return None if n is None else (float(x[n]), float(y[n]))


def first_fitting(room: BaseGeometry, low: FloatArray, high: FloatArray) -> int | None:
    """The first of some boxes, (n, 2) low and high corners, that lies in the room."""
    shapely.prepare(room)
    # one of the first fits as a rule
    for start in range(0, len(low), 100):
        some = slice(start, start + 100)
        fits = shapely.covers(room, shapely.box(*low[some].T, *high[some].T))
        if fits.any():
            return start + int(np.argmax(fits))
    return None


def _away(
    room: BaseGeometry,
    holes: Sequence[RegistrationHole],
    avoid: Sequence[Point],
) -> Point | None:
    """Centre of a free cross, whole millimetres, as far from the holes as the pass reaches."""
    if room.is_empty:
        return None
    bounds = Box(*room.bounds)
    shapely.prepare(room)
    xs = np.arange(np.ceil(bounds.x0), bounds.x1)
    ys = np.arange(np.ceil(bounds.y0), bounds.y1)
    x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
    half = CROSS / 2
    free = shapely.covers(room, shapely.box(x - half, y - half, x + half, y + half))
    places: FloatArray = np.column_stack((x, y))[free]
    for other in avoid:
        places = places[np.hypot(*(places - np.array(other)).T) >= LEAST_DISTANCE]
    if not len(places):
        return None
    middle = np.mean([hole.blank for hole in holes], axis=0)
    n = int(np.argmax(np.round(np.hypot(*(places - middle).T), 6)))
    return (float(places[n, 0]), float(places[n, 1]))


def _no_room(what: str, number: int, key: RegistrationHole) -> Finding:
    return Finding(
        code="no-room-for-label",
        severity="note",
        message=(
            f"No room next to the holes of pass {number} to engrave a {what}. Write the number on "
            "the blank by hand once they are drilled: the holes of another pass fit the pins as "
            "well. Or use a wider margin."
        ),
        frame="blank",
        at=key.blank,
        mill_pass=key.drilled_in,
    )
