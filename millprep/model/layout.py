"""Boards on blanks, and findings about one of them.

What else may be metal at 0 V is here too: the edge of a board in its chassis, and screws.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.board import Board, Hole
from millprep.model.finding import Finding, Severity


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
class Spot:
    """Where one copy of a board lies, in the numbers that a layout is written in.

    Attributes:
        board: the job's name for it.
        copy: from 1.
        blank: the blank's number.
        x, y: low corner of the box around the board as it lies, blank frame, mm.
        turn: degrees counter-clockwise, after the mirroring if there is one.
    """

    board: str
    copy: int
    blank: int
    x: float
    y: float
    turn: float = 0.0

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.x, self.y, self.turn))):
            raise ValueError(f"board {self.board} copy {self.copy}: its place is no number")
        if self.copy < 1 or self.blank < 1:
            raise ValueError(f"board {self.board}: copies and blanks are numbered from 1")

    @property
    def words(self) -> str:
        """The copy's name for people."""
        return f"board {self.board} copy {self.copy}"


@dataclass(frozen=True, slots=True)
class Layout:
    """Every copy of every board on its blank."""

    blanks: tuple[Blank, ...]
    placements: tuple[Placement, ...]

    def on(self, blank: int) -> tuple[Placement, ...]:
        """The placements on one blank."""
        return tuple(p for p in self.placements if p.blank == blank)


def on_blank(
    placement: Placement,
    code: str,
    severity: Severity,
    message: str,
    at: Point,
    *,
    mill_pass: int | None = None,
) -> Finding:
    """A finding about one copy at a place on its blank, of a pass where it concerns one."""
    return Finding(
        code=code,
        severity=severity,
        message=message,
        frame="blank",
        at=(float(at[0]), float(at[1])),
        board=placement.board.name,
        copy=placement.copy,
        blank=placement.blank,
        mill_pass=mill_pass,
    )


def on_drawing(
    placement: Placement, code: str, severity: Severity, message: str, at: Point
) -> Finding:
    """A finding about one copy at a place of its drawing."""
    return replace(on_blank(placement, code, severity, message, at), frame="drawing")


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
