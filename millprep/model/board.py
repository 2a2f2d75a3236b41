"""A board as the drawing gives it, in drawing coordinates (mm, y up, not yet mirrored)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from millprep.geometry import letters
from millprep.geometry.path import Path, Point, spine
from millprep.geometry.pose import Affine, Pose
from millprep.model.finding import Finding


@dataclass(frozen=True, slots=True)
class CopperPiece:
    """One connected copper area of the design.

    Attributes:
        id: "c1", "c2", … in reading order (left to right, then bottom to top).
        shape: valid polygon, curves flattened to 2 µm with every vertex on the true curve.
    """

    id: str
    shape: shapely.Polygon

    def __post_init__(self) -> None:
        if self.shape.is_empty or not self.shape.is_valid:
            raise ValueError(f"piece {self.id} is no valid area")

    @property
    def at(self) -> Point:
        """A point on the copper, to name the piece by."""
        point = self.shape.representative_point()
        return (point.x, point.y)


@dataclass(frozen=True)
class Hole:
    """A round hole, or a slot: a long hole with round ends.

    Attributes:
        id: "h1", "h2", … in reading order.
        at: its centre; of a slot the centre of its first end.
        diameter: of a slot, its width.
        piece: id of the copper piece it is on, or None.
        end: of a slot the centre of its other end, None for a round hole.
    """

    id: str
    at: Point
    diameter: float
    piece: str | None = None
    end: Point | None = None

    def __post_init__(self) -> None:
        if not self.diameter > 0:
            raise ValueError(f"hole {self.id} has no diameter")
        if self.end == self.at:
            raise ValueError(f"slot {self.id} has no length")

    @cached_property
    def spine(self) -> shapely.Point | shapely.LineString:
        """The hole is all that lies within its radius of this: its centre, or centre line."""
        return spine(self.at, self.end)

    @property
    def words(self) -> str:
        """Its kind, id and size."""
        if self.end is None:
            return f"hole {self.id} of {self.diameter:.2f} mm"
        long = self.spine.length + self.diameter
        return f"slot {self.id} of {long:.2f} × {self.diameter:.2f} mm"

    def transformed(self, pose: Pose) -> Hole:
        """The hole in another frame."""
        return replace(self, at=pose.point(self.at), end=self.end and pose.point(self.end))


@dataclass(frozen=True, slots=True)
class NetPoint:
    """A point of a netlist: where a pin or a via meets the copper.

    Attributes:
        net: the net's name; None for a pin that is left free.
        at: the place, mm; in the frame of the netlist until it is placed on a drawing.
        part, pin: their names, "" where the netlist gives none.
        drilled: whether a hole belongs there; None when the netlist does not say.
        side: the copper layer it can be reached from, 1 for the component side; 0 for both.
        line: in the netlist's file, from 1.
    """

    net: str | None
    at: Point
    part: str = ""
    pin: str = ""
    drilled: bool | None = None
    side: int = 0
    line: int = 0

    @property
    def words(self) -> str:
        """Part and pin, or the place where there is no part."""
        if not self.part:
            return f"the point at {self.at[0]:.2f}, {self.at[1]:.2f} mm"
        return f"{self.part} pin {self.pin}" if self.pin else self.part


PLAIN = Affine()
LETTER = 0.8
"""How far one letter of a text is from the next, in letter heights (a usual font, no source)."""


@dataclass(frozen=True, slots=True)
class Lettering:
    """Text in the drawing.

    Attributes:
        words: what it says; line breaks end its lines.
        at: the point it hangs on, drawing frame, mm.
        mirrored: whether it reads backwards in the drawing.
        layer: that it is drawn on.
        letters: the map from letter heights along and above the base line, from `at`, to mm.
        hangs: where in its box it hangs: (0, 0) at the lower left, (1, 1) at the upper right.
    """

    words: str
    at: Point
    mirrored: bool
    layer: str = ""
    letters: Affine = PLAIN
    hangs: tuple[float, float] = (0.0, 0.0)

    @property
    def middle(self) -> Point:
        """The middle of its box, its letters taken to be `LETTER` wide."""
        lines = self.words.splitlines() or [""]
        wide = LETTER * max(map(len, lines))
        high = 1.0 + (len(lines) - 1) * LINE
        h, v = self.hangs
        return self.letters.point((0.5 - h) * wide, (0.5 - v) * high)

    def strokes(self, turned: bool) -> Iterator[Path]:
        """Its strokes where it is drawn, drawing frame; `turned` about its middle."""
        rows = [letters.drawable(row)[0] for row in self.words.splitlines()]
        h, v = self.hangs
        high = 1.0 + (len(rows) - 1) * LINE
        for n, row in enumerate(rows):
            wide = letters.width(row, 1.0)
            start = (-h * wide, -v * high + (len(rows) - 1 - n) * LINE)
            for stroke in letters.strokes(row, 1.0, start):
                x, y = stroke.xy.T
                x = (1 - 2 * h) * wide - x if turned else x
                yield Path.lines(self.letters.points(np.column_stack((x, y))))


LINE = 5 / 3
"""From one line of a text to the next, in letter heights (single spacing of DXF)."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Entities of the drawing that are not part of the board, and why.

    `harmless` says that the board is the same without them, whatever was meant.
    """

    layer: str
    kind: str
    count: int
    reason: str
    harmless: bool = False


@dataclass(frozen=True, slots=True)
class Legend:
    """What is to be engraved into the component side, drawing frame, mm.

    Attributes:
        lines: centre lines of what is drawn.
        texts: with where and how large they are.
    """

    lines: tuple[Path, ...]
    texts: tuple[Lettering, ...]

    def paths(self, *, mirrored: bool) -> list[Path]:
        """All of it as lines, for a board whose pose is `mirrored` or not.

        A text that would read backwards on the component side is turned about its middle.
        """
        return [
            *self.lines,
            *(path for text in self.texts for path in text.strokes(text.mirrored == mirrored)),
        ]


@dataclass(frozen=True, slots=True)
class Board:
    """One circuit board as drawn.

    Attributes:
        name: the job's name for it.
        outline: the board's area; its interior rings are cut-outs. Vertices lie on the
            true curve, chords within 2 µm of it.
        pieces: the copper, disjoint.
        holes: every hole, registration excepted.
        lettering: text on copper layers.
        left_out: what the drawing holds besides.
        repairs: what was changed to open damaged files, each with its name.
        notes: text on other layers.
        doubts: warnings of the reading: what the job leaves aside and may have meant.
        points: of its netlist, placed on the drawing; none without a netlist.
        legend: what is to be engraved into the component side; None without layers for it.
        parts: holes that a text of the drawing names and no netlist does, as points of no net.
    """

    name: str
    outline: shapely.Polygon
    pieces: tuple[CopperPiece, ...]
    holes: tuple[Hole, ...]
    lettering: tuple[Lettering, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    repairs: tuple[str, ...] = ()
    notes: tuple[Lettering, ...] = ()
    doubts: tuple[Finding, ...] = ()
    points: tuple[NetPoint, ...] = ()
    parts: tuple[NetPoint, ...] = ()
    legend: Legend | None = None

    @property
    def pins(self) -> tuple[NetPoint, ...]:
        """The points whose part is known, by the netlist or by a text."""
        return tuple(point for point in (*self.points, *self.parts) if point.part)

    def __post_init__(self) -> None:
        if not self.pieces:
            raise ValueError(f"board {self.name} has no copper")
        if self.outline.is_empty or not self.outline.is_valid:
            raise ValueError(f"board {self.name} has no valid outline")
