"""Filled areas (HATCH, SOLID and TRACE entities), and splines, which may bound them."""

from __future__ import annotations

import itertools
import math
from functools import lru_cache
from typing import Any

import numpy as np

from millprep.drawing.marks.evenodd import Crossing, fill, nest
from millprep.drawing.marks.mark import Aside, Fill, Mark, Source, Unread, rim, steps_for
from millprep.geometry.path import SAGITTA, FloatArray, Path
from millprep.geometry.pose import Affine


def steps(radius: float, sweep: float, sagitta: float, closed: bool) -> FloatArray:
    """Equal parameter steps from 0 over `sweep` for an ellipse of this largest radius.

    An ellipse is the affine image of a circle, so a chord over a step of the parameter
    lies within radius·(1 - cos(step / 2)) of it. A closed one takes a multiple of four
    steps and leaves out the last point, which is the first.
    """
    n = steps_for(radius, sweep, sagitta)
    if closed:
        n = 4 * math.ceil(n / 4)
    count = n if closed else n + 1
    return np.linspace(0.0, sweep, n + 1, dtype=np.float64)[:count]


def flattened(entity: Any, sagitta: float) -> tuple[FloatArray, bool]:
    """Points on a SPLINE entity's curve, chords within `sagitta` of it, and if it is closed.

    Between two knots the curve is smooth; a chord over a step h of the parameter lies
    within max|c''|·h²/8 of it (linear interpolation error). c'' is sampled densely
    and taken 1.5 times for what falls between the samples.
    """
    tool = entity.construction_tool()
    knots = np.unique(np.asarray(tool.knots(), dtype=float))
    low, high = float(tool.knots()[tool.order - 1]), float(tool.knots()[-tool.order])
    spans = knots[(knots >= low) & (knots <= high)]
    parameters: list[float] = []
    for t0, t1 in itertools.pairwise(spans.tolist()):
        width = float(t1 - t0)
        if width <= 1e-12 * max(1.0, abs(high - low)):
            continue
        # stay inside the span: at a knot the derivatives belong to the next one
        inside = t0 + width * np.linspace(0.001, 0.999, 9)
        bend = 0.0
        for _, _, second in (v[:3] for v in tool.derivatives(inside.tolist(), 2)):
            bend = max(bend, math.hypot(second.x, second.y))
        n = max(1, math.ceil(width * math.sqrt(1.5 * bend / (8 * sagitta))))
        if n > 100_000:
            raise ValueError("the spline bends without bound")
        parameters += (t0 + width * np.arange(n) / n).tolist()
    parameters.append(high)
    points = np.array([(p.x, p.y) for p in tool.points(parameters)])
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.abs(np.diff(points, axis=0)).max(axis=1) > 0
    points = points[keep]
    closed = len(points) > 2 and float(np.hypot(*(points[0] - points[-1]))) <= 1e-9 * max(
        1.0, float(np.ptp(points, axis=0).max())
    )
    return (points[:-1] if closed else points), closed


LARGEST = 1e9
"""Coordinates, and ten thousand times a width, stay below this, mm."""


def filled(source: Source, loops: list[FloatArray], curved: bool) -> Mark:
    """A fill bounded by rings in mm: inside an odd number of them is filled."""
    loops = [loop for loop in loops if len(loop) >= 3]
    if not loops:
        return Aside(source, "it encloses nothing")
    if not max(float(np.abs(loop).max()) for loop in loops) < LARGEST:  # False for no number
        return Unread(source, "entity-damaged", "it holds numbers that no board has")
    filled_area = fill(loops)
    if isinstance(filled_area, Crossing):
        return Unread(source, "fill-crosses-itself", filled_area.words, filled_area.at)
    areas = tuple(area for area in filled_area if area.area > 1e-9)
    if not areas:
        return Aside(source, "it encloses nothing")
    return Fill(source, areas, curved)


def read(entity: Any, source: Source, to_mm: Affine) -> Mark:
    """A HATCH entity: its boundary paths, islands by its own style."""
    if not entity.dxf.get("solid_fill", 1):
        return Unread(source, "hatch-not-solid", "it is hatched with lines, not filled")
    if entity.gradient is not None and entity.gradient.kind:
        return Unread(source, "hatch-not-solid", "it is filled with a gradient")
    style = int(entity.dxf.get("hatch_style", 0))
    sagitta = SAGITTA / to_mm.stretch[0]
    loops: list[FloatArray] = []
    outer: list[FloatArray] = []
    curved = True
    for path in entity.paths.paths:
        flags = int(path.path_type_flags)
        if flags & 8:  # the frame around a text
            continue
        loop, bent = _loop(path, sagitta)
        if len(loop) < 3:
            continue
        curved = curved and bent
        loops.append(to_mm.points(loop))
        if flags & 1:
            outer.append(loops[-1])
    if style == 2 and outer:
        loops = outer
    elif style and len(loops) > 1:
        # 1 fills between the outermost ring and the next, 2 ignores what lies within
        filled_area = nest(loops)
        if not isinstance(filled_area, Crossing):
            most = 1 if style == 1 else 0
            kept = zip(filled_area.kept, filled_area.depth.tolist(), strict=True)
            loops = [loops[k] for k, depth in kept if depth <= most]
    return filled(source, loops, curved)


