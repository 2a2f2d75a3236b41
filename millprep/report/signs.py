"""Hatches, and signs of a fixed size, as shapes of a page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from millprep.report.scene import Area, Circle, FloatArray, Line, Point, Shape


def hatched(
    shapes: Sequence[shapely.Geometry], kind: str, role: str, point: float
) -> tuple[Shape, ...]:
    """Slanted lines over shapes of the page: rising for `/`, falling, or both for `x`."""
    whole = shapely.union_all(list(shapes))
    if whole.is_empty:
        return ()
    x0, y0, x1, y1 = whole.bounds
    step = 6.0 * point * math.sqrt(2)
    slanted: list[shapely.LineString] = []
    # lines of one family are multiples of a step from the page's corner, so neighbours fit
    for way, families in ((-1, "/x"), (1, "\\x")):
        if kind in families:
            low = min(x0 - way * y0, x0 - way * y1)
            high = max(x1 - way * y0, x1 - way * y1)
            for k in range(math.ceil(low / step), math.floor(high / step) + 1):
                c = k * step
                slanted.append(shapely.LineString([(c + way * y0, y0), (c + way * y1, y1)]))
    parts = shapely.get_parts(shapely.intersection(np.array(slanted, dtype=object), whole))
    lines = [shapely.get_coordinates(part) for part in parts if part.length > 0]
    return (Line(tuple(lines), 0.5 * point, role),) if lines else ()


_PLUS = ((1, 3), (-1, 3), (-1, 1), (-3, 1), (-3, -1), (-1, -1), (-1, -3), (1, -3), (1, -1),
         (3, -1), (3, 1), (1, 1))  # fmt: skip
_SIGNS: dict[str, FloatArray] = {
    "plus": np.array(_PLUS) / 3.0,
    "cross": np.array([(x - y, x + y) for x, y in _PLUS]) / 4.0,
    "triangle": np.array([(-1.0, -1.0), (1.0, -1.0), (0.0, 1.0)]),
    "diamond": np.array([(0.0, -1.4), (1.4, 0.0), (0.0, 1.4), (-1.4, 0.0)]),
    "square": np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]),
}
"""Outlines of signs, y down, about a square of half side 1."""


def sign(kind: str, at: Sequence[Point], size: float, edge: float) -> tuple[Shape, ...]:
    """Signs of a size on the page, ink on paper so that they show on any colour."""
    if kind == "dot":
        return (Circle(tuple(at), size / 3, "ink", "paper", edge / 2),)
    if kind == "circle":
        return (Circle(tuple(at), size / 2, "paper", "ink", edge),)
    outline = _SIGNS[kind] * (size / 2)
    signs: Any = [shapely.Polygon(outline + np.array(place)) for place in at]
    return (Area(tuple(signs), "paper", "ink", edge),)
