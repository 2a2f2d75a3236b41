"""One cut between two boards: where the profiles of neighbours run along the same straight line.

Common-line cutting: boards one cutter's width from each other along straight edges are separated
by a single cut. Boards are held in order: first those that tabs can hold to the frame, then those
next to boards that are held. A common stretch is cut with the board that is held later, so its tabs
there lead to a board that is held already.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.cut import Profile, Tab

TOGETHER = 2e-3
"""Two lines are one within this, mm: places are written to 1e-4."""
SHORTEST = 8.0
"""Common stretches shorter than this are cut twice, mm."""
OVER = 3.0
"""How far a board's own cut runs into a stretch that its neighbour cuts, mm: a short one would
need many depth steps to ramp down."""

Interval = tuple[float, float]
"""Of distances along a path."""


@dataclass(frozen=True, slots=True)
class CommonStretch:
    """A straight stretch that belongs to the profiles of two boards.

    Attributes:
        board, other: places of the two in the list of profiles.
        start, end: distances along the board's own path.
        ends: the same as places, blank frame.
    """

    board: int
    other: int
    start: float
    end: float
    ends: tuple[Point, Point]


def common(profiles: Sequence[Profile]) -> tuple[CommonStretch, ...]:
    """Every common stretch of two outer profiles, once for each of the two."""
    lines = [
        _straight(profile.path) if not profile.inner else np.zeros((0, 5)) for profile in profiles
    ]
    boxes = [
        (rows[:, [0, 2]].min(), rows[:, [1, 3]].min(), rows[:, [0, 2]].max(), rows[:, [1, 3]].max())
        if len(rows)
        else (math.inf, math.inf, -math.inf, -math.inf)
        for rows in lines
    ]
    stretches_: list[CommonStretch] = []
    for i in range(len(profiles)):
        for j in range(len(profiles)):
            (ax, ay, bx, by), (cx, cy, dx, dy) = boxes[i], boxes[j]
            far = max(cx - bx, ax - dx, cy - by, ay - dy)
            if i != j and far <= TOGETHER:
                stretches = _overlaps(lines[i], lines[j], SHORTEST)
                stretches_ += [CommonStretch(i, j, *profile) for profile in stretches]
    return tuple(stretches_)


def _straight(path: Path) -> FloatArray:
    """(n, 5) straight segments: both ends, and how far along the path they begin."""
    before = np.concatenate(([0.0], np.cumsum(path.lengths)[:-1]))
    keep = path.bulge == 0
    rows: FloatArray = np.column_stack((path.xy[:-1], path.xy[1:], before))[keep]
    return rows


def _overlaps(
    mine: FloatArray, others: FloatArray, shortest: float
) -> list[tuple[float, float, tuple[Point, Point]]]:
    """Stretches of one's segments that lie on another's: start and end along the path, places."""
    overlaps = []
    for x0, y0, x1, y1, before in mine.tolist():
        length = math.hypot(x1 - x0, y1 - y0)
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        along = (others[:, [0, 2]] - x0) * ux + (others[:, [1, 3]] - y0) * uy
        aside = (others[:, [1, 3]] - y0) * ux - (others[:, [0, 2]] - x0) * uy
        start = np.maximum(along.min(axis=1), 0.0)
        end = np.minimum(along.max(axis=1), length)
        good = (np.abs(aside).max(axis=1) <= TOGETHER) & (end - start >= shortest)
        for a, b in zip(start[good].tolist(), end[good].tolist(), strict=True):
            places = ((x0 + ux * a, y0 + uy * a), (x0 + ux * b, y0 + uy * b))
            overlaps.append((before + a, before + b, places))
    return overlaps


def holding_order(
    count: int,
    stretches: Sequence[CommonStretch],
    firm: Callable[[int, Sequence[Interval], Sequence[Interval]], bool],
) -> tuple[int, ...]:
    """The order in which boards are held: every one to the frame or to boards before it.

    Args:
        count: of profiles.
        stretches: what they have in common.
        firm: whether a tab finds a place on a board, given the stretches of its path that have a
            held board next to them, and those where no tab may be.
    """
    order: list[int] = []
    left = list(range(count))
    while left:
        mine = [n for n in left if firm(n, *_firm_spans(n, stretches, order))]
        # what nothing holds comes last; its own finding says so
        order += mine or left
        left = [n for n in left if n not in order]
    return tuple(order)


def _firm_spans(
    n: int, stretches: Sequence[CommonStretch], order: Sequence[int]
) -> tuple[list[Interval], list[Interval]]:
    mine = [stretch for stretch in stretches if stretch.board == n]
    own = [inside for stretch in mine if stretch.other in order and (inside := _inside(stretch))]
    return own, _ends(mine)


def _inside(stretch: CommonStretch) -> Interval | None:
    """Where on a common stretch a tab may be."""
    start, end = stretch.start + OVER, stretch.end - OVER
    return (start, end) if end > start else None


def _ends(stretches: Sequence[CommonStretch]) -> list[Interval]:
    return [
        span
        for stretch in stretches
        for span in ((stretch.start, stretch.start + OVER), (stretch.end - OVER, stretch.end))
    ]


def tab_places(
    n: int, stretches: Sequence[CommonStretch], order: Sequence[int]
) -> tuple[list[Interval], list[Interval]]:
    """Where tabs of a profile lead to a held board, and where it may have none.

    Args:
        n: place of the profile.
        stretches: what profiles have in common.
        order: in which boards are held.
    """
    rank = {number: at for at, number in enumerate(order)}
    mine = [stretch for stretch in stretches if stretch.board == n]
    own = [stretch for stretch in mine if rank[stretch.other] < rank[n]]
    given = [stretch for stretch in mine if rank[stretch.other] > rank[n]]
    inside = [span for stretch in own if (span := _inside(stretch))]
    return inside, [*_ends(own), *((stretch.start, stretch.end) for stretch in given)]


def cut_by_neighbours(
    n: int, stretches: Sequence[CommonStretch], order: Sequence[int], left_out: Collection[int] = ()
) -> tuple[tuple[Point, Point], ...]:
    """Stretches of a profile that neighbours cut; those of boards left out it cuts itself."""
    rank = {number: at for at, number in enumerate(order)}
    return tuple(
        stretch.ends
        for stretch in stretches
        if stretch.board == n and rank[stretch.other] > rank[n] and stretch.other not in left_out
    )


def without(profile: Profile, gone: Sequence[tuple[Point, Point]]) -> tuple[Profile, ...]:
    """What of a profile is left to cut, its ends running on into what neighbours cut.

    Args:
        profile: whole, or a part of one.
        gone: straight stretches that neighbours cut, blank frame.
    """
    path, total = profile.path, profile.path.length
    others = np.array([(*a, *b, 0.0) for a, b in gone]).reshape(-1, 5)
    spans = sorted(_away(path, others))
    if not spans:
        return (profile,)
    if path.closed:
        starts = [b for _, b in spans]
        ends = [a for a, _ in spans[1:]] + [spans[0][0] + total]
    else:
        starts = [0.0, *(b for _, b in spans)]
        ends = [*(a for a, _ in spans), total]
    parts = []
    for start, end in zip(starts, ends, strict=True):
        if end - start > 1e-6:
            parts.append(_part(profile, start, end))
    return tuple(parts)


def _away(path: Path, others: FloatArray) -> list[Interval]:
    """Spans of a path that are left out; an end of the path itself is left out to its end."""
    total, left_out = path.length, []
    for start, end, _ in _overlaps(_straight(path), others, 1e-3) if len(others) else ():
        # the ends of an open path lie where another part takes over
        first = not path.closed and start < 1e-6
        last = not path.closed and end > total - 1e-6
        a = start if first else start + OVER
        b = end if last else end - OVER
        if b > a:
            left_out.append((a, b))
    return left_out


def _part(profile: Profile, start: float, end: float) -> Profile:
    """A stretch of a profile with the tabs on it; on a closed one `end` may pass the length."""
    total = profile.path.length
    turns = (-total, 0.0, total) if profile.path.closed else (0.0,)
    tabs = [
        Tab(max(tab.start + turn - start, 0.0), min(tab.end + turn - start, end - start))
        for tab in profile.tabs
        for turn in turns
        if tab.end + turn > start and tab.start + turn < end
    ]
    whole = profile.path.part(start, end)
    return replace(profile, path=whole, tabs=tuple(sorted(tabs, key=lambda tab: tab.start)))


def on_common_line(
    at: Point, gone: Mapping[int, Sequence[tuple[Point, Point]]], placement: int
) -> bool:
    """Whether a place of a board's profile is on a stretch that a neighbour cuts."""
    for (x0, y0), (x1, y1) in gone.get(placement, ()):
        length = math.hypot(x1 - x0, y1 - y0)
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        along, aside = (at[0] - x0) * ux + (at[1] - y0) * uy, (at[1] - y0) * ux - (at[0] - x0) * uy
        if abs(aside) <= TOGETHER and -1e-9 <= along <= length + 1e-9:
            return True
    return False
