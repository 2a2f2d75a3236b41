"""Strokes and slots: everything within half a width of a line, as copper or as a long hole.

Ends and outer corners are round, as a round pen draws them. Each segment becomes a
part of its own; neighbours share the very points of the disc at their common vertex,
so that the union of the parts has every vertex on the true outline and no slivers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.marks.mark import Curve, Fill, Round, Stroke, rim, steps_for
from millprep.geometry.path import SAGITTA, FloatArray, Point, spine

TURN = 2 * math.pi


class Fan:
    """The rim of the disc at a vertex, with given directions among its points.

    Attributes:
        points: (n, 2) counter-clockwise, equal steps between neighbouring directions.
        spot: for each given direction, its index in `points`.
    """

    def __init__(
        self, at: tuple[float, float], radius: float, directions: Sequence[float], sagitta: float
    ) -> None:
        order = sorted(range(len(directions)), key=lambda k: directions[k] % TURN)
        marks: list[float] = []
        which = [0] * len(directions)
        for k in order:
            angle = directions[k] % TURN
            if marks and angle - marks[-1] < 1e-7:
                which[k] = len(marks) - 1
            elif marks and marks[0] + TURN - angle < 1e-7:
                which[k] = 0
            else:
                which[k] = len(marks)
                marks.append(angle)
        angles: list[float] = []
        first: list[int] = []
        for k, angle in enumerate(marks):
            after = marks[k + 1] if k + 1 < len(marks) else marks[0] + TURN
            n = steps_for(radius, after - angle, sagitta)
            if n > 1 and after - angle > 3.1:
                n += n % 2  # the tip of a round end is a point of it
            first.append(len(angles))
            angles += [angle + (after - angle) * j / n for j in range(n)]
        self.points = [(at[0] + radius * math.cos(a), at[1] + radius * math.sin(a)) for a in angles]
        self.spot = [first[k] for k in which]

    def run(self, start: int, end: int) -> list[tuple[float, float]]:
        """Points from one given direction counter-clockwise to another, both included."""
        i, j = self.spot[start], self.spot[end]
        if j > i:
            return self.points[i : j + 1]
        return self.points[i:] + self.points[: j + 1]


def areas(stroke: Stroke) -> list[shapely.Polygon]:
    """Parts whose union is the stroke's copper, in mm.

    The stroke must have a width on every segment. A stroke of no length is a dot.
    """
    sagitta = SAGITTA / (stroke.to_mm.stretch[0] or 1.0)
    outlines = _outlines(stroke, sagitta)
    return [
        shapely.Polygon(stroke.to_mm.points(outer), [stroke.to_mm.points(r) for r in inner])
        for outer, inner in outlines
    ]


Outline = list[tuple[float, float]] | FloatArray


def _outlines(stroke: Stroke, sagitta: float) -> list[tuple[Outline, list[Outline]]]:
    """Outer ring and inner rings of every part, own coordinates."""
    xy = stroke.vertices
    if len(xy) == 1:
        return [(xy[0] + rim(float(stroke.widths.max()) / 2, sagitta), [])]
    if stroke.is_circle and stroke.widths[0] == stroke.widths[1]:
        centre = xy.mean(axis=0)
        radius = float(np.hypot(*(xy[0] - centre)))
        h = float(stroke.widths[0]) / 2
        inner: list[Outline] = []
        if radius - h > 1e-9 * radius:
            inner = [centre + rim(radius - h, sagitta)]
        return [(centre + rim(radius + h, sagitta), inner)]
    pieces = [
        piece
        for i, bulge in enumerate(stroke.bulges.tolist())
        for piece in _halves(
            tuple(xy[i].tolist()),
            tuple(xy[(i + 1) % len(xy)].tolist()),
            bulge,
            float(stroke.widths[i]) / 2,
        )
    ]
    return _parts(pieces, stroke.closed, sagitta)


P = tuple[float, float]
Piece = tuple[P, P, float, float]


def _halves(p: P, q: P, bulge: float, h: float) -> list[Piece]:
    """A segment, cut in two where it is an arc of more than half a circle."""
    if abs(bulge) <= 1:
        return [(p, q, bulge, h)]
    # the arc's middle is bulge · chord / 2 to the right of the chord's middle
    middle = (
        (p[0] + q[0]) / 2 + bulge * (q[1] - p[1]) / 2,
        (p[1] + q[1]) / 2 - bulge * (q[0] - p[0]) / 2,
    )
    half = math.tan(math.atan(bulge) / 2)
    return [(p, middle, half, h), (middle, q, half, h)]


def _parts(
    pieces: list[Piece], closed: bool, sagitta: float
) -> list[tuple[Outline, list[Outline]]]:
    ends = [_normals(piece) for piece in pieces]
    out: list[tuple[Outline, list[Outline]]] = []
    n = len(pieces)
    fans: dict[tuple[int, float], Fan] = {}

    def fan(vertex: int, h: float) -> Fan:
        """Disc at the start of piece `vertex`, with the normals of both its segments."""
        key = (vertex % n if closed else vertex, h)
        if key not in fans:
            at = pieces[vertex % n][0] if vertex < n or closed else pieces[-1][1]
            directions: list[float] = []
            # leaving segment first, arriving second, so that each knows its marks
            leaves = ends[vertex % n][0] if vertex < n or closed else ends[-1][1]
            arrives = ends[vertex - 1][1] if vertex > 0 or closed else leaves
            directions = [leaves, leaves + math.pi, arrives, arrives + math.pi]
            fans[key] = Fan(at, h, directions, sagitta)
        return fans[key]

    for i, (p, q, bulge, h) in enumerate(pieces):
        start, end = fan(i, h), fan(i + 1, h)
        if bulge == 0:
            # left normal first: back cap from left to right, front cap from right to left
            out.append(([*start.run(0, 1), *end.run(3, 2)], []))
            continue
        out.append((_sector(p, q, bulge, h, start, end, sagitta), []))
        out.append((start.points, []))
        out.append((end.points, []))
    return out


def _normals(piece: Piece) -> tuple[float, float]:
    """Direction of the left normal at a segment's start and end, radians."""
    p, q, bulge, _ = piece
    chord = math.atan2(q[1] - p[1], q[0] - p[0])
    half = 2 * math.atan(bulge)
    return (chord - half + math.pi / 2, chord + half + math.pi / 2)