@lru_cache(maxsize=256)
def _loop(path: Any, sagitta: float) -> tuple[FloatArray, bool]:
    """Ring of one boundary path, and whether it is all arcs; kept, since blocks draw it again.

    Raises:
        ValueError: where two edges, or the last and the first, lie more than 1 mm apart.
    """
    if path.type.name == "POLYLINE":
        rows = [(float(x), float(y), float(b)) for x, y, b in path.vertices]
        xy = np.array([row[:2] for row in rows]).reshape(-1, 2)
        bulges = np.array([row[2] for row in rows])
        return _bulged(xy, bulges, sagitta)
    pieces: list[FloatArray] = []
    curved = True
    most = max(1e-3, 500 * sagitta)
    for edge in path.edges:
        piece = _edge(edge, sagitta)
        curved = curved and edge.type.name != "LINE"
        if pieces and len(piece):
            # edges may be written either way round; turn this one to meet the last
            end = pieces[-1][-1]
            if len(pieces) == 1:
                first = pieces[0]
                gaps = [
                    min(math.dist(first[0], p) for p in (piece[0], piece[-1])),
                    min(math.dist(first[-1], p) for p in (piece[0], piece[-1])),
                ]
                if gaps[0] < gaps[1]:
                    pieces[0] = first[::-1]
                    end = pieces[0][-1]
            if math.dist(end, piece[-1]) < math.dist(end, piece[0]):
                piece = piece[::-1]
            if math.dist(end, piece[0]) > most:
                raise _open(end)
        pieces.append(piece)
    if not pieces:
        return np.zeros((0, 2)), False
    loop = np.vstack(pieces)
    if math.dist(loop[0], loop[-1]) > most:
        raise _open(loop[-1])
    keep = np.hypot(*(loop - np.roll(loop, 1, axis=0)).T) > 1e-9
    return loop[keep], curved


def _open(end: FloatArray) -> ValueError:
    return ValueError(f"its boundary is open at ({end[0]:.4f}, {end[1]:.4f})")


def _bulged(xy: FloatArray, bulges: FloatArray, sagitta: float) -> tuple[FloatArray, bool]:
    if len(xy) and (xy[0] == xy[-1]).all() and len(xy) > 1:
        xy, bulges = xy[:-1], bulges[:-1]
    keep = np.hypot(*(xy - np.roll(xy, -1, axis=0)).T) > 0
    xy, bulges = xy[keep], bulges[keep]
    if len(xy) < 2 or (len(xy) == 2 and not bulges.any()):
        return np.zeros((0, 2)), False
    if len(xy) == 2 and abs(bulges[0]) == 1 and bulges[0] == bulges[1]:
        centre = xy.mean(axis=0)
        x, y = (xy[0] - centre).tolist()
        return centre + rim(math.hypot(x, y), sagitta, start=(x, y)), True
    points = Path(np.vstack((xy, xy[:1])), bulges).flattened(sagitta)[:-1]
    return points, bool((np.abs(bulges) > 0.01).all())


def _edge(edge: Any, sagitta: float) -> FloatArray:
    kind = edge.type.name
    if kind == "LINE":
        return np.array([tuple(edge.start)[:2], tuple(edge.end)[:2]])
    if kind in ("ARC", "ELLIPSE"):
        if kind == "ARC":
            major = np.array([float(edge.radius), 0.0])
            minor = np.array([0.0, float(edge.radius)])
            start, end = math.radians(edge.start_angle), math.radians(edge.end_angle)
        else:
            major = np.array(tuple(edge.major_axis)[:2])
            minor = np.array([-major[1], major[0]]) * float(edge.ratio)
            start, end = float(edge.start_param), float(edge.end_param)
        sweep = (end - start) % (2 * math.pi)
        if sweep < 1e-9:
            sweep = 2 * math.pi
        whole = sweep > 2 * math.pi - 1e-9
        t = start + steps(float(np.hypot(*major)), sweep, sagitta, whole)
        centre = np.array(tuple(edge.center)[:2])
        points = centre + np.outer(np.cos(t), major) + np.outer(np.sin(t), minor)
        points = points if edge.ccw else points[::-1]
        # closed by its last point, which _loop keeps: rings begin where the arc does
        return np.vstack((points[-1:], points)) if whole else points
    points, closed = flattened(_Spline(edge.construction_tool()), sagitta)
    return points if not closed else np.vstack((points, points[:1]))


class _Spline:
    """Gives a boundary's spline the one method that the flattening asks for."""

    def __init__(self, tool: Any) -> None:
        self._tool = tool

    def construction_tool(self) -> Any:
        """The curve."""
        return self._tool
