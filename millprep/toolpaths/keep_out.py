"""Where the axis of a cutter may not go: too near to copper that stays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offsets


class KeepOut:
    """Areas grown by a distance, kept one by one: their union would be slower to ask.

    Attributes:
        distance: from the areas, mm.
    """

    def __init__(self, shapes: Sequence[BaseGeometry], distance: float) -> None:
        self.distance = distance
        self._zones = np.asarray(offsets(shapes, distance) if shapes else [], dtype=object)
        self._tree = shapely.STRtree(self._zones)

    def near(self, shape: BaseGeometry) -> BaseGeometry:
        """What of the zones lies about a shape, as one area."""
        x0, y0, x1, y1 = shape.bounds
        found = self._zones[np.sort(self._tree.query(shape))]
        return shapely.union_all(shapely.clip_by_rect(found, x0 - 1, y0 - 1, x1 + 1, y1 + 1))

    def along(self, shape: BaseGeometry) -> BaseGeometry:
        """The lines within a shape that go round all zones as near as they allow."""
        return shapely.intersection(self.near(shape).boundary, shape)

    def less(self, line: BaseGeometry) -> BaseGeometry:
        """A line without what lies in the zones; the very same object when nothing does."""
        if line.is_empty:
            return line
        hit = self._tree.query(line, predicate="intersects")
        if not len(hit):
            return line
        return shapely.difference(line, self.near(line))
