"""Areas from closed outlines that nest: inside an odd number of them is filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.marks.neighbours import TooMuchError, pairs
from millprep.geometry.path import FloatArray, Point

MOST_ON_EACH_OTHER = 300_000
"""Outlines that lie on each other, counted both ways, beyond which they are refused: as many as of
550 circles around each other, which take some 4 s."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """Why outlines enclose no clear area, and where; `first` and `second` number the rings."""

    words: str
    at: Point
    first: int
    second: int


def area_of(loop: FloatArray) -> shapely.Polygon | shapely.MultiPolygon | Crossing:
    """The area that one closed outline encloses.

    An outline may touch itself and may run along a line there and back (a bridge to an
    inner ring): its signed area then still is the area it encloses. One that crosses
    itself encloses its parts with both signs, so that the two differ.
    """
    polygon = shapely.Polygon(loop)
    if polygon.is_valid:
        return polygon
    if _tangled(loop):
        return Crossing("its line crosses itself many times", _fault_at(polygon), 0, 0)
    valid = shapely.make_valid(polygon, method="linework")
    parts = [g for g in shapely.get_parts(valid) if g.geom_type == "Polygon"]
    if valid.geom_type == "GeometryCollection":
        parts = [p for g in shapely.get_parts(valid) for p in shapely.get_parts(g)
                 if p.geom_type == "Polygon"]  # fmt: skip
    area: shapely.Polygon | shapely.MultiPolygon = (
        parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    )
    # local coordinates: far from the origin the cross products would lose their digits
    x, y = (loop - loop[0]).T
    signed = abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2
    if abs(signed - area.area) <= 1e-6 * (signed + area.area) + 1e-9:
        return area
    return Crossing("its line crosses itself", _fault_at(polygon), 0, 0)


def _tangled(loop: FloatArray) -> bool:
    """Whether the ring meets itself more often than any that only touches itself would.

    Sorting out a scribble takes memory with the square of its length. A long one is known by its
    first segments.
    """
    for count in sorted({min(len(loop), 4000), len(loop)}):
        part = loop[: count + 1]
        ends = np.stack((part, np.roll(part, -1, axis=0)), axis=1)
        segments: NDArray[np.object_] = np.asarray(shapely.linestrings(ends))
        try:
            # every segment meets its two neighbours, and a line there and back itself
            pairs(segments, most=2 * count + min(6 * count, 50_000) + 2000)
        except TooMuchError:
            return True
    return False


def _fault_at(polygon: shapely.Polygon) -> Point:
    words = shapely.is_valid_reason(polygon)
    east, north = words[words.index("[") + 1 : words.index("]")].split()[:2]
    return (float(east), float(north))


@dataclass(frozen=True, slots=True)
class Nest:
    """Outlines sorted out.

    Attributes:
        areas: of every outline, alone.
        kept: index of the outline for each area; repeated ones are dropped.
        pairs: (k, 2) areas of which the first holds the second.
        crossing: (k, 2) areas that overlap without one holding the other.
    """

    areas: list[shapely.Polygon | shapely.MultiPolygon]
    kept: list[int]
    pairs: NDArray[np.int64]
    crossing: NDArray[np.int64]

    @property
    def depth(self) -> NDArray[np.int64]:
        """How many outlines hold each one."""
        return np.bincount(self.pairs[:, 1], minlength=len(self.areas))

    def cross(self) -> Crossing | None:
        """The first pair of outlines that overlap, as a place."""
        if not len(self.crossing):
            return None
        i, j = self.crossing[0].tolist()
        at = shapely.intersection(self.areas[i], self.areas[j]).representative_point()
        return Crossing("two outlines overlap", (at.x, at.y), self.kept[i], self.kept[j])


def nest(loops: list[FloatArray]) -> Nest | Crossing:
    """Which outline holds which."""
    areas: list[shapely.Polygon | shapely.MultiPolygon] = []
    kept: list[int] = []
    seen: set[tuple[float, ...]] = set()
    for i, loop in enumerate(loops):
        area = area_of(loop)
        if isinstance(area, Crossing):
            return Crossing(area.words, area.at, i, i)
        key = (*np.round(area.bounds, 6).tolist(), round(area.area, 6))
        if key in seen and any(
            shapely.symmetric_difference(area, other).area <= 1e-6 * area.area
            for other in areas
            if np.allclose(other.bounds, area.bounds, rtol=0, atol=2e-6)
        ):
            continue
        seen.add(key)
        areas.append(area)
        kept.append(i)
    array = np.array(areas, dtype=object)
    shapely.prepare(array)
    i, j = pairs(array, most=MOST_ON_EACH_OTHER).T
    holds = shapely.covers(array[i], array[j])
    inside = np.column_stack((i[holds], j[holds]))
    # a pair is named by one number, the same both ways round
    name = np.minimum(i, j) * len(array) + np.maximum(i, j)
    unrelated = (i < j) & ~np.isin(name, name[holds])
    loose = np.column_stack((i[unrelated], j[unrelated]))
    if len(loose):
        # to share an edge or a point is no crossing; float noise along an edge is none either
        common = shapely.area(shapely.intersection(array[loose[:, 0]], array[loose[:, 1]]))
        loose = loose[common > 1e-6]
    return Nest(areas, kept, inside, loose)


def fill(loops: list[FloatArray]) -> list[shapely.Polygon] | Crossing:
    """Areas inside an odd number of the rings; rings that overlap have no such reading."""
    if len(loops) == 1:
        area = area_of(loops[0])
        return area if isinstance(area, Crossing) else list(area_parts(area))
    result = nest(loops)
    if isinstance(result, Crossing):
        return result
    return result.cross() or odd_areas(result)


def area_parts(area: shapely.Polygon | shapely.MultiPolygon) -> Sequence[shapely.Polygon]:
    """The polygons of an area."""
    return [area] if isinstance(area, shapely.Polygon) else list(area.geoms)


def odd_areas(nesting: Nest) -> list[shapely.Polygon]:
    """Areas inside an odd number of outlines that nest without crossing."""
    depth = nesting.depth
    children: dict[int, list[int]] = {}
    next_in = depth[nesting.pairs[:, 1]] == depth[nesting.pairs[:, 0]] + 1
    for outer, inner in nesting.pairs[next_in].tolist():
        children.setdefault(outer, []).append(inner)
    out: list[shapely.Polygon] = []
    for i, area in enumerate(nesting.areas):
        if depth[i] % 2:
            continue
        inner = [nesting.areas[k] for k in children.get(i, [])]
        if inner and area.geom_type == "Polygon" and all(a.geom_type == "Polygon" for a in inner):
            whole = shapely.Polygon(
                area.exterior,
                [*area.interiors, *(a.exterior for a in inner if not len(a.interiors))],
            )
            if whole.is_valid and not any(len(a.interiors) for a in inner):
                out.append(whole)
                continue
        left = shapely.difference(area, shapely.union_all(inner)) if inner else area
        out += [p for p in shapely.get_parts(left) if p.geom_type == "Polygon" and p.area > 0]
    return out
