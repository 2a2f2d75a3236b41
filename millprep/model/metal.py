"""What else may be metal at 0 V: the edge of a board in its chassis, and screws."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.board import Hole
from millprep.model.layout import Placement

WASHER = 2.2
"""A fixing hole's washer is so many times its diameter: M3, 7.0 mm on 3.2 (ISO 7089, from
memory)."""
FIXING = 2.5
"""From this diameter a hole on no copper is taken for a fixing hole, mm; common practice, no
source."""


def is_fixing(hole: Hole) -> bool:
    """Whether a screw is likely to go through the hole."""
    return hole.piece is None and hole.diameter >= FIXING


def metal(placement: Placement, covered: float | None) -> Iterator[tuple[str, BaseGeometry]]:
    """What may touch a chassis, with its name, blank frame: the edge, and what screws cover.

    `covered` is the diameter that a screw covers around its hole, mm; None for a usual washer.
    """
    yield "the board's edge", placement.pose.shape(placement.board.outline).boundary
    for hole in placement.board.holes:
        if is_fixing(hole):
            width = WASHER * hole.diameter if covered is None else covered
            disc = shapely.buffer(hole.spine, max(width, hole.diameter) / 2, quad_segs=32)
            yield f"the screw in {hole.words}", placement.pose.shape(disc)
