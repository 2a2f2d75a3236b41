"""Clearing: floating copper is removed by the widest cutter that fits.

An area is cleared by paths along its edge and further inward, each inside the one before. The first
reaches beyond the edge by the overlap, into grooves that are there already, so that nothing is left
at the foot of them. What a cutter leaves (strips narrower than its inset, corners) it follows once
more, nearer to the edge; what it cannot reach is left to the next, finer one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import boundaries_of, from_line, offset, offsets, quad_segments
from millprep.geometry.path import Path
from millprep.model.cut import Clearing
from millprep.model.cutter import Cutter
from millprep.model.job.isolation import Direction
from millprep.toolpaths.linking import linked

NEARER = (0.5, 0.2, 0.0)
"""What the paths left is followed again at these fractions of their inset."""
CRUMB = 2e-5
"""Left copper of less area is the rounding of curves, mm²."""
SHORTEST = 0.01
"""Paths shorter than this are dropped, mm."""
SPARE = 0.05
"""A cutter that clears keeps so much farther from copper than it must, if the gap allows, mm."""


@dataclass(frozen=True, slots=True)
class Cleared:
    """How an area is cleared, and what no cutter reached, at the foot of the copper."""

    clearings: tuple[Clearing, ...]
    left: BaseGeometry


def clear(
    area: BaseGeometry,
    keep: Sequence[BaseGeometry],
    cutters: Sequence[Cutter],
    *,
    depth: float,
    copper: float,
    overlap: float,
    direction: Direction,
    placement: int,
    beyond: float,
) -> Cleared:
    """The paths that clear an area, widest cutter first.

    Args:
        area: copper to remove, at its foot; blank frame.
        keep: copper whose surface no cutter may touch.
        cutters: vees or end mills; each does what the wider ones left.
        depth: of the tip.
        copper: thickness of the foil.
        overlap: fraction of the foot's width by which neighbouring paths overlap.
        direction: of travel, seen from what stays.
        placement: index of the copy.
        beyond: how far a path may reach beyond the edge of the area, mm.
    """
    clearings: list[Clearing] = []
    left = _grown(area, 0.0)
    for cutter in sorted(cutters, key=lambda c: -c.width(depth)):
        if left.is_empty:
            break
        wide = cutter.width(depth, copper)
        tool = _Tool(
            radius=wide / 2,
            inset=wide / 2 - min(overlap * wide, beyond),
            pitch=wide * (1 - overlap),
            keep_out=KeepOut(keep, cutter.width(depth) / 2 + min(SPARE, beyond)),
        )
        paths, left = _with(tool, left, direction == "climb")
        clearings += [Clearing(path, placement, cutter.name, depth) for path in paths]
    return Cleared(tuple(clearings), left)


@dataclass(frozen=True, slots=True)
class _Tool:
    """One cutter: half its foot, how far inside the edge it runs, step, where it may not go."""

    radius: float
    inset: float
    pitch: float
    keep_out: KeepOut


def _with(tool: _Tool, area: BaseGeometry, climb: bool) -> tuple[list[Path], BaseGeometry]:
    """One cutter's paths and what it leaves; they run with the area on their left, climbing."""
    paths: list[Path] = []
    left: list[BaseGeometry] = []
    for part in _areas(area):
        lines = [line for turn in _turns(tool, part) for line in turn]
        rest = _less_swept(part, lines, tool.radius)
        for share in NEARER:
            again = [
                line
                for some in _areas(rest)
                for boundary in boundaries_of(_grown(some, -share * tool.inset))
                for line in _lines(tool.keep_out.less(boundary))
            ]
            if again:
                lines += again
                rest = _less_swept(rest, again, tool.radius)
        again = [line for some in _areas(rest) for line in _closest(tool, some)]
        if again:
            lines += again
            rest = _less_swept(rest, again, tool.radius)
            again, rest = _between(tool, rest)
            lines += again
        if not climb:
            lines = [line.reverse() for line in lines]
        paths += [from_line(line) for line in linked(lines, 2 * tool.pitch, _Free(tool, part))]
        left.append(rest)
    return paths, shapely.union_all(left)


