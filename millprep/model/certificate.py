"""How far the passes of a set may lie apart before anything is lost, and where it is lost first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.geometry.path import Point

Kind = Literal["short", "open", "gap"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A mismatch that is proved harmless, and the place that would give way first.

    Attributes:
        mismatch: between two passes, in any direction, mm.
        at: blank frame.
        placement, piece: the copper at that place.
    """

    mismatch: float
    blank: int
    at: Point
    placement: int
    piece: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """What all joins of a set stand.

    Attributes:
        short: before copper joins two pieces, or a piece and what is around it.
        open: before a piece is cut in two.
        gap: before less than `asked` is left between them.
        asked: the gap that must be left, mm.
        turn: of a pass about the holes it is found by, without any shift, that the joins stand
            before a short or an open; degrees.
        at_least: what was found to stand all that was looked at, and may well stand more.
    """

    short: Limit
    open: Limit
    gap: Limit
    asked: float
    turn: float
    at_least: tuple[Kind, ...] = ()

    @property
    def least(self) -> Limit:
        """What is proved against shorts and opens alike."""
        return min((self.short, self.open), key=lambda limit: limit.mismatch)
