"""Slots: long holes with round ends, known by the rim that is drawn of them."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely

from millprep.drawing.marks.mark import Round
from millprep.geometry.path import SAGITTA, FloatArray, Point, spine

SHORTEST = 0.03
"""A slot whose centre line is shorter, mm, may be a clumsy circle."""
TURN = 0.9
"""Neighbouring points of a round end span no more than this, radians, as those of a circle."""


class Slot(NamedTuple):
    """A long hole: all that lies within half the diameter of the line from `at` to `end`."""

    at: Point
    diameter: float
    end: Point

    @classmethod
    def between(cls, point: Point, other: Point, width: float) -> Slot:
        """The slot from the end that comes first in reading order."""
        first, last = sorted((point, other), key=lambda p: (round(p[0], 6), round(p[1], 6)))
        return cls(first, width, last)


Bore = Round | Slot
"""What is drawn for a hole."""


def end_of(bore: Bore) -> Point | None:
    """The other end of a slot, None for a circle."""
    return bore.end if isinstance(bore, Slot) else None


def spine_of(bore: Bore) -> shapely.Point | shapely.LineString:
    """The centre of a circle, the centre line of a slot."""
    return spine(bore.at, end_of(bore))


def area_of(bore: Bore, more: float = 0.0) -> shapely.Polygon:
    """What it takes away, grown by `more`."""
    area: shapely.Polygon = spine_of(bore).buffer(bore.diameter / 2 + more, quad_segs=32)
    return area


def slot_of(points: FloatArray) -> Slot | None:
    """The slot whose flattened rim these points are, or None.

    `points` (n, 2) is closed without repeating its first. The slot is fitted to the points by
    least squares on their distances from its centre line, by Gauss and Newton. It is one when
    the points are as true to it as those of a circle must be to theirs, when every chord
    between two of them lies along its rim, and when the rim is gone round once.
    """
    if len(points) < 10:
        return None
    origin = points.mean(axis=0)
    xy = points - origin
    fitted = _fitted(xy)
    if fitted is None:
        return None
    a, b, radius = fitted
    length = math.dist(a, b)
    if length < SHORTEST:
        return None
    away = _from_line(xy, a, b)
    # as for circles: cubic curves stray by 0.03 % of the radius, files round to micrometres
    if np.ptp(away) > max(min(0.01 * radius, 6e-3), 1e-7):
        return None
    after = np.roll(xy, -1, axis=0)
    middles = (xy + after) / 2
    if (_from_line(middles, a, b) < away.min() - 2 * SAGITTA).any():
        return None
    along = np.clip((middles - a) @ (b - a) / length**2, 0.0, 1.0)
    round_end = (along == 0.0) | (along == 1.0)
    if (np.hypot(*(after - xy)[round_end].T) > 2 * radius * math.sin(TURN / 2)).any():
        return None
    outline = shapely.Polygon(xy)
    exact = 2 * radius * length + math.pi * radius**2
    if not outline.is_valid or abs(outline.area - exact) > 2 * SAGITTA * outline.length:
        return None
    return Slot.between(_point(a + origin), _point(b + origin), 2 * radius)


def _fitted(xy: FloatArray) -> tuple[FloatArray, FloatArray, float] | None:
    """Ends of the centre line and radius of the slot nearest to the points."""
    outline = shapely.Polygon(xy)
    box = shapely.oriented_envelope(outline)
    if not isinstance(box, shapely.Polygon):
        return None
    corners = shapely.get_coordinates(box)[:4]
    sides = np.diff(np.vstack((corners, corners[:1])), axis=0)[:2]
    long, wide = np.hypot(*sides.T).tolist()
    way = sides[0]
    if wide > long:
        long, wide, way = wide, long, sides[1]
    # most shapes are seen to be none by their area alone
    if not long > wide > 0 or abs(outline.area - wide * (long - wide) - math.pi * wide**2 / 4) > (
        0.03 * outline.area
    ):
        return None
    reach = (long - wide) / 2 * way / long
    middle = corners.mean(axis=0)
    sought = np.array([*(middle - reach), *(middle + reach), wide / 2])
    for _ in range(20):
        a, b = sought[:2], sought[2:4]
        if not math.dist(a, b) > 0:
            return None
        t = np.clip((xy - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
        off = xy - (a + t[:, None] * (b - a))
        away = np.hypot(*off.T)
        if not (away > 0).all():
            return None
        unit = off / away[:, None]
        # a point's distance falls as the foot on the centre line comes towards it
        slope = np.column_stack((-unit * (1 - t)[:, None], -unit * t[:, None], -np.ones(len(t))))
        step = np.linalg.lstsq(slope, sought[4] - away, rcond=None)[0]
        sought = sought + step
        if np.abs(step).max() < 1e-10:
            break
    return sought[:2], sought[2:4], float(sought[4])


def _from_line(xy: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    t = np.clip((xy - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    away: FloatArray = np.hypot(*(xy - (a + t[:, None] * (b - a))).T)
    return away


def _point(p: FloatArray) -> Point:
    return (float(p[0]), float(p[1]))
