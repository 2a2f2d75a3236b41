"""The laminate on the machine, the clamps that hold it, how far it overhangs, and boards on it.

What else may be metal at 0 V is here too: the edge of a board in its chassis, and screws.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Literal

import pydantic.dataclasses
import shapely
from pydantic import Field, PlainValidator, TypeAdapter, WithJsonSchema
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.board import Board, Hole
from millprep.model.finding import Finding, Severity
from millprep.model.job.keys import CORNERS_ALLOWED, TABLE, Corners, JobTable, entry, number

PROP = 2 / 3
"""Where to put a prop, as a fraction of the overhang."""
WORTH = 1.0
"""An overhang of less than this needs no prop, mm."""
Grade = Literal["FR-1", "FR-2", "FR-4", "CEM-1", "CEM-3"]
"""Of laminates: phenolic paper FR-1 and FR-2, glass epoxy FR-4, composites CEM-1 and CEM-3."""
STIFF: dict[str | None, float] = {
    "FR-4": 22.0,
    "CEM-3": 14.0,
    "CEM-1": 11.0,
    "FR-1": 7.0,
    "FR-2": 7.0,
}
"""Young's modulus of laminates along the weaker direction, GPa, from memory."""


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, mm."""

    x0: float
    y0: float
    x1: float
    y1: float

    def __post_init__(self) -> None:
        if not (self.x0 < self.x1 and self.y0 < self.y1):
            raise ValueError(f"a box needs x0 < x1 and y0 < y1: {self}")

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Its sides: x0, y0, x1, y1."""
        return self.x0, self.y0, self.x1, self.y1

    @property
    def shape(self) -> shapely.Polygon:
        """The box as a polygon."""
        return shapely.box(*self.bounds)

    def grown(self, by: float) -> Box:
        """The box with every side farther out."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def contains(self, x: float, y: float, slack: float = 1e-9) -> bool:
        """Whether a point lies in the box."""
        return self.x0 - slack <= x <= self.x1 + slack and self.y0 - slack <= y <= self.y1 + slack


@dataclass(frozen=True, slots=True)
class Blank:
    """A piece of copper-clad laminate; its low corner is the blank frame's origin.

    Attributes:
        number: from 1.
        size: (x, y) as it lies on the machine.
        thickness: copper and carrier together.
        copper: thickness of the foil.
        outline: of an offcut, in the blank frame; None for the whole rectangle.
        grade: of the laminate; None where the job does not say.
        modulus: Young's modulus E, GPa; that of FR-4, from memory.
        poisson: Poisson's ratio; that of FR-4, from memory.
    """

    number: int
    size: tuple[float, float]
    thickness: float
    copper: float
    outline: shapely.Polygon | None = None
    grade: Grade | None = None
    modulus: float = 22.0
    poisson: float = 0.14

    def __post_init__(self) -> None:
        if not (self.size[0] > 0 and self.size[1] > 0 and 0 < self.copper < self.thickness):
            raise ValueError(f"blank {self.number}: sizes must be above 0, copper below thickness")


CORNERS = TypeAdapter(Corners, config=TABLE)


def _box(value: object) -> Box:
    if isinstance(value, Box):
        return value
    return Box(*CORNERS.validate_python(value))


def _areas(value: object) -> bool | tuple[Box, ...]:
    if isinstance(value, bool):
        return value
    if not isinstance(value, list | tuple) or not value:
        raise ValueError("neither a flag nor areas")
    return tuple(map(_box, value))


AREAS_ALLOWED = "true, false or a list of areas in mm, [[x0, y0, x1, y1], …]"
Areas = Annotated[
    bool | tuple[Box, ...],
    PlainValidator(_areas),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "boolean"},
                {"type": "array", "items": CORNERS.json_schema(), "minItems": 1},
            ]
        }
    ),
]
"""Where something holds the blank: everywhere, nowhere, or in boxes of the machine."""


@pydantic.dataclasses.dataclass(frozen=True, slots=True, config=TABLE)
class Clamp(JobTable):
    """Something that holds the blank and is in the way, in machine coordinates."""

    box: Annotated[Box, PlainValidator(_box), WithJsonSchema(CORNERS.json_schema())] = entry(
        "The area it covers, machine coordinates, [x0, y0, x1, y1]",
        CORNERS_ALLOWED,
        unit="mm",
    )
    height: float = number("Height above the copper surface", "mm", least=0, most=1000)
    passes: Annotated[tuple[Annotated[int, Field(ge=1)], ...], Field(min_length=1)] | None = entry(
        "Passes in which it is on",
        "a list of pass numbers from 1, such as [1, 2]",
        default=None,
        words="all passes",
    )

    def on_in(self, number: int) -> bool:
        """Whether the clamp is on in that pass."""
        return self.passes is None or number in self.passes


@dataclass(frozen=True, slots=True)
class Overhang:
    """What hangs over one side of the travel.

    Attributes:
        side: left, right, front or back.
        by: how far, mm.
        share: of the blank's length that way, 0 to 1.
        prop: where to hold it up, machine frame.
    """

    side: str
    by: float
    share: float
    prop: Point


def overhangs(pose: Pose, blank: Blank, travel: Box) -> tuple[Overhang, ...]:
    """What of a blank hangs over each side of the travel in a pass."""
    x0, y0, x1, y1 = pose.shape(shapely.box(0.0, 0.0, *blank.size)).bounds
    length, width = x1 - x0, y1 - y0
    # a prop goes to the centre of what lies on the spoilboard across
    x = (max(x0, travel.x0) + min(x1, travel.x1)) / 2
    y = (max(y0, travel.y0) + min(y1, travel.y1)) / 2
    sides = (
        ("left", travel.x0 - x0, length, (travel.x0 - PROP * (travel.x0 - x0), y)),
        ("right", x1 - travel.x1, length, (travel.x1 + PROP * (x1 - travel.x1), y)),
        ("front", travel.y0 - y0, width, (x, travel.y0 - PROP * (travel.y0 - y0))),
        ("back", y1 - travel.y1, width, (x, travel.y1 + PROP * (y1 - travel.y1))),
    )
    return tuple(
        Overhang(side, by, by / whole, (round(at[0], 1), round(at[1], 1)))
        for side, by, whole, at in sides
        if by > WORTH
    )


@dataclass(frozen=True)
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

    @cached_property
    def holes(self) -> tuple[Hole, ...]:
        """The board's holes where they lie on the blank."""
        return tuple(hole.transformed(self.pose) for hole in self.board.holes)

    @cached_property
    def pieces(self) -> Mapping[str, shapely.Polygon]:
        """The board's copper where it lies on the blank, by the names of its pieces."""
        pieces = self.board.pieces
        shapes = shapely.transform([piece.shape for piece in pieces], self.pose.points)
        return {piece.id: shape for piece, shape in zip(pieces, shapes, strict=True)}


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
