"""What is to be cut, in the blank frame: laps, clearings, holes, profiles."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import shapely

from millprep.geometry.path import Path, Point, spine
from millprep.geometry.pose import Pose

Work = Literal[
    "register", "isolate", "clear", "drill", "bore", "profile", "engrave", "probe", "dry-run"
]
WORK_ORDER: tuple[Work, ...] = (
    "probe", "dry-run", "register", "engrave", "isolate", "clear", "drill", "bore", "profile",
)  # fmt: skip
"""In a pass: the holes that find the blank again first, what frees the boards last."""


@dataclass(frozen=True, slots=True)
class Lap:
    """One isolation lap, or what is left of it where neighbours are close.

    Attributes:
        path: of the cutter's axis.
        placement: index of the copy it belongs to.
        piece: id of the copper piece it goes around.
        number: 0 for the lap that touches the copper, then outward.
        cutter: name of the cutter.
        depth: of the tip below the copper surface.
    """

    path: Path
    placement: int
    piece: str
    number: int
    cutter: str
    depth: float


@dataclass(frozen=True, slots=True)
class Clearing:
    """A path that takes away floating copper.

    Attributes:
        path: of the cutter's axis.
        placement: index of the copy it lies on.
        cutter: name of the cutter.
        depth: of the tip below the copper surface.
    """

    path: Path
    placement: int
    cutter: str
    depth: float


@dataclass(frozen=True, slots=True)
class HoleCut:
    """A hole and the cutter that makes it: a drill plunges, an end mill bores.

    Attributes:
        at, diameter: of a slot, the centre of its first end and its width.
        depth: of the tip below the copper surface.
        placement: index of the copy, None for registration holes.
        hole: id of the hole.
        piece: id of the copper piece around the hole, None for laminate without copper.
        end: of a slot the centre of its other end, None for a round hole.
    """

    at: Point
    diameter: float
    cutter: str
    depth: float
    work: Literal["register", "drill", "bore"]
    placement: int | None
    hole: str
    piece: str | None = None
    end: Point | None = None

    @property
    def spine(self) -> shapely.Point | shapely.LineString:
        """The hole is all that lies within its radius of this: its centre, or centre line."""
        return spine(self.at, self.end)

    def transformed(self, pose: Pose) -> HoleCut:
        """The cut in another frame."""
        return replace(self, at=pose.point(self.at), end=self.end and pose.point(self.end))


@dataclass(frozen=True, slots=True)
class Tab:
    """A bridge left in a profile: from `start` to `end` along the path, the cutter stays high."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Profile:
    """A cut through the laminate along an edge of a board.

    Attributes:
        path: of the cutter's axis, at full depth.
        depth: of the tip below the surface in the last depth step.
        tab_depth: of the tip where a tab stays.
        inner: True for a cut-out within the board.
    """

    path: Path
    cutter: str
    depth: float
    tab_depth: float
    tabs: tuple[Tab, ...]
    placement: int
    inner: bool

    @property
    def tab_places(self) -> tuple[Point, ...]:
        """The middle of every tab, on the path."""
        return tuple(self.path.point_at((tab.start + tab.end) / 2) for tab in self.tabs)


@dataclass(frozen=True, slots=True)
class Engraving:
    """A line cut into copper that is no board's: of a number, a cross, a comb, a name.

    Attributes:
        path: of the cutter's axis.
        cutter: name of the cutter.
        depth: of the tip below the copper surface.
        mark: what the line is part of.
        placement: index of the copy that it names; None for what names none.
    """

    path: Path
    cutter: str
    depth: float
    mark: str
    placement: int | None = None


Cut = Lap | Clearing | HoleCut | Profile | Engraving


@dataclass(frozen=True, slots=True)
class Cuts:
    """All that is to be cut for the boards of a blank, unsplit."""

    laps: tuple[Lap, ...] = ()
    clearings: tuple[Clearing, ...] = ()
    holes: tuple[HoleCut, ...] = ()
    profiles: tuple[Profile, ...] = ()


@dataclass(frozen=True, slots=True)
class DrilledInOtherPass:
    """A hole that another pass drills than the one that cuts the copper around it.

    Attributes:
        passes: that drills, that cuts.
        most: by how much they miss each other there on 99.7 % of blanks at most, mm.
    """

    placement: int
    hole: str
    passes: tuple[int, int]
    most: float


@dataclass(frozen=True, slots=True)
class HoleMade:
    """A hole as its cutter leaves it.

    Attributes:
        diameter: mm; of a slot, its width.
        drill: diameter of the drill that makes it, None when a mill does.
        wider: how much farther out its rim may lie, mm: the cutter runs out or is worn.
        misalignment: how far the copper around it may lie off because another pass cuts it, mm.
    """

    diameter: float
    drill: float | None
    wider: float = 0.0
    misalignment: float = 0.0

    def __post_init__(self) -> None:
        if not (self.diameter > 0 and self.wider >= 0 and self.misalignment >= 0):
            raise ValueError("a hole has a diameter above 0, and errors of 0 or more")
