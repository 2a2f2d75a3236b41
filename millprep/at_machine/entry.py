"""Where a program is entered anew: at a restart point, or on a path near a place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from millprep.at_machine.strokes import Stroke
from millprep.geometry.path import Point
from millprep.model.program import ARC_CCW, ARC_CW, RAPID, Trail

READ = 0.5
"""A place on the copper is read to within this, mm, by a person who looks along the cutter."""
FARTHEST = 1.0
"""A place farther from all paths, mm, is misread, of another pass or in other coordinates."""
LEAST = 0.05
"""Nothing shorter is cut off a move, or left of it, mm: arcs that short read as circles."""


@dataclass(frozen=True, slots=True)
class Entry:
    """Where cutting begins anew.

    Attributes:
        stroke: the cut it is in.
        move: the move it is in.
        at: where on that move; None for the start of the cut.
        overlap: mm along the path to the place that was named; None at the start of a cut.
        away: mm from the place that was named to the path.
        later: restart points of cuts behind it whose paths come by the place as well.
    """

    stroke: Stroke
    move: int
    at: tuple[float, float, float] | None = None
    overlap: float | None = None
    away: float = 0.0
    later: tuple[int, ...] = ()


def near(
    trail: Trail, cuts: Sequence[Stroke], place: Point, overlap: float, decimals: int = 4
) -> Entry | tuple[float, Point]:
    """The entry for a break that was seen near a place; or how far the paths are, and where.

    The cutter may have broken wherever a path comes by within `READ` of the place, so the first
    of all such moves counts: on a profile that goes round in laps, the first lap. From there the
    way leads back along the path by `overlap`, no farther than to the start of the cut.
    `decimals` are those of a number in the file.
    """
    found = [
        (away, share, move, stroke)
        for stroke in cuts
        for move in range(stroke.first, stroke.last)
        if trail.kind[move] != RAPID
        for away, share in [_nearest(trail, move, place)]
    ]
    least, share, move, _ = min(found, key=lambda one: one[0])
    if least > FARTHEST:
        x, y, _ = place_on(trail, move, share)
        return (least, (x, y))
    by = [one for one in found if one[0] <= least + READ]
    away, share, move, stroke = by[0]
    later = tuple(dict.fromkeys(s.number for *_, s in by if s.number > stroke.number))
    entry = _back(trail, stroke, move, share, overlap, away, later)
    if entry.at is None:
        return entry
    x, y, z = entry.at
    return replace(entry, at=(round(x, decimals), round(y, decimals), round(z, decimals)))


def _back(
    trail: Trail,
    stroke: Stroke,
    move: int,
    share: float,
    overlap: float,
    away: float,
    later: tuple[int, ...],
) -> Entry:
    """Back along the path of a cut from a place on it."""
    gone, here = 0.0, move
    while True:
        long = _length(trail, here)
        reach = long * (share if here == move else 1.0)
        if gone + reach >= overlap or here == stroke.first:
            break
        gone += reach
        here -= 1
    # never forward of what was asked, and no crumb on either side
    along = min(reach - (overlap - gone), long - LEAST)
    if along < LEAST:
        along = 0.0
    if here == stroke.first and along <= 0:
        return Entry(stroke, stroke.first, away=away, later=later)
    at = place_on(trail, here, along / long if along else 0.0)
    return Entry(stroke, here, at, gone + reach - along, away, later)


def place_on(trail: Trail, move: int, share: float) -> tuple[float, float, float]:
    """The place at a share of a move: evenly along a line, an arc or a helix."""
    (x0, y0, z0), (x1, y1, z1) = trail.xyz[move].tolist(), trail.xyz[move + 1].tolist()
    z = z0 + (z1 - z0) * share
    if trail.kind[move] not in (ARC_CW, ARC_CCW):
        return (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, z)
    u, v = trail.centre[move].tolist()
    angle = math.atan2(y0 - v, x0 - u) + _sweep(trail, move) * share
    radius = math.hypot(x0 - u, y0 - v)
    return (u + radius * math.cos(angle), v + radius * math.sin(angle), z)


def _sweep(trail: Trail, move: int) -> float:
    """Radians from start to end of an arc, positive counter-clockwise."""
    (x0, y0), (x1, y1) = trail.xyz[move, :2].tolist(), trail.xyz[move + 1, :2].tolist()
    u, v = trail.centre[move].tolist()
    turn = math.atan2(y1 - v, x1 - u) - math.atan2(y0 - v, x0 - u)
    if trail.kind[move] == ARC_CCW:
        return turn % math.tau or math.tau
    return -((-turn) % math.tau or math.tau)


def _length(trail: Trail, move: int) -> float:
    """Of a move, in the plane."""
    (x0, y0), (x1, y1) = trail.xyz[move, :2].tolist(), trail.xyz[move + 1, :2].tolist()
    if trail.kind[move] not in (ARC_CW, ARC_CCW):
        return math.hypot(x1 - x0, y1 - y0)
    u, v = trail.centre[move].tolist()
    return abs(_sweep(trail, move)) * math.hypot(x0 - u, y0 - v)


def _nearest(trail: Trail, move: int, place: Point) -> tuple[float, float]:
    """Distance of a place from a move in the plane, and the share of the move where that is."""
    (x0, y0), (x1, y1) = trail.xyz[move, :2].tolist(), trail.xyz[move + 1, :2].tolist()
    x, y = place
    if trail.kind[move] not in (ARC_CW, ARC_CCW):
        dx, dy = x1 - x0, y1 - y0
        square = dx * dx + dy * dy
        share = min(max(((x - x0) * dx + (y - y0) * dy) / square, 0.0), 1.0) if square else 0.0
        return (math.hypot(x0 + dx * share - x, y0 + dy * share - y), share)
    u, v = trail.centre[move].tolist()
    sweep = _sweep(trail, move)
    turn = math.atan2(y - v, x - u) - math.atan2(y0 - v, x0 - u)
    share = (turn if sweep > 0 else -turn) % math.tau / abs(sweep)
    if share <= 1:
        return (abs(math.hypot(x - u, y - v) - math.hypot(x0 - u, y0 - v)), share)
    ends = (math.hypot(x - x0, y - y0), 0.0), (math.hypot(x - x1, y - y1), 1.0)
    return min(ends)
