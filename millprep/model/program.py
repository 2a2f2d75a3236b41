"""A program: ordered moves of one cutter in one pass, and what is known of them, machine frame."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.cut import Work
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, stop

Motion = Literal["rapid", "feed", "arc_cw", "arc_ccw", "probe"]


class Cycle(NamedTuple):
    """A drilling cycle at (x, y): rapid down to height r, feed down to z, rapid up to `back`.

    With `peck` above 0 the drill goes up to r after every so many mm.
    """

    x: float
    y: float
    z: float
    r: float
    peck: float
    feed: float
    back: float


class SecondTouch(NamedTuple):
    """A probe's second touch: up this far from where it touched, mm, and slowly down again."""

    back: float
    feed: float


class Move(NamedTuple):
    """One motion to (x, y, z); i, j lead from its start to the arc's centre.

    `feed` in mm/min, None for a rapid; `wait` seconds at its end, for a person to look; `stop`
    words for a stop at its end, until the person goes on. A probe ends where it touches, and may
    touch `again`. All motions of one drilling cycle carry that `cycle`, which one line orders.
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
    again: SecondTouch | None = None


def ends_of(moves: Sequence[Move]) -> FloatArray:
    """(n, 5) x, y, z, i and j of moves; nan for i and j without an arc."""
    return np.array([move[1:6] for move in moves], dtype=float).reshape(-1, 5)


def clockwise_of(moves: Sequence[Move]) -> NDArray[np.bool_]:
    """(n,) which moves are arcs that run clockwise."""
    return np.array([move.motion == "arc_cw" for move in moves], dtype=bool)


@dataclass(frozen=True, slots=True)
class Figures:
    """What one program costs.

    Attributes:
        seconds: running time, s, with acceleration and as earlier runs of the machine show.
        by_feeds_seconds: running time by lengths and feeds alone, s.
        cut_length: mm of cutting.
        travel_length: mm of rapid travel.
        least_seconds: what its cuts take by lengths and feeds alone in the best order, whatever
            travel is between, s.
        lines: the first and the last of its lines in a file that holds others as well.
    """

    seconds: float
    by_feeds_seconds: float
    cut_length: float
    travel_length: float
    least_seconds: float = 0.0
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
        start: where the machine is before the first move, (x, y, z).
        moves: all motion; the first goes up.
        notes: words for the head of the file.
        zero_on: the surface that Z is zeroed on.
        lies: how the blank lies, in words; None where it lies as its pass says.
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
    lies: str | None = None
    spins: bool = True
    figures: Figures | None = None
    trail: Trail | None = None
    cutting: Cutting | None = None

    @property
    def work(self) -> Work:
        """The work that names the file."""
        return self.works[0]

    @property
    def ends(self) -> FloatArray:
        """(n, 5) where every move ends, and from its start to its centre; nan without one."""
        return ends_of(self.moves)

    @property
    def clockwise(self) -> NDArray[np.bool_]:
        """(n,) the moves that are arcs and run clockwise."""
        return clockwise_of(self.moves)


@dataclass(frozen=True, slots=True)
class Cutting:
    """The figures of one program.

    Attributes:
        file: of the program.
        cutter: name of the cutter.
        width: of what it cuts, a diameter or a vee's groove at the surface, mm.
        surface_speed: of the edge at that width, m/min.
        chip_load: what a tooth takes along a path, mm; None for a drill.
        plunge_load: what a tooth takes straight down, of a drill a turn, mm; None where the
            cutter goes down on ramps alone.
        bounds: least and most that a tooth should take, of a drill a turn, mm.
        step: deepest that it goes in one go, mm.
        steps: in how many the deepest hole is drilled; None for what is no drill.
    """

    file: str
    cutter: str
    width: float
    surface_speed: float
    chip_load: float | None
    plunge_load: float | None
    bounds: tuple[float, float]
    step: float
    steps: int | None = None

    def __post_init__(self) -> None:
        if not (self.width > 0 and self.surface_speed > 0 and self.step >= 0):
            raise ValueError(f"{self.file}: width and speed must be above 0, step 0 or more")
        if not 0 < self.bounds[0] < self.bounds[1]:
            raise ValueError(f"{self.file}: bounds must be above 0 and in order")

    @property
    def load(self) -> float | None:
        """What a tooth takes where it does its work: along a path, of a drill straight down."""
        return self.plunge_load if self.chip_load is None else self.chip_load


IntArray = NDArray[np.int64]

RAPID, FEED, ARC_CW, ARC_CCW = range(4)
"""Kinds of motion, as numbers."""


@dataclass(frozen=True, eq=False, slots=True)
class Trail:
    """The motion of one program, in order.

    Attributes:
        file: the program's path relative to the set's folder.
        xyz: (n + 1, 3) places; move i leads from place i to place i + 1.
        kind: (n,) kinds of motion.
        centre: (n, 2) centres of the arcs, nan for what is straight.
        feed: (n,) mm/min, nan for a rapid.
        line: (n,) lines of the file, from 1.
        wait: (n,) seconds that the cutter waits before the move.

    Raises:
        ValueError: for arrays that do not fit together, or places that are not finite.
    """

    file: str
    xyz: FloatArray
    kind: IntArray
    centre: FloatArray
    feed: FloatArray
    line: IntArray
    wait: FloatArray

    def __post_init__(self) -> None:
        n = len(self.kind)
        fits = (
            self.xyz.shape == (n + 1, 3)
            and self.centre.shape == (n, 2)
            and self.feed.shape == self.line.shape == self.wait.shape == self.kind.shape == (n,)
        )
        if not fits:
            raise ValueError(f"trail {self.file}: its arrays do not fit together")
        if not np.isfinite(self.xyz).all():
            raise ValueError(f"trail {self.file}: a place is not finite")
        for array in (self.xyz, self.kind, self.centre, self.feed, self.line, self.wait):
            array.setflags(write=False)

    def __len__(self) -> int:
        return len(self.kind)

    def steps(self, moves: NDArray[np.bool_], step: float) -> FloatArray:
        """(m, 2) places at most `step` mm apart along some of the moves, each with its end."""
        kind, centre = self.kind[moves], self.centre[moves]
        start, end = self.xyz[:-1][moves, :2], self.xyz[1:][moves, :2]
        curved = (kind == ARC_CW) | (kind == ARC_CCW)
        out, back = (
            np.where(curved, (start - centre).T, 0.0),
            np.where(curved, (end - centre).T, 0.0),
        )
        first = np.arctan2(out[1], out[0])
        turn = (np.arctan2(back[1], back[0]) - first) % (2 * np.pi)
        # an arc that ends where it starts is a full circle
        turn = np.where(turn < 1e-9, 2 * np.pi, turn)
        turn = np.where(kind == ARC_CW, turn % (2 * np.pi) - 2 * np.pi, turn)
        radius = np.hypot(*out)
        length = np.where(curved, np.abs(turn) * radius, np.hypot(*(end - start).T))
        counts = np.maximum(np.ceil(length / step), 1).astype(np.int64)
        of = np.repeat(np.arange(len(counts)), counts)
        part = (np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts) + 1) / counts[of]
        angle = first[of] + part * turn[of]
        around = centre[of] + radius[of, None] * np.column_stack((np.cos(angle), np.sin(angle)))
        straight = start[of] + part[:, None] * (end - start)[of]
        return np.asarray(np.where(curved[of, None], around, straight))


@dataclass(frozen=True, slots=True)
class Resumption:
    """Where one program of a set is resumed.

    Attributes:
        file: of the new program, from the folder of its set.
        of: the program it resumes, from the folder of the set it is made from.
        wish: where it was to continue, in the words of the command.
        point: the restart point in which it begins.
        points: how many the program has.
        entry: where the cutter goes down, (x, y, z), machine frame.
        overlap: mm along the path from there to the place that was named; None where it begins at
            a restart point, whose cut it makes anew as a whole.
        cuts: how many of the program's cuts it makes, the first perhaps in part.
        board, copy: the copy whose cuts alone it makes; None for all.
    """

    file: str
    of: str
    wish: str
    point: int
    points: int
    entry: tuple[float, float, float]
    overlap: float | None
    cuts: int
    board: str | None = None
    copy: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.point <= self.points or not 1 <= self.cuts <= self.points:
            raise ValueError(f"{self.file}: no restart point {self.point} of {self.points}")
        if (self.board is None) != (self.copy is None):
            raise ValueError("a board needs the number of its copy")


HEAD = 1000
"""A program names its set within so many characters."""
_SET = re.compile(r"job .*, set ([0-9a-f]{12})\)?$", re.ASCII | re.MULTILINE)


def sets_named(text: str) -> tuple[str, ...]:
    """The ids of the sets that the head of a program names, line by line."""
    return tuple(_SET.findall(text[:HEAD].replace("\r", "\n")))


def check_set_named(text: str, set_id: str, file: str) -> Finding | None:
    """A program whose head does not name its own set, and no other; None where it does.

    Args:
        text: of the program.
        set_id: of the set that holds it.
        file: its name in the set.
    """
    named = sets_named(text)
    if named == (set_id,):
        return None
    words = f"is a program of set {named[0]}" if named else "names no set"
    if set(named) == {set_id}:
        words = "names its set more than once"
    message = (
        f"{file} {words}, and this is set {set_id}. Cuts of two sets do not fit each other: put "
        "this set's own program back, or prepare the set again."
    )
    return stop("program-of-another-set", message, file)
