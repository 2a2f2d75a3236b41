"""Small boards as if cut: each piece is a part of its own, holes already drilled."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece, Hole

OUTLINE = shapely.box(0, 0, 100, 50)
AS_DRAWN = Pose()


def joined(*shapes: shapely.Geometry) -> shapely.Polygon:
    """Areas that touch, as one."""
    whole = shapely.union_all(list(shapes))
    assert isinstance(whole, shapely.Polygon)
    return whole


def less(shape: shapely.Geometry, *taken: shapely.Geometry) -> shapely.Polygon:
    """An area that stays one when others are taken from it."""
    left = shapely.difference(shape, shapely.union_all(list(taken)))
    assert isinstance(left, shapely.Polygon)
    return left


def placed(
    pieces: Sequence[shapely.Polygon],
    holes: Sequence[Hole] = (),
    *,
    outline: shapely.Polygon = OUTLINE,
    pose: Pose = AS_DRAWN,
) -> Placement:
    """One copy of a board whose pieces are c1, c2, …"""
    named = tuple(CopperPiece(f"c{n}", shape) for n, shape in enumerate(pieces, 1))
    return Placement(0, Board("sample", outline, named, tuple(holes)), 1, 1, pose)


def cut(placement: Placement, floating: Sequence[shapely.Polygon] = (), wear: float = 0.0) -> AsCut:
    """The board's copper less its holes, and floating copper, given in the drawing's frame.

    At its surface the copper is `wear` mm narrower on every side.
    """
    board, pose = placement.board, placement.pose
    drilled = shapely.union_all([hole.spine.buffer(hole.diameter / 2) for hole in board.holes])
    parts: list[CopperPart] = []
    for piece in board.pieces:
        left = pose.shape(shapely.difference(piece.shape, drilled))
        parts += [CopperPart(p, ((0, piece.id),)) for p in shapely.get_parts(left).tolist()]
    parts += [CopperPart(pose.shape(shape), ()) for shape in floating]
    surface = tuple(CopperPart(part.shape.buffer(-wear), part.pieces) for part in parts)
    return AsCut(1, (), tuple(parts), surface)
