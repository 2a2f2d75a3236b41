"""What marks look like, for pictures: lines of no width, and areas."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from millprep.drawing.marks import stroke
from millprep.drawing.marks.mark import Curve, Fill, Stroke
from millprep.geometry.path import FloatArray


def drawn(
    marks: Iterable[Curve | Stroke | Fill],
) -> tuple[tuple[FloatArray, ...], tuple[shapely.Polygon, ...]]:
    """Lines, (n, 2) each and closed ones back at their start, and areas."""
    lines: list[FloatArray] = []
    areas: list[shapely.Polygon] = []
    for mark in marks:
        if isinstance(mark, Fill):
            areas += mark.areas
            continue
        if isinstance(mark, Stroke) and not mark.tapered and (mark.widths > 0).all():
            areas += stroke.areas(mark)
            continue
        curve = mark.curve if isinstance(mark, Stroke) else mark
        points = curve.points
        lines.append(np.vstack((points, points[:1])) if curve.closed else points)
    return tuple(lines), tuple(areas)