class _Free:
    """Whether a cutter may go along a way: where all is cleared in any case, off what stays."""

    def __init__(self, tool: _Tool, part: shapely.Polygon) -> None:
        self._keep_out = tool.keep_out
        # as far in as the paths along what was left
        self._within = _grown(part, 0.002 - NEARER[1] * tool.inset)
        shapely.prepare(self._within)

    def __call__(self, way: shapely.LineString) -> bool:
        return bool(self._within.contains(way)) and self._keep_out.less(way) is way


def _closest(tool: _Tool, part: shapely.Polygon) -> list[shapely.LineString]:
    """Where the cutter runs to reach a part that is nearer to copper than its axis may be."""
    return _lines(tool.keep_out.along(_grown(part, 0.999 * tool.radius)))


def _between(tool: _Tool, rest: BaseGeometry) -> tuple[list[shapely.LineString], BaseGeometry]:
    """Around what the closest paths left between them, and what stays: crumbs are not worth it."""
    lines: list[shapely.LineString] = []
    left: list[BaseGeometry] = []
    for part in _areas(rest):
        around = [line for b in boundaries_of(part) for line in _lines(tool.keep_out.less(b))]
        less = _less_swept(part, around, tool.radius)
        worth = less.area < part.area - CRUMB
        lines += around if worth else []
        left.append(less if worth else part)
    return lines, shapely.union_all(left)


def _turns(tool: _Tool, part: shapely.Polygon) -> Iterator[list[shapely.LineString]]:
    """Turn by turn from the edge of a part inward."""
    inset = tool.inset
    inner = offset(part, -inset)
    while True:
        if inner.is_empty:
            return
        yield [
            line
            for boundary in boundaries_of(inner)
            for line in _lines(tool.keep_out.less(boundary))
        ]
        inset += tool.pitch
        inner = _grown(part, -inset)


def _less_swept(area: BaseGeometry, lines: Sequence[BaseGeometry], radius: float) -> BaseGeometry:
    """The area without what a cutter removes along the lines."""
    if not lines:
        return area
    swept = shapely.union_all(shapely.buffer(lines, radius, quad_segs=quad_segments(radius)))
    return shapely.union_all(list(_areas(shapely.difference(area, swept))))


def _grown(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """A parallel curve of an area; as exact as clearing needs, the overlap covers the rest."""
    grown: BaseGeometry = shapely.buffer(shape, distance, quad_segs=quad_segments(distance))
    return grown


def _areas(shape: BaseGeometry) -> Iterable[shapely.Polygon]:
    """The polygons of a shape that are more than crumbs."""
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and part.area > CRUMB:
            yield part


def _lines(shape: BaseGeometry) -> list[shapely.LineString]:
    """The lines of a shape, those that meet end to end as one."""
    if isinstance(shape, shapely.LinearRing):
        return [shapely.LineString(shape.coords)] if shape.length > SHORTEST else []
    lines = [
        g for g in shapely.get_parts(shape) if isinstance(g, shapely.LineString) and not g.is_empty
    ]
    if not lines:
        return []
    merged = shapely.line_merge(shapely.MultiLineString(lines), directed=True)
    return [line for line in shapely.get_parts(merged) if line.length > SHORTEST]


class KeepOut:
    """Where the axis of a cutter may not go: areas grown by a distance.

    They are kept one by one: their union would be slower to query.

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
        zones = self._zones[np.sort(self._tree.query(shape))]
        return shapely.union_all(shapely.clip_by_rect(zones, x0 - 1, y0 - 1, x1 + 1, y1 + 1))

    def along(self, shape: BaseGeometry) -> BaseGeometry:
        """The lines within a shape that go around all zones as near as they allow."""
        return shapely.intersection(self.near(shape).boundary, shape)

    def less(self, line: BaseGeometry) -> BaseGeometry:
        """A line without what lies in the zones; the very same object when nothing does."""
        hit = self._tree.query(line, predicate="intersects")
        if not len(hit):
            return line
        return shapely.difference(line, self.near(line))
