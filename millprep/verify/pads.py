"""Pads: the copper around a hole that solder holds a pin to, without the tracks that lead there.

The paths are made with `toolpaths/clearing_of_blank.py`. This module finds pads on its own, by
another method, so that a pad found wrongly there shows here: distances are measured from edge to
edge with plain numbers, and the wide part of the copper is what discs cover whose centres keep off
every edge.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import FloatArray
from millprep.model.board import Board, Hole

TRACK = 0.9
"""Copper narrower than this fraction of the copper around the hole is a track."""
LENGTH = 2.0
"""A pad extends from the axis of its hole at most this many half widths: an oblong of twice its
width is a pad from end to end; common practice, no source."""
SOLDER = 2.5
"""A pad extends at most this far beyond its hole, mm: as far as solder flows by hand; common
practice, no source."""
LEFT_BY_CUT = 0.05
"""Copper as cut is a pad up to so far beyond the drawn edge of the pad, mm."""
SAME = 1e-6
"""Lengths closer than this, mm, are the same."""
CRUMB = 0.002
"""Copper thinner than this at a pad, mm, comes from the chords of its circles."""
QUARTER = 32
"""Chords to a quarter circle: 2 µm off at a radius of 2 mm."""


@dataclass(frozen=True, slots=True)
class PadArea:
    """The pad of a hole, drawing frame.

    Attributes:
        hole: that it surrounds.
        piece: id of the copper piece that it is part of.
        shape: its area, hole included.
        width: diameter of the largest disc of copper about the axis of the hole, mm; of a slot,
            the width across it.
    """

    hole: Hole
    piece: str
    shape: shapely.Polygon
    width: float


@lru_cache(maxsize=64)
def pad_areas(board: Board) -> tuple[PadArea, ...]:
    """The pads of a board, in the order of its holes; a hole without copper all around has none."""
    pieces = {piece.id: piece.shape for piece in board.pieces}
    pads = (pad_of(hole, pieces[hole.piece]) for hole in board.holes if hole.piece in pieces)
    return tuple(pad for pad in pads if pad is not None)


@lru_cache(maxsize=64)
@cached
def pad_widths(board: Board) -> Mapping[str, float]:
    """The width of every pad, mm, by the id of its hole."""
    pieces = {piece.id: piece.shape for piece in board.pieces}
    widths: dict[str, float] = {}
    for hole in board.holes:
        if hole.piece in pieces:
            half = _half_width(hole, _without_own_gap(hole, pieces[hole.piece]))
            if half is not None:
                widths[hole.id] = 2 * half
    return widths


def pad_of(hole: Hole, piece: shapely.Polygon) -> PadArea | None:
    """The pad of a hole on a piece; None when the copper does not go all around the hole."""
    copper = _without_own_gap(hole, piece)
    half = _half_width(hole, copper)
    if half is None:
        return None
    axis = hole.spine
    most = hole.diameter / 2 + SOLDER
    limit = axis.buffer(min(LENGTH * half, most), quad_segs=QUARTER)
    near = _part_at(axis, shapely.intersection(copper, limit))
    disc = TRACK * min(half, most)
    off_edges = shapely.difference(near, near.boundary.buffer(disc, quad_segs=QUARTER))
    wide = _part_at(axis, off_edges).buffer(disc, quad_segs=QUARTER).intersection(near)
    # What is left is a track where it leads on to the limit, else a corner. Rounding may leave a
    # line of no width between the two.
    edge = limit.boundary
    left = shapely.difference(near, shapely.buffer(wide, SAME, quad_segs=QUARTER))
    corners = [
        part.buffer(2 * SAME, join_style="mitre")
        for part in shapely.get_parts(left).tolist()
        if part.area > CRUMB * disc and part.distance(edge) > SAME
    ]
    whole = shapely.union_all([wide, *corners], grid_size=SAME) if corners else wide
    return PadArea(hole, hole.piece or "", _part_at(axis, whole), 2 * half)


def united(pads: Sequence[PadArea], by: float = 0.0) -> shapely.Geometry:
    """The pads, dilated by a distance, as one area."""
    return shapely.union_all([pad.shape.buffer(by, quad_segs=QUARTER) for pad in pads])


def _without_own_gap(hole: Hole, piece: shapely.Polygon) -> shapely.Polygon:
    """The piece with the gap closed that is drawn in it for the hole."""
    axis = hole.spine
    gaps = [shapely.Polygon(ring) for ring in piece.interiors]
    own = [gap for gap in gaps if gap.intersects(axis)]
    if not own:
        return piece
    kept = [gap.exterior for gap in gaps if not any(gap is other for other in own)]
    return shapely.Polygon(piece.exterior, kept)


def _half_width(hole: Hole, copper: shapely.Polygon) -> float | None:
    """Distance of the axis of a hole from the nearest edge, mm; None when it is in the hole."""
    axis = hole.spine
    if not copper.covers(axis):
        return None
    half = _distance(shapely.get_coordinates(axis), copper)
    return half if half > hole.diameter / 2 + SAME else None


def _distance(axis: FloatArray, copper: shapely.Polygon) -> float:
    """Distance between an axis of one or two points and the edges of an area that covers it."""
    least = math.inf
    for outline in (copper.exterior, *copper.interiors):
        xy = shapely.get_coordinates(outline)
        for point in axis:
            least = min(least, float(_to_lines(point[None], xy[:-1], xy[1:]).min()))
        if len(axis) > 1:
            least = min(least, float(_to_lines(xy, axis[:1], axis[1:2]).min()))
    return least


def _to_lines(points: FloatArray, starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Distances of points from straight lines, one of the two or as many as of the other."""
    along = ends - starts
    square = np.maximum((along**2).sum(axis=1), 1e-30)
    part = np.clip(((points - starts) * along).sum(axis=1) / square, 0.0, 1.0)
    foot = starts + part[:, None] * along
    distance: FloatArray = np.hypot(*(points - foot).T)
    return distance


def _part_at(axis: shapely.Geometry, shape: shapely.Geometry) -> shapely.Polygon:
    """The area among the parts of a shape that is at the axis of a hole."""
    areas = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return min(areas, key=lambda part: float(part.distance(axis)))
