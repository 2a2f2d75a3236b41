"""Boards of the job, their nets and places."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as File
from typing import NamedTuple

from millprep.geometry.path import Point
from millprep.model.net import Load
from millprep.model.plan.drawing import DrawnFrom, LayerRoles, Unit


@dataclass(frozen=True, slots=True)
class WireLink:
    """A wire the maker solders between two points on the copper, drawing coordinates in mm.

    Attributes:
        ohms: of the wire; 0 for one that is taken as perfect.
    """

    start: Point
    end: Point
    ohms: float = 0.0


@dataclass(frozen=True, slots=True)
class NetPlan:
    """A net as the job names it: by a point on its copper, or by text that stands on it.

    Attributes:
        at: drawing frame, mm; None when `text` names the net.
        volts, amperes, loads: as in `NetFacts`.

    Raises:
        ValueError: for a point and text at once, or neither.
    """

    name: str
    at: Point | None
    text: str | None
    volts: tuple[float, float] | None = None
    amperes: float = 0.0
    loads: tuple[Load, ...] = ()

    def __post_init__(self) -> None:
        if (self.at is None) == (self.text is None):
            raise ValueError(f"net {self.name} needs a point or text, one of them")


class FurtherDrawing(NamedTuple):
    """A further file that the job names: absolute, and as the job wrote it."""

    file: File
    name: str


@dataclass(frozen=True, slots=True)
class PlacePlan:
    """A place by hand for one copy of a board.

    Attributes:
        at: low corner of the box around the board as it lies, blank frame.
        turn: degrees counter-clockwise.
        blank: number of the blank, from 1.
    """

    at: Point
    turn: float = 0.0
    blank: int = 1


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """One board of the job.

    Attributes:
        drawing: the DXF file, made absolute from the job file's folder.
        drawing_name: as the job wrote it.
        unit: of the drawing, None to take what the file says.
        outline_drawing, holes_drawing: further DXF files, where outline or holes have their own.
        accepted: names of changes that a repair may make to shapes in use.
        turns: degrees by which a copy may be turned on its blank.
        priority: boards of a higher number get their places first.
        clear: corners of areas to be cleared of copper that belongs to no piece, drawing frame.
        places: by hand, of the first copies.
    """

    name: str
    drawing: File
    drawing_name: str
    count: int
    drawn_from: DrawnFrom
    layers: LayerRoles
    unit: Unit | None
    links: tuple[WireLink, ...]
    outline_drawing: FurtherDrawing | None = None
    holes_drawing: FurtherDrawing | None = None
    accepted: tuple[str, ...] = ()
    turns: tuple[float, ...] = (0.0,)
    priority: int = 0
    nets: tuple[NetPlan, ...] = ()
    clear: tuple[tuple[Point, ...], ...] = ()
    places: tuple[PlacePlan, ...] = ()

    @property
    def files(self) -> tuple[tuple[File, str], ...]:
        """Every drawing, absolute and as the job wrote it."""
        further = (self.outline_drawing, self.holes_drawing)
        return ((self.drawing, self.drawing_name), *(f for f in further if f is not None))
