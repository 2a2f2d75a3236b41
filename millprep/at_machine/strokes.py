"""The cuts of a program as its file was read back: from one going down to the next.

A cut begins with the first move that feeds after a rapid move across; there the file says
(restart point N). Pecks into one hole are one cut, laps of a profile that stay down as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import Point
from millprep.model.program import ARC_CCW, ARC_CW, FEED, RAPID, Motion, Move, Trail

MOTION: dict[int, Motion] = {RAPID: "rapid", FEED: "feed", ARC_CW: "arc_cw", ARC_CCW: "arc_ccw"}
SAME = 0.01
"""Cuts whose middles are nearer to each other, mm, make one hole."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One cut of a trail.

    Attributes:
        number: of its restart point, from 1.
        first, last: its moves are first, …, last - 1; all but the way across to it.
    """

    number: int
    first: int
    last: int


def strokes(trail: Trail) -> tuple[Stroke, ...]:
    """The cuts of a program, in order."""
    gone = np.hypot(*np.diff(trail.xyz[:, :2], axis=0).T)
    rapid = trail.kind == RAPID
    found: list[Stroke] = []
    first: int | None = None
    across = False
    for move, (is_rapid, far) in enumerate(zip(rapid.tolist(), gone.tolist(), strict=True)):
        if is_rapid and far > 0:
            if first is not None:
                found.append(Stroke(len(found) + 1, first, move))
            first, across = None, True
        elif not is_rapid and across:
            first, across = move, False
    if first is not None:
        found.append(Stroke(len(found) + 1, first, len(trail)))
    return tuple(found)


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


def middle(trail: Trail, stroke: Stroke) -> Point:
    """The middle of the box around a cut: of a hole its centre, however it is made."""
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


def holes(trail: Trail, cuts: tuple[Stroke, ...]) -> tuple[tuple[Point, Stroke], ...]:
    """Centre and first cut of every hole of a drilling or boring program, in order."""
    found: list[tuple[Point, Stroke]] = []
    for stroke in cuts:
        at = middle(trail, stroke)
        if not found or math.dist(found[-1][0], at) > SAME:
            found.append((at, stroke))
    return tuple(found)
