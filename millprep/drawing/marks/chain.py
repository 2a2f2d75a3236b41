"""Chaining: loose lines and arcs whose ends meet become closed loops."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from millprep.drawing.marks.mark import SAME, Curve, Round, Source, round_of
from millprep.drawing.marks.neighbours import Groups, same_places
from millprep.geometry.path import FloatArray, Point

TOLERANCE = 1e-3
"""Ends this close meet, mm."""


@dataclass(frozen=True)
class Loop:
    """A closed line: (n, 2) points, none repeated."""

    points: FloatArray
    curved: bool
    sources: tuple[Source, ...]
    known: Round | None = None

    @cached_property
    def round(self) -> Round | None:
        """The circle this loop is, if it is one."""
        if self.known is not None:
            return self.known
        return round_of(self.points) if self.curved else None


@dataclass(frozen=True)
class OpenChain:
    """A line that does not close: (n, 2) points."""

    points: FloatArray
    sources: tuple[Source, ...]


@dataclass(frozen=True)
class Chained:
    """What the curves became.

    Attributes:
        loops, opened: closed and open chains.
        branches: places where more than two ends meet.
        repeated: sources of curves drawn a second time, dropped.
    """

    loops: list[Loop]
    opened: list[OpenChain]
    branches: list[Point]
    repeated: list[Source]


@dataclass(frozen=True)
class _Item:
    """An open curve or a run of them."""

    points: FloatArray
    curved: bool
    sources: tuple[Source, ...]


def chain(curves: Sequence[Curve], tolerance: float = TOLERANCE) -> Chained:
    """Join curves end to end; loops are simple: none passes a meeting point twice.

    Ends that coincide meet first; only what stays open then is joined within the
    tolerance, so that segments shorter than it keep their ends separate.
    """
    loops = [
        Loop(c.points, c.curved, (c.source,), c.known)
        for c in curves
        if c.closed and len(c.points) > 2
    ]
    items = [_Item(c.points, c.curved, (c.source,)) for c in curves if not c.closed]
    # closed upon two points it runs there and back: a line drawn twice
    items += [
        _Item(c.points, False, (c.source,))
        for c in curves
        if c.closed and len(c.points) == 2
        for _ in range(2)
    ]
    if not items:
        return Chained(loops, [], [], [])
    joined, opened, branches, repeated = _join(items, SAME)
    if opened:
        more, opened, wider, again = _join(opened, tolerance)
        joined += more
        repeated += again
        branches = branches + wider if opened else []
    loops += [Loop(i.points, i.curved, i.sources) for i in joined]
    return Chained(loops, [OpenChain(i.points, i.sources) for i in opened], branches, repeated)


def _join(
    items: list[_Item], tolerance: float
) -> tuple[list[_Item], list[_Item], list[Point], list[Source]]:
    """Closed runs, open runs, places where three or more meet next to an open end, repeats."""
    lengths = np.array([len(item.points) for item in items])
    last = np.cumsum(lengths) - 1
    both = np.column_stack((last - lengths + 1, last)).ravel()
    ends = np.concatenate([item.points for item in items])[both]
    node = same_places(ends, tolerance)
    keep, dropped = _once(items, node, tolerance)
    touch: dict[int, list[int]] = {}
    for k in keep:
        for end in (2 * k, 2 * k + 1):
            touch.setdefault(node[end], []).append(k)
    branches = [_pair(ends[n]) for n, at in touch.items() if len(at) > 2 and len(at) % 2]
    closed_runs, open_runs = _Walker(node, touch).run(keep)
    repeated = [source for k in dropped for source in items[k].sources]
    closed: list[_Item] = []
    opened: list[_Item] = []
    for runs, out, close in ((open_runs, opened, False), (closed_runs, closed, True)):
        for run in runs:
            points = _points(items, run, close=close)
            sources = tuple(s for k, _ in run for s in items[k].sources)
            if close and len(points) < 3:
                repeated += sources  # two lines over each other enclose nothing
            else:
                out.append(_Item(points, _curved([items[k] for k, _ in run]), sources))
    return closed, opened, branches, repeated


def _curved(items: list[_Item]) -> bool:
    """Whether at most a hundredth of the length is straight."""
    if not any(item.curved for item in items):
        return False
    lengths = [float(np.hypot(*np.diff(i.points, axis=0).T).sum()) for i in items]
    straight = sum(n for n, i in zip(lengths, items, strict=True) if not i.curved)
    return straight <= 0.01 * sum(lengths)


def _once(items: list[_Item], node: list[int], tolerance: float) -> tuple[list[int], list[int]]:
    """Indices of the items to walk, and of repeats and items of no length to drop.

    Two outlines that share an edge draw it twice, rightly: dropping one of the two would
    leave three lines at its ends. So repeats stay where only they make the number of lines
    at every meeting point even. A loose line that is merely drawn twice stays loose.
    """
    seen: dict[tuple[float, ...], int] = {}
    keep: list[int] = []
    repeats: list[int] = []
    dropped: list[int] = []
    # lines that one entity draws there and back: they enclose nothing
    hollow: list[int] = []
    for k, item in enumerate(items):
        p, q = sorted((node[2 * k], node[2 * k + 1]))
        points = item.points
        if p == q and float(np.ptp(points, axis=0).max()) <= tolerance:
            dropped.append(k)
            continue
        key: tuple[float, ...] = (p, q)
        if len(points) > 2:
            middle = (points[1:] + points[:-1]).mean(axis=0) / 2
            key = (p, q, *np.round(middle, 3).tolist())
        twin = seen.setdefault(key, k)
        if twin == k:
            keep.append(k)
        elif items[twin].sources == item.sources:
            hollow.append(k)
        else:
            repeats.append(k)
    groups = Groups(len(node))
    groups.tie((node[2 * k], node[2 * k + 1]) for k in keep)
    wanting = _uneven(keep, node, groups)
    back: list[int] = []
    for some in (hollow, hollow + repeats):
        if not wanting:
            break
        fixed = wanting - _uneven(keep + some, node, groups)
        if some is not hollow:
            count = Counter(node[2 * k + e] for k in keep for e in (0, 1))
            fixed -= {groups.top(n) for n, lines in count.items() if lines == 1}
        back += [k for k in some if groups.top(node[2 * k]) in fixed]
        wanting -= fixed
    dropped += sorted({*repeats, *hollow} - set(back))
    return sorted(keep + back), dropped


def _uneven(some: list[int], node: list[int], groups: Groups) -> set[int]:
    """Groups of joined lines in which an odd number of lines ends somewhere."""
    count = Counter(node[2 * k + e] for k in some for e in (0, 1))
    return {groups.top(n) for n, lines in count.items() if lines % 2}


Run = list[tuple[int, bool]]


class _Walker:
    """Walks from meeting point to meeting point; cuts a loop off whenever it comes back."""

    def __init__(self, node: list[int], touch: dict[int, list[int]]) -> None:
        self.node, self.touch = node, touch
        self.used: set[int] = set()

    def run(self, keep: list[int]) -> tuple[list[Run], list[Run]]:
        """Loops and open chains, each a list of (curve, whether run backwards)."""
        closed: list[Run] = []
        opened: list[Run] = []
        odd = [n for n, at in self.touch.items() if len(at) % 2]
        starts = [*odd, *(self.node[2 * k] for k in keep)]
        for start in starts:
            while any(k not in self.used for k in self.touch[start]):
                rest = self._walk(start, closed)
                if rest:
                    opened.append(rest)
        return closed, opened

    def _walk(self, start: int, closed: list[Run]) -> Run:
        run: Run = []
        place = {start: 0}
        at = start
        while True:
            waiting = self.touch[at]
            while waiting and waiting[-1] in self.used:
                waiting.pop()
            step = waiting[-1] if waiting else None
            if step is None:
                return run
            self.used.add(step)
            backwards = self.node[2 * step] != at
            at = self.node[2 * step] if backwards else self.node[2 * step + 1]
            run.append((step, backwards))
            if at in place:
                cut = place[at]
                closed.append(run[cut:])
                run = run[:cut]
                for n in [n for n, i in place.items() if i > cut]:
                    del place[n]
            else:
                place[at] = len(run)


def _points(items: list[_Item], run: Run, *, close: bool) -> FloatArray:
    """The points of a run; where ends coincide, once."""
    pieces: list[FloatArray] = []
    for k, backwards in run:
        piece = items[k].points[::-1] if backwards else items[k].points
        if pieces and _same(pieces[-1][-1], piece[0]):
            piece = piece[1:]
        pieces.append(piece)
    points = pieces[0] if len(pieces) == 1 else np.vstack(pieces)
    return points[:-1] if close and len(points) > 1 and _same(points[0], points[-1]) else points


def _same(p: FloatArray, q: FloatArray) -> bool:
    return float(np.hypot(*(p - q))) <= SAME


def _pair(p: FloatArray) -> Point:
    return (float(p[0]), float(p[1]))
