"""Paths cut apart where passes meet."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable

from millprep.geometry.path import Path, Point, Segment


def crossings(path: Path, axis: int, value: float) -> list[float]:
    """Distances along the path at which it crosses the line x = value (or y = value).

    A point on the line counts as below it, so a path that only touches the line from
    below does not cross it, and a vertex on the line is met once.
    """
    found: list[float] = []
    at = 0.0
    for segment, length in zip(path.segments(), path.lengths.tolist(), strict=True):
        a, b = segment.start[axis] - value, segment.end[axis] - value
        if segment.centre is not None:
            found += [at + length * t for t in _arc_crossings(segment, segment.centre, axis, value)]
        elif (a > 0) != (b > 0):
            found.append(at + length * a / (a - b))
        at += length
    return found


def _arc_crossings(segment: Segment, centre: Point, axis: int, value: float) -> list[float]:
    """Fractions of an arc's sweep at which it crosses the line.

    Between its turning points an arc only rises or only falls, so the signs at the two ends
    of such a stretch say whether it crosses; no crossing at a vertex is lost or met twice.
    """
    start, sweep = segment.start, segment.sweep
    rx, ry = start[0] - centre[0], start[1] - centre[1]
    radius = math.hypot(rx, ry)
    height = value - centre[axis]
    # the angle from the axis' own direction, counted the way the arc runs
    sign = 1.0 if sweep > 0 else -1.0
    begin = (math.atan2(ry, rx) - axis * math.pi / 2) * sign % (2 * math.pi)
    end = begin + abs(sweep)
    turns = [k * math.pi for k in range(math.floor(begin / math.pi) + 1, math.ceil(end / math.pi))]
    bounds = [begin, *turns, end]
    highs = [
        segment.start[axis] - value,
        *(radius * (1 if round(turn / math.pi) % 2 == 0 else -1) - height for turn in turns),
        segment.end[axis] - value,
    ]
    found = []
    for (a, b), (high_a, high_b) in zip(
        itertools.pairwise(bounds), itertools.pairwise(highs), strict=True
    ):
        if (high_a > 0) == (high_b > 0):
            continue
        reach = math.acos(min(max(height / radius, -1.0), 1.0))
        # falling in even half turns, rising in odd ones
        half = math.floor((a + b) / 2 / math.pi)
        angle = half * math.pi + (reach if half % 2 == 0 else math.pi - reach)
        found.append((min(max(angle, a), b) - begin) / abs(sweep))
    return found


def parts(
    path: Path, axis: int, lines: list[float], shortest: float
) -> list[tuple[float, float, int]]:
    """The stretches of a path between the join lines: start, end, and which side they lie on.

    Side k lies between lines k - 1 and k, and is cut in pass k (from 0).
    """
    return regions(
        path,
        [(axis, line) for line in lines],
        lambda at: sum(at[axis] > line for line in lines),
        shortest,
    )


def regions(
    path: Path,
    lines: Iterable[tuple[int, float]],
    owner: Callable[[Point], int],
    shortest: float,
) -> list[tuple[float, float, int]]:
    """The stretches of a path in regions that lines x = … (axis 0) and y = … (axis 1) bound.

    Start, end and the region's number, as `owner` tells it of a place between the lines. On a
    closed path a stretch may run over the start, with an end beyond the path's length. A
    stretch shorter than `shortest` stays with the one before it, since two joins would crowd
    there; past one line it reaches by at most half its length, past a corner by all of it. The
    end of an open path does not come back, so there half of that counts as short.
    """
    total = path.length
    cuts = sorted({s for axis, line in lines for s in crossings(path, axis, line)})
    if path.closed:
        bounds = [*cuts, cuts[0] + total] if cuts else [0.0, total]
    else:
        bounds = sorted({0.0, *cuts, total})
    raw: list[tuple[float, float, int]] = []
    for start, end in itertools.pairwise(bounds):
        middle = (start + end) / 2
        place = path.point_at(middle - total if middle > total else middle)
        side = owner(place)
        if raw and raw[-1][2] == side:
            # a line that divides other regions only
            raw[-1] = (raw[-1][0], end, side)
        else:
            raw.append((start, end, side))
    if path.closed and len(raw) > 1 and raw[0][2] == raw[-1][2]:
        start, _, side = raw.pop()
        raw[0] = (start, raw[0][1] + total, side)
    if path.closed:
        # the longest first, so that a short one always has a long one before it
        n = max(range(len(raw)), key=lambda k: raw[k][1] - raw[k][0])
        raw = [*raw[n:], *((a + total, b + total, side) for a, b, side in raw[:n])]
    found: list[tuple[float, float, int]] = []
    for k, (start, end, side) in enumerate(raw):
        last = not path.closed and k == len(raw) - 1
        short = shortest / 2 if last else shortest
        if found and (found[-1][2] == side or end - start < short):
            found[-1] = (found[-1][0], end, found[-1][2])
        else:
            found.append((start, end, side))
    if len(found) > 1 and not path.closed and found[0][1] - found[0][0] < shortest / 2:
        found[:2] = [(found[0][0], found[1][1], found[1][2])]
    if len(found) > 1 and path.closed and found[0][2] == found[-1][2]:
        start, _, side = found.pop()
        found[0] = (start, found[0][1] + total, side)
    if path.closed and len(found) > 1:
        return [(a % total, a % total + b - a, side) for a, b, side in found]
    return found
