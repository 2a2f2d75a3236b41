"""Two sets compared: the boards whose cuts differ, wherever they are on the blanks.

What counts is what the programs on disk do. Travel moves do not count.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.model.cut import Work
from millprep.model.dialect import FLATTENED, Dialect
from millprep.report import report_file
from millprep.workflow.set_cuts import Cut, CutsByTask, cuts_of
from millprep.workflow.source_set import job_of

SAME = 1.5e-3
"""Places in the drawing frame are the same within this, mm, and within …"""
ROUNDED = 3
"""… so many times the last digit: a turned place rounds differently from an upright one."""
STEP = 0.2
"""Split paths are compared at places this far from each other at most, mm."""
SAGITTA = 2e-4
SAME_FEED = 1e-3
"""Feeds are the same within this, mm/min."""


@dataclass(frozen=True, slots=True)
class Amount:
    """How much is cut.

    Attributes:
        moves: number of moves.
        length: of their path, mm.
        holes: places that are drilled, where all moves only go down or up; otherwise 0.
    """

    moves: int
    length: float
    holes: int = 0

    @classmethod
    def of(cls, cuts: Sequence[Cut]) -> Amount:
        """What some cuts amount to."""
        drilled = cuts and all(cut.straight_down for cut in cuts)
        holes = {(round(cut.start[0], 2), round(cut.start[1], 2)) for cut in cuts}
        length = round(sum(cut.length for cut in cuts), 3)
        return cls(len(cuts), length, len(holes) if drilled else 0)


@dataclass(frozen=True, slots=True)
class PathChange:
    """Moves on the same path that differ in depth or in feed.

    Attributes:
        amount: of them.
        before, after: the deepest z in mm, or the feed of most of them in mm/min.
    """

    amount: Amount
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class TaskCompared:
    """What differs in what one cutter does to a copy.

    Attributes:
        works: its kinds of work.
        cutter: its name.
        removed, added: moves that only the first set has, and only the second.
        depth: moves on the same path at another depth; None without.
        feed: moves at another feed that are otherwise the same; None without.
        at: where one of all these is, drawing frame, mm.
    """

    works: tuple[Work, ...]
    cutter: str
    removed: Amount
    added: Amount
    depth: PathChange | None
    feed: PathChange | None
    at: Point


@dataclass(frozen=True, slots=True)
class Compared:
    """One copy in both sets.

    Attributes:
        board, copy: which.
        only_in: the only set that has it, 1 or 2; None when both have it.
        works: what differs.
    """

    board: str
    copy: int
    only_in: int | None = None
    works: tuple[TaskCompared, ...] = ()

    @property
    def same(self) -> bool:
        """Whether both sets make the same cuts."""
        return self.only_in is None and not self.works

    @property
    def differs(self) -> int:
        """Number of moves that differ, those of both sets where no two belong together."""
        return sum(
            work.removed.moves
            + work.added.moves
            + sum(change.amount.moves for change in (work.depth, work.feed) if change is not None)
            for work in self.works
        )

    @property
    def at(self) -> Point | None:
        """Where one of them is, drawing frame, mm."""
        return self.works[0].at if self.works else None

    @property
    def cutters(self) -> tuple[str, ...]:
        """Names of their cutters."""
        return tuple(sorted({work.cutter for work in self.works}))


def compare(first: Path, second: Path) -> tuple[Compared, ...]:
    """Every copy of both sets, in the order of the first.

    Raises:
        Refusal: exit code 2 for a folder that holds no set that this version understands, 1 for
            programs that cannot be read.
    """
    reports = {folder: report_file.read(folder) for folder in (first, second)}
    levelled = any(report.levellings for report in reports.values())
    dialects = [
        job_of(report, folder, None).plan.machine.dialect for folder, report in reports.items()
    ]
    near = nearness(dialects)
    split = levelled or not all(dialect.arcs for dialect in dialects)
    cuts, others = (cuts_of(folder, joined=levelled) for folder in (first, second))
    copies: list[Compared] = []
    for key in dict.fromkeys((*cuts, *others)):
        if key not in others or key not in cuts:
            copies.append(Compared(*key, only_in=1 if key in cuts else 2))
        else:
            copies.append(
                Compared(*key, works=_compared(cuts[key], others[key], near, split=split))
            )
    return tuple(copies)


def nearness(dialects: Sequence[Dialect]) -> float:
    """Places of cuts nearer to each other than this are the same, mm."""
    near = max(SAME, ROUNDED * max(dialect.digit for dialect in dialects))
    # an arc that is split, or rounded differently, becomes other lines
    return near + (0.0 if all(dialect.arcs for dialect in dialects) else FLATTENED)


def _compared(
    before: CutsByTask, after: CutsByTask, near: float, *, split: bool
) -> tuple[TaskCompared, ...]:
    """What differs by more than `near`, mm, between the cuts of a copy, task by task."""
    works: list[TaskCompared] = []
    theirs = {task.key: task for task in after}
    tasks = {task.key: task for task in (*after, *before)}
    for key in dict.fromkeys(task.key for task in (*before, *after)):
        task = tasks[key]
        first = list(before.get(task, ()))
        second = list(after[theirs[key]]) if key in theirs else []
        same, old, new = _paired(first, second, _numbers, near)
        deeper, old, new = _paired(old, new, _plan, near)
        if split:
            old, new = (
                _off(old, _with_neighbours(new, second), near),
                _off(new, _with_neighbours(old, first), near),
            )
        # rounding takes away moves as short as this, or leaves them
        old, new = ([cut for cut in cuts if cut.length > near] for cuts in (old, new))
        fed = [pair for pair in same if abs((pair[0].feed or 0) - (pair[1].feed or 0)) > SAME_FEED]
        differing = [*old, *new, *(cut for cut, _ in deeper), *(cut for cut, _ in fed)]
        if not differing:
            continue
        x, y, _ = differing[0].start
        works.append(
            TaskCompared(
                *task,
                removed=Amount.of(old),
                added=Amount.of(new),
                depth=_depths(deeper),
                feed=_feeds(fed),
                at=(round(x, 4), round(y, 4)),
            )
        )
    return tuple(works)


Pairs = list[tuple[Cut, Cut]]


def _paired(
    some: Sequence[Cut],
    others: Sequence[Cut],
    numbers: Callable[[Cut], tuple[Sequence[float], ...]],
    near: float,
) -> tuple[Pairs, list[Cut], list[Cut]]:
    """Pairs of cuts whose numbers are the same, and what is left of both; each is taken once."""
    rows: dict[Hashable, list[tuple[int, tuple[Sequence[float], ...]]]] = defaultdict(list)
    for n, cut in enumerate(others):
        rows[cut.kind, *_cell(cut, near)].append((n, numbers(cut)))
    pairs: Pairs = []
    left: list[Cut] = []
    taken: set[int] = set()
    for cut in some:
        x, y = _cell(cut, near)
        candidates = (
            row
            for i in (x, x - 1, x + 1)
            for j in (y, y - 1, y + 1)
            for row in rows.get((cut.kind, i, j), ())
        )
        mine = numbers(cut)
        match = next(
            (n for n, its in candidates if n not in taken and _equal(mine, its, near)), None
        )
        if match is None:
            left.append(cut)
        else:
            taken.add(match)
            pairs.append((cut, others[match]))
    return pairs, left, [cut for n, cut in enumerate(others) if n not in taken]


def _with_neighbours(left: Sequence[Cut], cuts: Sequence[Cut]) -> list[Cut]:
    """What is left of cuts in order, and the cuts before and behind each of it."""
    mine = {id(cut) for cut in left}
    there = [id(cut) in mine for cut in cuts]
    around = zip(there, [*there[1:], False], [False, *there[:-1]], strict=True)
    return [cut for cut, near in zip(cuts, around, strict=True) if any(near)]


def _off(cuts: Sequence[Cut], others: Sequence[Cut], near: float) -> list[Cut]:
    """The cuts that do not lie on the path of others at their feed, however those are split.

    Following a surface map splits lines and arcs, and writes short ends of arcs as lines.
    """
    left = [cut for cut in cuts if cut.straight_down]
    for feed in dict.fromkeys(cut.feed for cut in cuts):
        some = [cut for cut in cuts if cut.feed == feed and not cut.straight_down]
        there = [cut for cut in others if cut.feed == feed and not cut.straight_down]
        if not some or not there:
            left += some
            continue
        lines = np.array([_line(cut) for cut in there])
        places = [shapely.get_coordinates(_line(cut), include_z=True) for cut in some]
        owner = np.repeat(np.arange(len(some)), [len(each) for each in places])
        points = np.asarray(shapely.points(np.vstack(places)), dtype=object)
        which, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=near)
        foot = shapely.line_interpolate_point(
            lines[line], shapely.line_locate_point(lines[line], points[which])
        )
        level = np.abs(shapely.get_z(foot) - shapely.get_z(points[which])) <= near
        on = np.zeros(len(owner), dtype=np.bool_)
        on[which[level]] = True
        off = set(owner[~on].tolist())
        left += [cut for n, cut in enumerate(some) if n in off]
    return left


def _line(cut: Cut) -> shapely.LineString:
    """A cut as straight steps of `STEP` at most, which are off an arc by less than `SAGITTA`."""
    count = math.ceil(cut.length / STEP)
    if cut.centre is not None:
        radius = math.dist(cut.start[:2], cut.centre)
        count = max(count, math.ceil(cut.turn * math.sqrt(radius / (8 * SAGITTA))))
    return shapely.LineString([cut.at(k / max(count, 1)) for k in range(max(count, 1) + 1)])


def _equal(some: Sequence[Sequence[float]], others: Sequence[Sequence[float]], near: float) -> bool:
    """Whether places lie no farther from each other than what is too short to count."""
    return all(math.dist(a, b) <= near for a, b in zip(some, others, strict=True))


def _cell(cut: Cut, near: float) -> tuple[int, int]:
    side = max(near, 0.01)
    return (math.floor(cut.start[0] / side), math.floor(cut.start[1] / side))


def _numbers(cut: Cut) -> tuple[Sequence[float], ...]:
    """All that makes a cut what it is but its feed."""
    return (*_plan(cut), cut.start[2:], cut.end[2:])


def _plan(cut: Cut) -> tuple[Sequence[float], ...]:
    """A cut seen from above."""
    return (cut.start[:2], cut.end[:2], cut.at(0.5)[:2])


def _depths(pairs: Pairs) -> PathChange | None:
    """How deep cuts on the same path go."""
    if not pairs:
        return None
    low = [min(min(cut.start[2], cut.end[2]) for cut in cuts) for cuts in zip(*pairs, strict=True)]
    before, after = (round(z, 4) for z in low)
    return PathChange(Amount.of([cut for cut, _ in pairs]), before, after)


def _feeds(pairs: Pairs) -> PathChange | None:
    """The feeds of most of some cuts."""
    if not pairs:
        return None
    lengths: dict[tuple[float, float], float] = defaultdict(float)
    for old, new in pairs:
        lengths[old.feed or 0.0, new.feed or 0.0] += old.length
    before, after = max(lengths, key=lambda feeds: lengths[feeds])
    return PathChange(Amount.of([cut for cut, _ in pairs]), before, after)
