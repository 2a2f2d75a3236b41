"""Boards on blanks."""

from __future__ import annotations

from dataclasses import dataclass

from millprep.values.blank import Blank
from millprep.values.board import Board
from millprep.values.pose import Pose


@dataclass(frozen=True, slots=True)
class Placement:
    """One copy of a board on a blank.

    Attributes:
        index: place in the layout's list, from 0; short name of the copy inside the tool.
        board: as drawn.
        copy: from 1.
        blank: the blank's number.
        pose: drawing to blank; mirrored when the drawing was made from the component side.
    """

    index: int
    board: Board
    copy: int
    blank: int
    pose: Pose


@dataclass(frozen=True, slots=True)
class Layout:
    """Every copy of every board on its blank."""

    blanks: tuple[Blank, ...]
    placements: tuple[Placement, ...]

    def on(self, blank: int) -> tuple[Placement, ...]:
        """The placements on one blank."""
        return tuple(p for p in self.placements if p.blank == blank)
