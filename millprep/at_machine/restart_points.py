"""Where a program can be resumed: at the start of a cut, or on a path near a place.

A cut begins with the first move that feeds after a rapid move across; there the file says
(restart point N). The pecks of a hole are one cut, and so are depth steps of a profile that stay
down.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.program import ARC_CCW, ARC_CW, FEED, RAPID, Motion, Move, Trail

MOTION: dict[int, Motion] = {RAPID: "rapid", FEED: "feed", ARC_CW: "arc_cw", ARC_CCW: "arc_ccw"}
SAME = 0.01
"""Cuts whose centres are closer to each other, mm, make the same hole."""
READ = 0.5
"""A person who looks along the cutter reads a place on the copper to within this, mm."""
FARTHEST = 1.0
"""A place farther from all paths, mm, is misread, of another pass, or in other coordinates."""
LEAST = 0.05
"""Nothing shorter is cut off a move, or left of it, mm: arcs that short read as circles."""


@dataclass(frozen=True, slots=True)
class TrailCut:
    """One cut of a trail.

    Attributes:
        number: of its restart point, from 1.
        first, last: its moves are first, …, last - 1; all but the way across to it.
    """

    number: int
    first: int
    last: int


def strokes(trail: Trail) -> tuple[TrailCut, ...]:
    """The cuts of a program, in order; the look at Z zero with which it begins is none."""
    travelled = np.hypot(*np.diff(trail.xyz[:, :2], axis=0).T)
    rapid = trail.kind == RAPID
    cuts: list[TrailCut] = []
    first: int | None = None
    across = False
    for move, (is_rapid, far) in enumerate(zip(rapid.tolist(), travelled.tolist(), strict=True)):
        if is_rapid and far > 0:
            if first is not None and not _looks(trail, first, move):
                cuts.append(TrailCut(len(cuts) + 1, first, move))
            first, across = None, True
        elif not is_rapid and across:
            first, across = move, False
    if first is not None and not _looks(trail, first, len(trail)):
        cuts.append(TrailCut(len(cuts) + 1, first, len(trail)))
    return tuple(cuts)


def _looks(trail: Trail, first: int, last: int) -> bool:
    """Whether moves go up and down over the touch point, where nothing is ever cut."""
    away = np.hypot(*(trail.xyz[first : last + 1, :2] - trail.xyz[0, :2]).T)
    return bool((away < SAME).all())


def move_of(trail: Trail, move: int, start: tuple[float, float, float] | None = None) -> Move:
    """A move of a trail, or what is left of it from a place on it."""
    x, y, z = trail.xyz[move + 1].tolist()
    kind = int(trail.kind[move])
    feed = None if kind == RAPID else float(trail.feed[move])
    if kind not in (ARC_CW, ARC_CCW):
        return Move(MOTION[kind], x, y, z, feed=feed)
    a, b, _ = trail.xyz[move].tolist() if start is None else start
    u, v = trail.centre[move].tolist()
    return Move(MOTION[kind], x, y, z, u - a, v - b, feed)


def centre(trail: Trail, stroke: TrailCut) -> Point:
    """The centre of the box around a cut: of a hole its centre, however it is made."""
    xy = trail.xyz[stroke.first : stroke.last + 1, :2]
    low, high = xy.min(axis=0), xy.max(axis=0)
    for move in range(stroke.first, stroke.last):
        if trail.kind[move] in (ARC_CW, ARC_CCW):
            # no more of a helix than its whole circle
            radius = math.dist(trail.xyz[move, :2].tolist(), trail.centre[move].tolist())
            low = np.minimum(low, trail.centre[move] - radius)
            high = np.maximum(high, trail.centre[move] + radius)
    x, y = ((low + high) / 2).tolist()
    return (x, y)


@dataclass(frozen=True, slots=True)
class PassHoles:
    """The holes that a pass may make, machine frame.

    Attributes:
        area: what all of them take.
        named: centres of those that have names.
        through: whatever goes as deep as this within one makes it, mm; paths do not.
    """

    area: BaseGeometry
    named: Mapping[str, Point]
    through: float


def makes_hole(trail: Trail, stroke: TrailCut, of_pass: PassHoles) -> bool:
    """Whether a cut goes deep and stays within a hole."""
    places = trail.xyz[stroke.first : stroke.last + 1]
    deep = places[:, 2].min() <= -of_pass.through
    return bool(deep and of_pass.area.covers(shapely.MultiPoint(places[:, :2])))


def holes(
    trail: Trail, cuts: Sequence[TrailCut], of_pass: PassHoles
) -> tuple[tuple[Point, TrailCut], ...]:
    """Centre and first cut of every hole of a program, in order; paths are none."""
    made: list[tuple[Point, TrailCut]] = []
    for stroke in cuts:
        if not makes_hole(trail, stroke, of_pass):
            continue
        at = centre(trail, stroke)
        if not made or math.dist(made[-1][0], at) > SAME:
            made.append((at, stroke))
    return tuple(made)


@dataclass(frozen=True, slots=True)
class Entry:
    """Where cutting begins again.

    Attributes:
        stroke: the cut it is in.
        move: the move it is in.
        at: where on that move; None for the start of the cut.
        overlap: mm along the path to the place that was named; None at the start of a cut.
        away: mm from the place that was named to the path.
        later: restart points of cuts behind it whose paths come by the place as well.
    """

    stroke: TrailCut
    move: int
    at: tuple[float, float, float] | None = None
    overlap: float | None = None
    away: float = 0.0
    later: tuple[int, ...] = ()


def near(
    trail: Trail, cuts: Sequence[TrailCut], place: Point, overlap: float, decimals: int = 4
) -> Entry | tuple[float, Point]:
    """The entry for a break that was seen near a place; or how far the paths are, and where.

    The cutter may have broken wherever a path comes by within `READ` of the place, so the first
    of all such moves counts: on a profile with depth steps, the first. From there the entry lies
    back along the path by `overlap`, no farther than to the start of the cut.
    `decimals` are those of a number in the file.
    """
    passing = [
        (away, part, move, stroke)
        for stroke in cuts
        for move in range(stroke.first, stroke.last)
        if trail.kind[move] != RAPID
        for away, part in [_nearest(trail, move, place)]
    ]
    least, part, move, _ = min(passing, key=lambda candidate: candidate[0])
    if least > FARTHEST:
        x, y, _ = place_on(trail, move, part)
        return (least, (x, y))
    by = [candidate for candidate in passing if candidate[0] <= least + READ]
    away, part, move, stroke = by[0]
    later = tuple(dict.fromkeys(s.number for *_, s in by if s.number > stroke.number))
    entry = _back(trail, stroke, move, part, overlap, away, later)
    if entry.at is None:
        return entry
    x, y, z = entry.at
    return replace(entry, at=(round(x, decimals), round(y, decimals), round(z, decimals)))


def _back(
    trail: Trail,
    stroke: TrailCut,
    move: int,
    part: float,
    overlap: float,
    away: float,
    later: tuple[int, ...],
) -> Entry:
    """Back along the path of a cut from a place on it."""
    length, here = 0.0, move
    while True:
        long = _length(trail, here)
        reach = long * (part if here == move else 1.0)
        if length + reach >= overlap or here == stroke.first:
            break
        length += reach
        here -= 1
    # never after the place that was named, and no tiny move on either side
    along = min(reach - (overlap - length), long - LEAST)
    if along < LEAST:
        along = 0.0
    if here == stroke.first and along <= 0:
        return Entry(stroke, stroke.first, away=away, later=later)
    at = place_on(trail, here, along / long if along else 0.0)
    return Entry(stroke, here, at, length + reach - along, away, later)


def place_on(trail: Trail, move: int, part: float) -> tuple[float, float, float]:
    """The place at a part of a move, 0 to 1: evenly along a line, an arc or a helix."""
    (x0, y0, z0), (x1, y1, z1) = trail.xyz[move].tolist(), trail.xyz[move + 1].tolist()
    z = z0 + (z1 - z0) * part
    if trail.kind[move] not in (ARC_CW, ARC_CCW):
        return (x0 + (x1 - x0) * part, y0 + (y1 - y0) * part, z)
    u, v = trail.centre[move].tolist()
    angle = math.atan2(y0 - v, x0 - u) + _sweep(trail, move) * part
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
    """Distance of a place from a move in the plane, and the part of the move up to there."""
    (x0, y0), (x1, y1) = trail.xyz[move, :2].tolist(), trail.xyz[move + 1, :2].tolist()
    x, y = place
    if trail.kind[move] not in (ARC_CW, ARC_CCW):
        dx, dy = x1 - x0, y1 - y0
        square = dx * dx + dy * dy
        part = min(max(((x - x0) * dx + (y - y0) * dy) / square, 0.0), 1.0) if square else 0.0
        return (math.hypot(x0 + dx * part - x, y0 + dy * part - y), part)
    u, v = trail.centre[move].tolist()
    sweep = _sweep(trail, move)
    turn = math.atan2(y - v, x - u) - math.atan2(y0 - v, x0 - u)
    part = (turn if sweep > 0 else -turn) % math.tau / abs(sweep)
    if part <= 1:
        return (abs(math.hypot(x - u, y - v) - math.hypot(x0 - u, y0 - v)), part)
    ends = (math.hypot(x - x0, y - y0), 0.0), (math.hypot(x - x1, y - y1), 1.0)
    return min(ends)
