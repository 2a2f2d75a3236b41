"""What each kind of entity draws in its own plane: one function a kind.

Every function takes the entity, its source and the map from its plane to mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from millprep.drawing.dxf import hatch
from millprep.drawing.marks.mark import SAME, Aside, Curve, Mark, Source, Stroke, Unread
from millprep.geometry.path import SAGITTA, Point
from millprep.geometry.pose import Affine


def _line(entity: Any, source: Source, to_mm: Affine) -> Mark:
    (x0, y0, z0), (x1, y1, z1) = entity.dxf.start, entity.dxf.end
    if z0 != z1 and (x0, y0) == (x1, y1):
        return Aside(source, "it has no length in the drawing plane")
    return _stroke(source, [(x0, y0), (x1, y1)], [0.0], [0.0], False, to_mm)


def _arc(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    x, y, radius = dxf.center[0], dxf.center[1], dxf.radius
    if radius == 0:
        return Aside(source, "it has no radius")
    if not radius > 0:  # below 0, or no number
        return Unread(source, "entity-damaged", f"its radius is {radius:g}", _place(x, y, to_mm))
    start, end = math.radians(dxf.start_angle), math.radians(dxf.end_angle)
    sweep = (end - start) % (2 * math.pi)
    if sweep < 1e-12:
        sweep = 2 * math.pi
    if sweep > 2 * math.pi - 1e-12:
        return _stroke(source, [(x + radius, y), (x - radius, y)], [1.0, 1.0], [0.0] * 2, True,
                       to_mm)  # fmt: skip
    n = math.ceil(sweep / (math.pi + 1e-12))
    angles = [start + sweep * k / n for k in range(n + 1)]
    vertices = [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]
    return _stroke(source, vertices, [math.tan(sweep / n / 4)] * n, [0.0] * n, False, to_mm)


def _place(x: float, y: float, to_mm: Affine) -> Point | None:
    at = to_mm.point(x, y)
    return at if all(map(math.isfinite, at)) else None


def _circle(entity: Any, source: Source, to_mm: Affine) -> Mark:
    x, y, radius = entity.dxf.center[0], entity.dxf.center[1], entity.dxf.radius
    if radius == 0:
        return Aside(source, "it has no radius")
    if not radius > 0:  # below 0, or no number
        return Unread(source, "entity-damaged", f"its radius is {radius:g}", _place(x, y, to_mm))
    ends = [(x + radius, y), (x - radius, y)]
    return _stroke(source, ends, [1.0, 1.0], [0.0, 0.0], True, to_mm)


def _lwpolyline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    rows = [tuple(map(float, row)) for row in entity.get_points("xyseb")]
    closed = bool(entity.closed)
    constant = float(entity.dxf.get("const_width", 0.0))
    own = any(s or e for _, _, s, e, _ in rows)
    # the constant width is not used where the vertices have widths of their own
    start = [s if own else constant for _, _, s, _, _ in rows]
    end = [e if own else constant for _, _, _, e, _ in rows]
    return _polyline_stroke(
        source,
        [(x, y) for x, y, *_ in rows],
        [b for *_, b in rows],
        start,
        end,
        closed,
        to_mm,
    )


def _polyline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    mode = entity.get_mode()
    if mode not in ("AcDb2dPolyline", "AcDb3dPolyline"):
        return Unread(source, "entity-unsupported", "a mesh cannot be read as a flat shape")
    vertices = list(entity.vertices)
    if entity.dxf.get("flags", 0) & 4 or entity.dxf.get("flags", 0) & 2:
        # a fitted curve: the frame's control points are no part of it
        vertices = [v for v in vertices if not v.dxf.get("flags", 0) & 16]
    default_start = float(entity.dxf.get("default_start_width", 0.0))
    default_end = float(entity.dxf.get("default_end_width", 0.0))
    flat = mode == "AcDb2dPolyline"
    return _polyline_stroke(
        source,
        [(float(v.dxf.location[0]), float(v.dxf.location[1])) for v in vertices],
        [float(v.dxf.get("bulge", 0.0)) if flat else 0.0 for v in vertices],
        [float(v.dxf.get("start_width", default_start)) if flat else 0.0 for v in vertices],
        [float(v.dxf.get("end_width", default_end)) if flat else 0.0 for v in vertices],
        bool(entity.is_closed),
        to_mm,
    )


def _polyline_stroke(
    source: Source,
    vertices: list[tuple[float, float]],
    bulges: list[float],
    start: list[float],
    end: list[float],
    closed: bool,
    to_mm: Affine,
) -> Mark:
    if not vertices:
        return Aside(source, "it has no vertices")
    last = len(vertices) if closed else len(vertices) - 1
    tapered = any(
        abs(s - e) > 1e-9 * max(s, e) for s, e in zip(start[:last], end[:last], strict=True)
    )
    mark = _stroke(source, vertices, bulges[:last], start[:last], closed, to_mm)
    return replace(mark, tapered=True) if tapered and isinstance(mark, Stroke) else mark


def _stroke(
    source: Source,
    vertices: list[tuple[float, float]],
    bulges: list[float],
    widths: list[float],
    closed: bool,
    to_mm: Affine,
) -> Mark:
    """A stroke without repeated points; one that returns to its start is closed."""
    scale = to_mm.stretch[0]
    xy = [vertices[0]]
    b: list[float] = []
    w: list[float] = []
    for i, (bulge, width) in enumerate(zip(bulges, widths, strict=True)):
        after = vertices[(i + 1) % len(vertices)]
        if math.dist(xy[-1], after) * scale <= 1e-9:
            continue
        # an arc within a nanometre of its chord is straight: its centre is lost in the digits
        flat = abs(bulge) * math.dist(xy[-1], after) * scale < 2 * SAME
        xy.append(after)
        b.append(0.0 if flat else bulge)
        w.append(width)
    if not b:
        if not any(width > 0 for width in widths):
            return Aside(source, "it has no length and no width", at=to_mm.point(*xy[0]))
        return Stroke(source, np.array(xy), np.zeros(0), np.array(widths), False, to_mm)
    if closed or (len(b) > 1 and math.dist(xy[0], xy[-1]) * scale <= 1e-9):
        xy.pop()
        closed = True
    return Stroke(source, np.array(xy), np.array(b), np.array(w), closed, to_mm)


def _ellipse(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    major, ratio = np.array(dxf.major_axis.xyz[:2]), float(dxf.ratio)
    ez = float(dxf.extrusion[2]) if dxf.hasattr("extrusion") else 1.0
    # minor axis = extrusion × major axis, times the ratio
    minor = np.array([-major[1], major[0]]) * ratio * math.copysign(1.0, ez)
    start = float(dxf.get("start_param", 0.0))
    end = float(dxf.get("end_param", 2 * math.pi))
    sweep = (end - start) % (2 * math.pi)
    closed = sweep < 1e-9 or sweep > 2 * math.pi - 1e-9
    most = Affine(major[0], minor[0], 0, major[1], minor[1], 0).stretch[0] * to_mm.stretch[0]
    if not math.isfinite(most):
        return Unread(source, "entity-damaged", "its axes are no numbers")
    if most == 0:
        return Aside(source, "it has no size")
    t = hatch.steps(most, 2 * math.pi if closed else sweep, SAGITTA, closed) + start
    points = np.array(dxf.center.xyz[:2]) + np.outer(np.cos(t), major) + np.outer(np.sin(t), minor)
    return Curve(source, to_mm.points(points), closed, True)


def _spline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    points, closed = hatch.flattened(entity, SAGITTA / to_mm.stretch[0])
    mm = to_mm.points(points)
    if np.ptp(mm, axis=0).max() <= 1e-9:
        x, y = mm[0].tolist()
        return Aside(source, "it has no length", at=(x, y))
    return Curve(source, mm, closed, True)


def _solid(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    corners = [dxf.vtx0, dxf.vtx1, dxf.vtx3 if dxf.hasattr("vtx3") else dxf.vtx2, dxf.vtx2]
    return hatch.filled(source, [to_mm.points([(x, y) for x, y, *_ in corners])], False)


def _hatch(entity: Any, source: Source, to_mm: Affine) -> Mark:
    return hatch.read(entity, source, to_mm)


SHAPES: dict[str, Callable[[Any, Source, Affine], Mark]] = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "SOLID": _solid,
    "TRACE": _solid,
    "HATCH": _hatch,
}
