"""Painted shapes, and the marks that are left of them: clear ones take away what is below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.drawing.marks import stroke
from millprep.drawing.marks.mark import Fill, Stroke
from millprep.geometry.pose import Affine

MOST_SHAPES = 100_000
"""Shapes of one file beyond which it is refused: joining a million takes a minute and gigabytes."""


@dataclass(frozen=True, slots=True)
class Painted:
    """One shape, dark on what is below it, or clear: it takes away what is below.

    Attributes:
        net: of its copper, where the file gives it.
    """

    mark: Fill | Stroke
    dark: bool
    net: str | None = None

    def placed(self, pose: Affine) -> Painted:
        """The same shape somewhere else."""
        mark = self.mark
        if isinstance(mark, Stroke):
            return replace(self, mark=replace(mark, to_mm=pose.after(mark.to_mm)))
        areas = shapely.transform(np.array(mark.areas, dtype=object), pose.points)
        if not shapely.is_valid(areas).all():
            # the last digit may have moved a corner onto a side that it nearly met
            parts = shapely.get_parts(shapely.make_valid(areas, method="structure"))
            areas = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
        return replace(self, mark=replace(mark, areas=tuple(areas)))

    @property
    def areas(self) -> list[shapely.Polygon]:
        """What it covers."""
        mark = self.mark
        if isinstance(mark, Fill):
            return list(mark.areas)
        return stroke.areas(mark) if mark.widths.all() else []


def visible(shapes: Sequence[Painted]) -> list[Painted]:
    """The dark shapes, without what clear ones painted later take away.

    Shapes that no clear one meets stay as they are.
    """
    out: list[Painted] = []
    k = 0
    while k < len(shapes):
        dark = shapes[k].dark
        end = k
        while end < len(shapes) and shapes[end].dark == dark:
            end += 1
        run = shapes[k:end]
        k = end
        out = [*out, *run] if dark else _without(out, run)
    return out


def _without(below: Sequence[Painted], clear: Sequence[Painted]) -> list[Painted]:
    """Dark shapes less what a run of clear ones covers."""
    areas = [area for shape in clear for area in shape.areas]
    if not areas or not below:
        return list(below)
    tree = shapely.STRtree(areas)
    out = []
    for shape in below:
        dark = shapely.union_all(shape.areas)
        met = tree.query(dark, predicate="intersects")
        if not len(met):
            out.append(shape)
            continue
        cut = shapely.union_all([areas[n] for n in sorted(met.tolist())])
        left = shapely.get_parts(shapely.difference(dark, cut))
        rest = tuple(part for part in left if part.geom_type == "Polygon" and part.area > 0)
        if rest:
            out.append(replace(shape, mark=Fill(shape.mark.source, rest)))
    return out
