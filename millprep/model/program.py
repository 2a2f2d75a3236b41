"""A program: ordered moves of one cutter in one pass, in the machine frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from millprep.model.cut import Work
from millprep.model.cutter import Cutter
from millprep.model.cutting import Cutting
from millprep.model.trail import Trail

Motion = Literal["rapid", "feed", "arc_cw", "arc_ccw", "probe"]


class Cycle(NamedTuple):
    """A drilling cycle: at (x, y) from height r down to z at the feed, and back to r.

    With `peck` above 0 the drill goes up to r after every so many mm.
    """

    x: float
    y: float
    z: float
    r: float
    peck: float
    feed: float


class Move(NamedTuple):
    """One motion to (x, y, z); i, j lead from its start to the arc's centre.

    `feed` in mm/min, None for a rapid; `wait` seconds at its end, for a person to look; `stop`
    words for a stop at its end, until the person goes on. A probe ends where it touches. All
    motions of one drilling cycle carry that `cycle`, which one line tells.
    """

    motion: Motion
    x: float
    y: float
    z: float
    i: float | None = None
    j: float | None = None
    feed: float | None = None
    wait: float = 0.0
    stop: str = ""
    cycle: Cycle | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """What one program costs: seconds, mm of cutting, mm of rapid travel.

    `lines` are the first and the last of its lines in a file that holds others as well.
    """

    seconds: float
    cut_length: float
    travel_length: float
    lines: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Program:
    """Ordered moves of one cutter in one pass; with a tool change, several share a file.

    Attributes:
        file: path relative to the set's folder, "blank-1/pass-1/01-isolate-vee30.ngc".
        blank, mill_pass: their numbers, for words; pass 0 is the spoilboard.
        works: the kinds of work in it, the first of them names the file.
        depth: of the deepest move below the copper surface.
        spindle: revolutions per minute.
        start: where the machine stands before the first move, (x, y, z).
        moves: all motion; the first goes up.
        notes: words for the head of the file.
        zero_on: the surface that Z is zeroed on.
        spins: False for a dry run and for touching, when the spindle stays off.
        figures: what it costs; None before it is written.
        trail: where the cutter goes as its file was read back; None before.
        cutting: how the cutter cuts; None before that is worked out, and where nothing cuts.
    """

    file: str
    blank: int
    mill_pass: int
    cutter: Cutter
    works: tuple[Work, ...]
    depth: float
    spindle: float
    start: tuple[float, float, float]
    moves: tuple[Move, ...]
    notes: tuple[str, ...] = ()
    zero_on: str = "the copper"
    spins: bool = True
    figures: Figures | None = None
    trail: Trail | None = None
    cutting: Cutting | None = None

    @property
    def work(self) -> Work:
        """The work that names the file."""
        return self.works[0]
