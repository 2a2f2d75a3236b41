"""What a program does, as the reader understood it: moves and events in order, mm.

It is held against the table of motions that was written next to it.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from operator import itemgetter
from typing import Literal, NamedTuple, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.finding import Finding
from millprep.model.program import Program

T = TypeVar("T")
Kind = Literal["rapid", "feed", "arc_cw", "arc_ccw", "probe"]
Place = tuple[float, float, float]
HOVER = 1.0
"""Height above the copper at which a program stops for a look at Z zero, mm."""
DIGIT = 1e-6
"""Heights closer than this, mm, are the same."""


class TraceMove(NamedTuple):
    """One motion.

    `start` and `end` are (x, y, z) in mm, nan for an axis whose place no word has set yet;
    `centre` is (x, y) for an arc; `feed` in mm/min, None for a rapid; `line` from 1. `by` is how
    far it goes where that is counted from a touch (G91), whose place only the machine knows.
    """

    kind: Kind
    start: Place
    end: Place
    centre: tuple[float, float] | None
    feed: float | None
    line: int
    by: Place | None = None


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


class PathEvent(NamedTuple):
    """G61, G61.1 or G64, in tenths, before `moves[before]`; its P in mm, None without."""

    before: int
    line: int
    code: int
    tolerance: float | None


class ModeEvent(NamedTuple):
    """A mode that is set before `moves[before]`: plane, units, distance and the like, in tenths."""

    before: int
    line: int
    code: int


class Remark(NamedTuple):
    """A line that is a comment and nothing else, before `moves[before]`."""

    before: int
    line: int
    words: str


@dataclass(frozen=True, slots=True)
class Columns:
    """The n moves of a trace as columns, mm.

    Attributes:
        start, end: (n, 3), nan where unknown.
        centre: (n, 2), nan for straight moves.
        feed: (n,), nan for rapids.
        line: (n,) line numbers.
        rapid, probe, arc, clockwise: masks; of arcs, those that run clockwise.
    """

    start: FloatArray
    end: FloatArray
    centre: FloatArray
    feed: FloatArray
    line: NDArray[np.int64]
    rapid: NDArray[np.bool_]
    probe: NDArray[np.bool_]
    arc: NDArray[np.bool_]
    clockwise: NDArray[np.bool_]

    def __post_init__(self) -> None:
        for column in fields(self):
            # all rules look at the same columns
            getattr(self, column.name).setflags(write=False)


_NOWHERE = (math.nan, math.nan)


@dataclass(frozen=True)
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
        paths: words on how corners are run.
        modes: words on plane, units, distance, feed mode, compensation, length, system, motion.
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
    paths: tuple[PathEvent, ...] = ()
    modes: tuple[ModeEvent, ...] = ()

    @cached_property
    def _made(self) -> dict[Callable[[Trace], object], object]:
        return {}

    def once(self, work: Callable[[Trace], T]) -> T:
        """What a pure function makes of the trace: made once, so nobody may change it."""
        if work not in self._made:
            self._made[work] = work(self)
        return cast("T", self._made[work])

    @cached_property
    def columns(self) -> Columns:
        """The moves as columns, for all rules."""
        moves = self.moves
        kind = np.array([move.kind for move in moves], dtype=np.str_)
        return Columns(
            start=np.array([move.start for move in moves], dtype=float).reshape(-1, 3),
            end=np.array([move.end for move in moves], dtype=float).reshape(-1, 3),
            centre=np.array([m.centre or _NOWHERE for m in moves], dtype=float).reshape(-1, 2),
            feed=np.array([move.feed for move in moves], dtype=float),
            line=np.array([move.line for move in moves], dtype=np.int64),
            rapid=kind == "rapid",
            probe=kind == "probe",
            arc=np.array([move.centre is not None for move in moves], dtype=bool),
            clockwise=kind == "arc_cw",
        )


class ZeroLook(NamedTuple):
    """The feeds of a look, moves `first` to `last`, and the stop after them."""

    first: int
    last: int
    stop: Stop


def look_at_zero(trace: Trace) -> ZeroLook | None:
    """The look at Z zero: the first feeds, straight down to `HOVER`, and the stop after them."""
    first = next((i for i, move in enumerate(trace.moves) if move.kind != "rapid"), None)
    if first is None:
        return None
    last = first
    while last + 1 < len(trace.moves) and trace.moves[last + 1].kind == "feed":
        last += 1
    down = trace.moves[first : last + 1]
    # the last digit of a height that is a whole number is exact in every dialect
    if abs(down[-1].end[2] - HOVER) > DIGIT or any(move.start[:2] != move.end[:2] for move in down):
        return None
    stop = next((s for s in trace.stops if s.before == last + 1 and not s.optional), None)
    return None if stop is None else ZeroLook(first, last, stop)


HALF_DIGIT = 0.5e-4 + 1e-9
"""Half the last of four decimals, mm."""


class MotionRow(NamedTuple):
    """One row of `toolpaths.csv` for one program; i and j lead from the start to the centre."""

    motion: str
    x: float
    y: float
    z: float
    i: float | None
    j: float | None
    feed: float | None


def rows_by_file(lines: Iterable[str], programs: Sequence[Program]) -> dict[str, list[MotionRow]]:
    """The rows of a table by program file; those of other programs are left out.

    Raises:
        csv.Error, LookupError, TypeError, ValueError: when it is no such table.
    """
    by_name = {
        (str(p.blank), str(p.mill_pass), p.file.rsplit("/", 1)[-1]): p.file for p in programs
    }
    result: dict[str, list[MotionRow]] = {}
    # a dictionary for every line would take longer than all else here
    table = csv.reader(lines)
    at = {name: n for n, name in enumerate(next(table, ()))}
    head = ("blank", "pass", "program", "motion", *MotionRow._fields[1:])
    cells = itemgetter(*[at[name] for name in head])
    for blank, mill_pass, program, motion, x, y, z, *others in map(cells, filter(None, table)):
        file = by_name.get((blank, mill_pass, program))
        if file is not None:
            i, j, feed = [float(value) if value else None for value in others]
            row = MotionRow(motion, float(x), float(y), float(z), i, j, feed)
            result.setdefault(file, []).append(row)
    return result


def check_rows(trace: Trace, rows: Sequence[MotionRow], *, file: str) -> tuple[Finding, ...]:
    """Where program and table differ, at the first place only: what follows is shifted.

    The first row is where the program starts; what no word of the program has set yet must
    be there still.
    """

    def differs(message: str, line: int) -> tuple[Finding, ...]:
        return (
            Finding(
                code="file-differs",
                severity="stop",
                message=f"{message}. The file is not the one that was proved: write it again.",
                file=file,
                line=line,
            ),
        )

    if not rows:
        return differs("the table of motions has no rows for this program", 1)
    at = rows[0][1:4]
    for move, row in zip(trace.moves, rows[1:], strict=False):
        # the table knows no touch: it holds the feed to where one is aimed
        if ("feed" if move.kind == "probe" else move.kind) != row.motion:
            return differs(f"a {move.kind} where the table has a {row.motion}", move.line)
        x, y, z = move.end
        # what no word has set is where it was
        x = at[0] if math.isnan(x) else x
        y = at[1] if math.isnan(y) else y
        z = at[2] if math.isnan(z) else z
        if not (
            abs(x - row.x) <= HALF_DIGIT
            and abs(y - row.y) <= HALF_DIGIT
            and abs(z - row.z) <= HALF_DIGIT
        ):
            message = f"the move ends at {(x, y, z)} and in the table at {row[1:4]}"
            return differs(message, move.line)
        if not _same_centre(move, row):
            return differs("the arc's centre is not the one of the table", move.line)
        if (move.feed is None) != (row.feed is None) or (
            move.feed is not None
            and row.feed is not None
            and not abs(move.feed - row.feed) <= HALF_DIGIT
        ):
            return differs(f"the feed is {move.feed} and in the table {row.feed}", move.line)
        at = row[1:4]
    if len(trace.moves) != len(rows) - 1:
        message = f"the program has {len(trace.moves)} moves, the table {len(rows) - 1}"
        return differs(message, trace.last_line)
    return ()


def _same_centre(move: TraceMove, row: MotionRow) -> bool:
    if move.centre is None or row.i is None or row.j is None:
        return move.centre is None and row.i is None and row.j is None
    there = (move.start[0] + row.i, move.start[1] + row.j)
    # Start and offset are rounded each on its own.
    return math.dist(move.centre, there) <= 3 * HALF_DIGIT
