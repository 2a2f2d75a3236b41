"""The copper that is left after the programs have run, and how it compares with the design."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from millprep.values.path import Point


@dataclass(frozen=True, slots=True)
class Groove:
    """What one cutter swept on one blank, blank frame.

    Attributes:
        surface: area at the copper's surface.
        foot: area at the copper's foot.
        under: area just above the laminate's lower face; None when nobody looked.
    """

    cutter: str
    surface: shapely.MultiPolygon
    foot: shapely.MultiPolygon
    under: shapely.MultiPolygon | None = None


@dataclass(frozen=True, slots=True)
class CopperPart:
    """One connected part of the copper left on a blank.

    Attributes:
        shape: in the blank frame.
        pieces: (placement index, piece id) of every design piece it carries; empty for
            background copper, two or more for a short.
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
class BoardProof:
    """What was proved of one copy.

    Attributes:
        pieces: design pieces found as exactly one part of their own.
        shorts, opens: number of faults.
        narrowest_gap: smallest distance between two pieces, at the foot.
        gap_at: where, blank frame.
    """

    placement: int
    pieces: int
    shorts: int
    opens: int
    narrowest_gap: float | None
    gap_at: Point | None
    narrowest_copper: float | None = None
