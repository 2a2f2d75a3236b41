"""The copper that is left after all programs, and what is proved of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import shapely

from millprep.geometry.path import Point


@dataclass(frozen=True, slots=True)
class Groove:
    """What one cutter swept on one blank, blank frame.

    Attributes:
        surface: area at the copper's surface.
        foot: area at the copper's foot.
        under: area just above the laminate's lower face.
    """

    cutter: str
    surface: shapely.MultiPolygon
    foot: shapely.MultiPolygon
    under: shapely.MultiPolygon


@dataclass(frozen=True, slots=True)
class CopperPart:
    """One connected part of the copper left on a blank.

    Attributes:
        shape: in the blank frame.
        pieces: (placement index, piece id) of every design piece it carries; empty for
            floating copper, two or more for a short.
    """

    shape: shapely.Polygon
    pieces: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class AsCut:
    """One blank after all its programs.

    Attributes:
        parts: the copper at its foot, where shorts and gaps are judged.
        surface: the copper at its surface, where opens, necks and gouges are judged.
    """

    blank: int
    grooves: tuple[Groove, ...]
    parts: tuple[CopperPart, ...]
    surface: tuple[CopperPart, ...] = ()


@dataclass(frozen=True, slots=True)
class PairGap:
    """The gap between two pieces of a copy.

    Attributes:
        pieces: ids of both.
        gap: smallest distance between their copper at the foot.
        at: middle of that gap, blank frame.
    """

    pieces: tuple[str, str]
    gap: float
    at: Point


@dataclass(frozen=True, slots=True)
class Neck:
    """The narrowest copper of one piece.

    Attributes:
        width: at the surface, mm.
        at: blank frame.
    """

    piece: str
    width: float
    at: Point


@dataclass(frozen=True, slots=True)
class Corner:
    """An inner corner that no cutter of the job reaches.

    Attributes:
        out: how far copper reaches out from the drawn edge there, mm.
        at: blank frame.
    """

    piece: str
    out: float
    at: Point


@dataclass(frozen=True, slots=True, eq=False)
class Differences:
    """Where a copy's copper at its surface is off the drawing by more than the tolerance.

    Attributes:
        too_much: copper of pieces beyond their drawn edges, blank frame, mm².
        too_little: drawn copper that is cut away, holes excepted.
    """

    too_much: shapely.MultiPolygon
    too_little: shapely.MultiPolygon


@dataclass(frozen=True, slots=True)
class PadGap:
    """What lies around the pad of a hole.

    Attributes:
        hole: its id.
        gap: to the nearest copper of another net or of none, at the foot, mm; None when that is
            farther than required.
        at: middle of that gap, blank frame; the hole's own place for no gap.
        other: id of the piece that is there, None for copper of no piece.
    """

    hole: str
    gap: float | None
    at: Point
    other: str | None


@dataclass(frozen=True, slots=True)
class WorstCase:
    """A copy as it may come out, should surface and cutters lie off as far as they may.

    Attributes:
        shorts, opens: number of faults.
        short_at: place of the first of the shorts, blank frame.
        narrowest_gap: smallest distance between two pieces, at the foot.
        narrowest_copper: width of the narrowest neck.
        gap_at, copper_at: where they are, blank frame.
    """

    shorts: int
    short_at: Point | None
    opens: int
    narrowest_gap: float | None
    gap_at: Point | None
    narrowest_copper: float | None
    copper_at: Point | None


@dataclass(frozen=True, slots=True)
class BoardProof:
    """What was proved of one copy.

    Attributes:
        pieces: design pieces found as exactly one part of their own.
        shorts, opens: number of faults.
        narrowest_gap: smallest distance between two pieces, at the foot.
        gap_at: where, blank frame.
        narrowest_copper: width of the narrowest neck of a piece, at the surface.
        copper_at: where, blank frame.
        gaps: the narrowest gaps, between another two pieces each, narrowest first.
        worst: what surface and cutters may make of it.
        bridges: pairs of pieces of one net that copper joins: no short, but not as drawn.
        necks: the narrowest neck of every piece that is one part of its own.
        corners: inner corners that keep copper for the cutter does not fit into them, the
            ones that keep most first.
        pad_gaps: what lies around every pad, the narrowest first; None when pads get no gap of
            their own.
        differences: from the drawing; None where copper is meant to stay with the pieces.
    """

    placement: int
    pieces: int
    shorts: int
    opens: int
    narrowest_gap: float | None
    gap_at: Point | None
    narrowest_copper: float | None = None
    copper_at: Point | None = None
    gaps: tuple[PairGap, ...] = ()
    worst: WorstCase | None = None
    bridges: int = 0
    necks: tuple[Neck, ...] = ()
    corners: tuple[Corner, ...] = ()
    pad_gaps: tuple[PadGap, ...] | None = None
    differences: Differences | None = field(default=None, compare=False)


Kind = Literal["short", "open", "gap"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A misalignment that is proved harmless, and the place that would give way first.

    Attributes:
        misalignment: between two passes, in any direction, mm.
        at: blank frame.
        placement, piece: the copper at that place.
    """

    misalignment: float
    blank: int
    at: Point
    placement: int
    piece: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """The misalignment that all joins of a set tolerate.

    Attributes:
        short: before copper joins two pieces, or a piece and what is around it.
        open: before a piece is cut in two.
        gap: before less than `required` is left between them.
        required: the gap that must be left, mm.
        turn: of a pass about the holes it is found by, without any shift, that the joins
            tolerate before a short or an open; degrees.
        at_least: what tolerates all that was looked at, and may well tolerate more.
    """

    short: Limit
    open: Limit
    gap: Limit
    required: float
    turn: float
    at_least: tuple[Kind, ...] = ()

    @property
    def least(self) -> Limit:
        """What is proved against shorts and opens alike."""
        return min((self.short, self.open), key=lambda limit: limit.misalignment)
