"""Pads: the copper that solder holds a lead to (IPC: land), without the tracks that lead there.

A drawing holds copper and holes, not pads. The pad of a hole is the part of its piece that is about
as wide as the copper all around the hole. Where no disc of `SHARE` of that width fits there is a
track if the copper leads on, and a corner of the pad if it ends. A pad also ends where solder no
longer reaches, so a hole in a wide area has a pad and not the whole area.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.board import Board, Hole

SHARE = 0.9
"""Copper narrower than this fraction of the copper around the hole is a track."""
LONG = 2.0
"""A pad reaches from the centre of its hole no farther than so many times its half width: an
oblong of twice its width is a pad from end to end; common practice, no source."""
AROUND = 2.5
"""A pad reaches no farther than this beyond the rim of its hole, mm: as far as solder flows
by hand; common practice, no source."""
AS_CUT = 0.05
"""Copper as cut is a pad up to so far beyond the pad's drawn edge, mm: what the cut leaves."""
ROUND = 1e-6
HAIR = 0.002
"""Copper of less than this width around a pad, mm, is the rounding of its edge."""
GRID = 1e-6
"""Areas that are added up snap to this, mm, so that no hairlines stay between them."""
_QUARTER = 32
"""Chords to a quarter of the circles that bound a pad: 2 µm off at 2 mm."""


@dataclass(frozen=True, slots=True)
class Pad:
    """The pad of a hole, drawing frame.

    Attributes:
        hole: that it surrounds.
        piece: id of the copper piece that it is part of.
        shape: its area, the hole not taken out.
        width: diameter of the largest disc of copper about the hole's centre, mm; of a slot,
            the width of copper across it.
    """

    hole: Hole
    piece: str
    shape: shapely.Polygon
    width: float


@lru_cache(maxsize=64)
def board_pads(board: Board) -> tuple[Pad, ...]:
    """The pads of a board, in the order of its holes; cached, since several steps use them.

    A hole that does not have copper all around has none.
    """
    shapes = {piece.id: piece.shape for piece in board.pieces}
    pads = (drawn_pad_of(hole, shapes[hole.piece]) for hole in board.holes if hole.piece in shapes)
    return tuple(pad for pad in pads if pad is not None)


def widths(board: Board) -> dict[str, float]:
    """The width of every pad, mm, by the id of its hole: `Pad.width` without the shapes."""
    shapes = {piece.id: piece.shape for piece in board.pieces}
    on = [hole for hole in board.holes if hole.piece in shapes]
    around = ((hole.id, _around(hole, shapes[hole.piece or ""])) for hole in on)
    return {name: 2 * copper[1] for name, copper in around if copper is not None}


def drawn_pad_of(hole: Hole, piece: shapely.Polygon) -> Pad | None:
    """The pad of a hole on a piece; None when its copper does not go all around it."""
    spine, around = hole.spine, _around(hole, piece)
    if around is None:
        return None
    whole, half = around
    far = hole.diameter / 2 + AROUND
    reach, core = min(LONG * half, far), SHARE * min(half, far)
    within = spine.buffer(reach, quad_segs=_QUARTER)
    near = _part(shapely.intersection(whole, within), spine)
    wide = _part(near.buffer(-core, quad_segs=_QUARTER), spine).buffer(core, quad_segs=_QUARTER)
    # a little wider, else a hairline of rounding could connect a corner to a track
    cover = wide.buffer(GRID, join_style="mitre")
    rest = shapely.get_parts(shapely.difference(near, cover))
    rest = rest[shapely.area(rest) > HAIR * core]
    off_edge = rest[shapely.distance(rest, within.boundary) > ROUND]
    corners = shapely.buffer(off_edge, 2 * GRID, join_style="mitre").tolist()
    shape = shapely.union_all([wide, *corners], grid_size=GRID) if corners else wide
    return Pad(hole, hole.piece or "", _part(shape, spine), 2 * half)


def joined(pads: Sequence[Pad], by: float = 0.0) -> BaseGeometry:
    """The pads grown by a distance, as one area."""
    return shapely.union_all([shapely.buffer(pad.shape, by, quad_segs=_QUARTER) for pad in pads])


def _around(hole: Hole, piece: shapely.Polygon) -> tuple[shapely.Polygon, float] | None:
    """The piece without the hole's own gap, and how much copper is around the hole's centre."""
    spine = hole.spine
    # an annulus is drawn with a gap for the hole: that is no edge of the pad
    kept = [ring for ring in piece.interiors if not _encloses(ring, spine)]
    whole = shapely.Polygon(piece.exterior, kept)
    if not whole.contains(spine):
        return None
    half = float(shapely.distance(spine, whole.boundary))
    return None if half <= hole.diameter / 2 + ROUND else (whole, half)


def _encloses(ring: shapely.LinearRing, spine: BaseGeometry) -> bool:
    """Whether a gap in the copper holds the centre of the hole."""
    return bool(shapely.intersects(shapely.Polygon(ring), spine))


def _part(shape: BaseGeometry, spine: BaseGeometry) -> shapely.Polygon:
    """The part of an area that the hole is in."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return min(parts, key=lambda part: float(shapely.distance(part, spine)))
