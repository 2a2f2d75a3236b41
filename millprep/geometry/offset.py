"""Parallel curves of areas, and polylines back into lines and arcs.

A parallel curve is made from the area itself, always, and by the full distance.

Areas are kept as polygons whose vertices lie on the true curves. A circle therefore
leaves a trail: four neighbouring vertices that lie on one circle. Runs of such vertices
become arcs through those very vertices, so nothing is fitted. What
the overlay of areas cut off (a bit of a chord at the end of an arc) stays a line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import SAGITTA, FloatArray, Path

LEFT_OUT = 0.01
"""GEOS leaves out hollows shallower than this fraction of the distance."""
SMOOTHED = 0.004
"""A curve farther out than this because of it is made again, mm."""


def quad_segments(distance: float) -> int:
    """Chords to a quarter turn so that an arc of this radius is met within `SAGITTA`."""
    radius = max(abs(distance), 1e-6)
    step = 2 * math.acos(max(1 - SAGITTA / radius, -1.0))
    return max(4, math.ceil(math.pi / 2 / step))


def offset(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """An area grown (or shrunk, when negative) by a distance, corners round."""
    return offsets([shape], distance)[0]


def offsets(shapes: Sequence[BaseGeometry], distance: float) -> list[BaseGeometry]:
    """Every area grown by the same distance, each by itself."""
    grown: list[BaseGeometry] = list(
        shapely.buffer(
            np.asarray(shapes, dtype=object), distance, quad_segs=quad_segments(distance)
        )
    )
    if abs(distance) * LEFT_OUT <= SMOOTHED:
        return grown
    return [
        _by_edges(shape, distance) if _smoothed(shape, curve, distance) else curve
        for shape, curve in zip(shapes, grown, strict=True)
    ]


def _smoothed(shape: BaseGeometry, grown: BaseGeometry, distance: float) -> bool:
    """Whether shallow hollows were left out so that the curve lies too far off.

    GEOS leaves out vertices that are hollow, seen from the side it goes to, and less than
    1 % of the distance deep. The curve then lies up to that much too far out.
    """
    loops = [shapely.get_coordinates(loop) for loop in boundaries_of(shape)]
    if grown.is_empty or not any(_has_hollow(xy, distance) for xy in loops):
        return False
    # a place h too far out is sqrt(8 r h) wide, so it holds some of these samples
    step = math.sqrt(8 * abs(distance) * SMOOTHED) / 4
    samples = shapely.points(shapely.get_coordinates(shapely.segmentize(grown.boundary, step)))
    edge = shape.boundary
    shapely.prepare(edge)
    return not shapely.dwithin(edge, samples, abs(distance) + SMOOTHED).all()


def _has_hollow(xy: FloatArray, distance: float) -> bool:
    """Whether a boundary, its area on the left, has a hollow vertex that is left out."""
    here = xy[:-1]
    before, after = here - np.roll(here, 1, axis=0), np.roll(here, -1, axis=0) - here
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    depth = np.abs(turn) / np.maximum(np.hypot(*(before + after).T), 1e-12)
    inward = turn < 0 if distance > 0 else turn > 0
    return bool((inward & (depth > 1e-6) & (depth < LEFT_OUT * abs(distance))).any())


def _by_edges(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """The same, from the strip around every single edge: slower, and nothing is left out."""
    ends = [shapely.get_coordinates(loop) for loop in boundaries_of(shape)]
    pairs = np.concatenate([np.stack((xy[:-1], xy[1:]), axis=1) for xy in ends])
    edges = np.asarray(shapely.linestrings(pairs))
    strip = shapely.union_all(
        shapely.buffer(edges, abs(distance), quad_segs=quad_segments(distance))
    )
    return shapely.union(shape, strip) if distance > 0 else shapely.difference(shape, strip)


def boundaries_of(shape: BaseGeometry) -> list[shapely.LinearRing]:
    """The boundaries of an area, outer ones counter-clockwise, inner ones clockwise.

    The area lies on the left of each, so a cutter that follows them backwards has the
    copper on its right.
    """
    loops: list[shapely.LinearRing] = []
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            oriented = shapely.orient_polygons(part)
            loops.append(oriented.exterior)
            loops.extend(oriented.interiors)
    return loops


ON_CIRCLE = 2e-4
"""Four vertices lie on one circle when the fourth is this near to the circle of three, mm."""
ARC_FIT = 0.004
"""Largest distance between the chord that was there and the arc that replaces it, mm."""
MAX_RADIUS = 5000.0
"""Beyond this an arc is a line for every purpose, and its centre is far off the machine."""


def from_line(line: shapely.LineString | shapely.LinearRing) -> Path:
    """The path along a shapely line, with its arcs recovered."""
    return from_points(shapely.get_coordinates(line))


def from_points(points: FloatArray) -> Path:
    """The path through (n, 2) points, with its arcs recovered.

    Every vertex of the result is one of the points, and no point lies farther than
    `ARC_FIT` from it.
    """
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.abs(np.diff(points, axis=0)).max(axis=1) > 1e-7
    p = points[keep]
    closed = len(p) > 3 and bool(np.abs(p[0] - p[-1]).max() <= 1e-7)
    if closed:
        p = _start_at_corner(np.vstack((p[:-1], p[:1])))
    if len(p) < 4:
        return Path.lines(p)
    runs = _runs(p)
    xy: list[FloatArray] = []
    bulges: list[FloatArray] = []
    at = 0
    for first, last in runs:
        xy.append(p[at : first + 1])
        bulges.append(np.zeros(first - at))
        arc_xy, arc_bulge = _arc(p[first : last + 1])
        xy.append(arc_xy[1:-1])
        bulges.append(arc_bulge)
        at = last
    xy.append(p[at:])
    bulges.append(np.zeros(len(p) - 1 - at))
    return Path(np.vstack(xy), np.concatenate(bulges))


def _quads(p: FloatArray) -> NDArray[np.bool_]:
    """(n - 3,) whether points i … i + 3 lie on one circle, close enough together."""
    a, b, c, d = p[:-3], p[1:-2], p[2:-1], p[3:]
    ab, bc, cd = b - a, c - b, d - c
    turn1 = ab[:, 0] * bc[:, 1] - ab[:, 1] * bc[:, 0]
    turn2 = bc[:, 0] * cd[:, 1] - bc[:, 1] * cd[:, 0]
    ac = c - a
    ab2, ac2 = (ab**2).sum(1), (ac**2).sum(1)
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = 2 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
        centre = np.column_stack(
            (
                (ac[:, 1] * ab2 - ab[:, 1] * ac2) / cross,
                (ab[:, 0] * ac2 - ac[:, 0] * ab2) / cross,
            )
        )
        radius = np.hypot(centre[:, 0], centre[:, 1])
        off = np.abs(np.hypot(*(d - a - centre).T) - radius)
        longest = np.maximum(np.maximum(ab2, (bc**2).sum(1)), (cd**2).sum(1))
        sagitta = longest / (8 * radius)
        result: NDArray[np.bool_] = (
            (turn1 * turn2 > 0)
            & (off <= ON_CIRCLE)
            & (sagitta <= ARC_FIT)
            & (radius <= MAX_RADIUS)
            & ((ab * bc).sum(1) > 0)
            & ((bc * cd).sum(1) > 0)
        )
    result &= np.isfinite(radius)
    return result


def _runs(p: FloatArray) -> list[tuple[int, int]]:
    """First and last vertex of every arc, in order, not overlapping."""
    flags = np.concatenate(([False], _quads(p), [False])).astype(np.int8)
    edges = np.diff(flags)
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    runs: list[tuple[int, int]] = []
    floor = 0
    for first, stop in zip(starts.tolist(), ends.tolist(), strict=True):
        for start, last in _split(p, max(first, floor), stop + 2):
            runs.append((start, last))
            floor = last
    return runs


def _split(p: FloatArray, first: int, last: int) -> list[tuple[int, int]]:
    """A run that is one circle as a whole, or its halves, which may be other circles."""
    if last - first < 3:
        return []
    points = p[first : last + 1]
    centre, radius = _circle(points)
    if np.abs(np.hypot(*(points - centre).T) - radius).max() <= 5 * ON_CIRCLE:
        return [(first, last)]
    half = (first + last) // 2
    return _split(p, first, half) + _split(p, half, last)


def _circle(points: FloatArray) -> tuple[FloatArray, float]:
    """The circle through the first, a far and a middle point of a run."""
    n = len(points) - 1
    # a full turn ends where it starts, so the last point adds nothing
    a, b, c = points[0], points[max(n // 3, 1)], points[max(2 * n // 3, 2)]
    ab, ac = b - a, c - a
    cross = 2 * (ab[0] * ac[1] - ab[1] * ac[0])
    if cross == 0:
        return a, math.inf
    ab2, ac2 = ab @ ab, ac @ ac
    centre = np.array((ac[1] * ab2 - ab[1] * ac2, ab[0] * ac2 - ac[0] * ab2)) / cross
    return a + centre, float(np.hypot(centre[0], centre[1]))


def _arc(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One run as one arc, or as two where it turns by more than half a circle."""
    centre, _ = _circle(points)
    rays = points - centre
    turned = np.unwrap(np.arctan2(rays[:, 1], rays[:, 0])) - math.atan2(rays[0, 1], rays[0, 0])
    sweep = float(turned[-1])
    if abs(sweep) < math.pi * 0.9:
        return points[[0, -1]], np.array([math.tan(sweep / 4)])
    half = len(points) // 2
    first = float(turned[half])
    return points[[0, half, -1]], np.array([math.tan(first / 4), math.tan((sweep - first) / 4)])


def _start_at_corner(p: FloatArray) -> FloatArray:
    """A closed run of points, turned so that it starts where no arc passes through."""
    loop = p[:-1]
    n = len(loop)
    if n < 4:
        return p
    flags = _quads(np.vstack((loop, loop[:3])))
    # vertex v is inside an arc when a quad with v as second or third point lies on a circle
    inside = np.roll(flags, 1) | np.roll(flags, 2)
    free = np.flatnonzero(~inside)
    if len(free) == 0 or not inside[0]:
        return p
    v = int(free[0])
    return np.vstack((loop[v:], loop[: v + 1]))
