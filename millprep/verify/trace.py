"""What a program does, as the reader understood it: moves and events in order, mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Kind = Literal["rapid", "feed", "arc_cw", "arc_ccw", "probe"]
Place = tuple[float, float, float]


class TraceMove(NamedTuple):
    """One motion.

    `start` and `end` are (x, y, z) in mm, nan for an axis whose place no word has set yet;
    `centre` is (x, y) for an arc; `feed` in mm/min, None for a rapid; `line` from 1.
    """

    kind: Kind
    start: Place
    end: Place
    centre: tuple[float, float] | None
    feed: float | None
    line: int


class SpindleEvent(NamedTuple):
    """The spindle is switched on or off; it comes before `moves[before]`."""

    before: int
    line: int
    on: bool
    clockwise: bool
    rpm: float


class Dwell(NamedTuple):
    """A pause of so many seconds before `moves[before]`."""

    before: int
    line: int
    seconds: float


class Stop(NamedTuple):
    """M0 or, `optional`, M1 before `moves[before]`; `words` is the comment there or above."""

    before: int
    line: int
    optional: bool
    words: str


class ToolChange(NamedTuple):
    """M6 before `moves[before]`."""

    before: int
    line: int
    tool: int


class Remark(NamedTuple):
    """A line that is a comment and nothing else, before `moves[before]`."""

    before: int
    line: int
    words: str


@dataclass(frozen=True, slots=True)
class Trace:
    """A program read.

    Attributes:
        file: as the caller named it.
        ended: the word that ended it, "%" for the closing percent line.
        last_line: line of that word.
        deletable: lines with a block delete slash; here they are taken as carried out.
        assumed: modal words the program relies on and never says, such as "G90".
        cycles: lines that order a drilling cycle.
        remarks: lines that are comments.
    """

    file: str
    moves: tuple[TraceMove, ...]
    spindle: tuple[SpindleEvent, ...]
    dwells: tuple[Dwell, ...]
    stops: tuple[Stop, ...]
    tool_changes: tuple[ToolChange, ...]
    ended: Literal["M2", "M30", "%"]
    last_line: int
    deletable: tuple[int, ...] = ()
    assumed: tuple[str, ...] = ()
    cycles: tuple[int, ...] = ()
    remarks: tuple[Remark, ...] = ()
