"""Splines and parameter steps: curves that are neither lines nor arcs."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from millprep.drawing.marks.mark import steps_for
from millprep.geometry.path import FloatArray


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