def _sector(p: P, q: P, bulge: float, h: float, start: Fan, end: Fan, sagitta: float) -> list[P]:
    """Strip along an arc of half a circle at most, or its whole sector when h passes the radius."""
    k = (1 - bulge * bulge) / (4 * bulge)
    cx, cy = (p[0] + q[0]) / 2 - k * (q[1] - p[1]), (p[1] + q[1]) / 2 + k * (q[0] - p[0])
    radius = math.hypot(p[0] - cx, p[1] - cy)
    sweep = 4 * math.atan(bulge)
    a0 = math.atan2(p[1] - cy, p[0] - cx)
    # a counter-clockwise arc has its centre on the left: the far side is the right normal
    far, near = (1, 0) if bulge > 0 else (0, 1)

    def edge(r: float, first: P, last: P) -> list[P]:
        n = steps_for(r, sweep, sagitta)
        between = [
            (cx + r * math.cos(a0 + sweep * j / n), cy + r * math.sin(a0 + sweep * j / n))
            for j in range(1, n)
        ]
        return [first, *between, last]

    outer = edge(radius + h, start.points[start.spot[far]], end.points[end.spot[2 + far]])
    if radius - h <= 1e-9 * radius:
        return [*outer, (cx, cy)]
    inner = edge(radius - h, start.points[start.spot[near]], end.points[end.spot[2 + near]])
    return outer + inner[::-1]


def drawn(
    marks: Iterable[Curve | Stroke | Fill],
) -> tuple[tuple[FloatArray, ...], tuple[shapely.Polygon, ...]]:
    """Lines, (n, 2) each and closed ones back at their start, and areas."""
    lines: list[FloatArray] = []
    filled: list[shapely.Polygon] = []
    for mark in marks:
        if isinstance(mark, Fill):
            filled += mark.areas
            continue
        if isinstance(mark, Stroke) and not mark.tapered and (mark.widths > 0).all():
            filled += areas(mark)
            continue
        curve = mark.curve if isinstance(mark, Stroke) else mark
        points = curve.points
        lines.append(np.vstack((points, points[:1])) if curve.closed else points)
    return tuple(lines), tuple(filled)


SHORTEST = 0.03
"""A slot whose centre line is shorter, mm, may be a clumsy circle."""
MOST_TURN = 0.9
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


def spines_of(bores: Sequence[Bore]) -> NDArray[np.object_]:
    """The same of many: a point each takes three times as long."""
    spines = np.asarray(shapely.points(np.array([bore.at for bore in bores]).reshape(-1, 2)))
    for n, bore in enumerate(bores):
        if isinstance(bore, Slot):
            spines[n] = spine_of(bore)
    return spines


def bore_area(bore: Bore, more: float = 0.0) -> shapely.Polygon:
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
    if (np.hypot(*(after - xy)[round_end].T) > 2 * radius * math.sin(MOST_TURN / 2)).any():
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
