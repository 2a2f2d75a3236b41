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

from millprep.geometry.path import SAGITTA, ComplexArray, FloatArray, Path, in_plane

Flags = NDArray[np.bool_]

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
    if len(p) < 4:
        return Path.lines(p)
    # points as complex numbers from here on: a product with a conjugate holds dot and cross product
    z = in_plane(p)
    if np.abs(p[0] - p[-1]).max() <= 1e-7:
        z, flags = _from_corner(z[:-1])
    else:
        flags = _quads(z)
    corners: list[ComplexArray] = []
    bulges: list[FloatArray] = []
    at = 0
    for first, last in _runs(z, flags):
        corners.append(z[at : first + 1])
        bulges.append(np.zeros(first - at))
        middle, arc_bulge = _arc(z[first : last + 1])
        corners.append(middle)
        bulges.append(arc_bulge)
        at = last
    corners.append(z[at:])
    bulges.append(np.zeros(len(z) - 1 - at))
    xy = np.concatenate(corners)
    return Path(np.column_stack((xy.real, xy.imag)), np.concatenate(bulges))


def _quads(z: ComplexArray) -> Flags:
    """(n - 3,) whether points i … i + 3 lie on one circle, close enough together."""
    step = np.diff(z)
    turn = step[:-1].conj() * step[1:]
    size = step.real**2 + step.imag**2
    ab, ac = step[:-2], step[:-2] + step[1:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        centre = ab * (ac.real**2 + ac.imag**2) - ac * size[:-2]
        centre *= 0.5j / turn.imag[:-1]
        radius = np.abs(centre)
        off = np.abs(np.abs(ac + step[2:] - centre) - radius)
        longest = np.maximum(np.maximum(size[:-2], size[1:-1]), size[2:])
        result: Flags = (
            (turn.imag[:-1] * turn.imag[1:] > 0)
            & (off <= ON_CIRCLE)
            & (longest / (8 * radius) <= ARC_FIT)
            & (radius <= MAX_RADIUS)
            & (turn.real[:-1] > 0)
            & (turn.real[1:] > 0)
        )
    return result


def _runs(z: ComplexArray, flags: Flags) -> list[tuple[int, int]]:
    """First and last vertex of every arc, in order, not overlapping."""
    edges = np.diff(np.concatenate(([False], flags, [False])).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    runs: list[tuple[int, int]] = []
    floor = 0
    for first, stop in zip(starts.tolist(), ends.tolist(), strict=True):
        for start, last in _split(z, max(first, floor), stop + 2):
            runs.append((start, last))
            floor = last
    return runs


def _split(z: ComplexArray, first: int, last: int) -> list[tuple[int, int]]:
    """A run that is one circle as a whole, or its halves, which may be other circles."""
    if last - first < 3:
        return []
    run = z[first : last + 1]
    centre, radius = _circle(run)
    if np.abs(np.abs(run - centre) - radius).max() <= 5 * ON_CIRCLE:
        return [(first, last)]
    half = (first + last) // 2
    return _split(z, first, half) + _split(z, half, last)


def _circle(run: ComplexArray) -> tuple[complex, float]:
    """The circle through the first, a far and a middle point of a run."""
    n = len(run) - 1
    # a full turn ends where it starts, so the last point adds nothing
    a, b, c = run[[0, max(n // 3, 1), max(2 * n // 3, 2)]].tolist()
    ab, ac = b - a, c - a
    cross = (ab.conjugate() * ac).imag
    if cross == 0:
        return a, math.inf
    centre = (ab * abs(ac) ** 2 - ac * abs(ab) ** 2) * 0.5j / cross
    return a + centre, abs(centre)


def _arc(run: ComplexArray) -> tuple[ComplexArray, FloatArray]:
    """Bulge of one run as one arc, or of two and the point between them.

    It is two where the run turns by more than half a circle.
    """
    centre, _ = _circle(run)
    rays = run - centre
    angle = np.angle(rays)
    turned = angle - angle[0]
    turned[1:] -= math.tau * np.cumsum(np.round(np.diff(angle) / math.tau))
    sweep = float(turned[-1])
    if abs(sweep) < math.pi * 0.9:
        return run[:0], np.array([math.tan(sweep / 4)])
    half = len(run) // 2
    first = float(turned[half])
    return run[half : half + 1], np.array([math.tan(first / 4), math.tan((sweep - first) / 4)])


def _from_corner(loop: ComplexArray) -> tuple[ComplexArray, Flags]:
    """A closed run of points, and its quads, from where no arc passes through to there again."""
    flags = _quads(np.concatenate((loop, loop[:3])))
    # vertex v is inside an arc when a quad with v as second or third point lies on a circle
    inside = np.roll(flags, 1) | np.roll(flags, 2)
    free = np.flatnonzero(~inside)
    v = int(free[0]) if len(free) else 0
    return np.concatenate((loop[v:], loop[: v + 1])), np.roll(flags, -v)[:-2]
