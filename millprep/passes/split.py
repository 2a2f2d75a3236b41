"""Paths cut apart where passes meet."""

from __future__ import annotations

import itertools
import math

from millprep.values.path import Path, Point, Segment


def crossings(path: Path, axis: int, value: float) -> list[float]:
    """Distances along the path at which it crosses the line x = value (or y = value)."""
    found: list[float] = []
    at = 0.0
    for segment, length in zip(path.segments(), path.lengths.tolist(), strict=True):
        a, b = segment.start[axis] - value, segment.end[axis] - value
        if segment.centre is None:
            if (a > 0) != (b > 0):
                found.append(at + length * a / (a - b))
        else:
            found += [at + length * t for t in _arc_crossings(segment, segment.centre, axis, value)]
        at += length
    return found


def _arc_crossings(segment: Segment, centre: Point, axis: int, value: float) -> list[float]:
    """Fractions of an arc's sweep at which it crosses the line."""
    start, sweep = segment.start, segment.sweep
    rx, ry = start[0] - centre[0], start[1] - centre[1]
    radius = math.hypot(rx, ry)
    height = value - centre[axis]
    if abs(height) >= radius:
        return []
    begin = math.atan2(ry, rx)
    reach = math.acos(height / radius)
    angles = (reach, -reach) if axis == 0 else (math.pi / 2 - reach, math.pi / 2 + reach)
    sign = 1.0 if sweep > 0 else -1.0
    fractions = []
    for angle in angles:
        turn = (sign * (angle - begin)) % (2 * math.pi)
        if 0 < turn < abs(sweep):
            fractions.append(turn / abs(sweep))
    return sorted(fractions)


def parts(
    path: Path, axis: int, lines: list[float], shortest: float
) -> list[tuple[float, float, int]]:
    """The stretches of a path between the join lines: start, end, and which side they lie on.

    Side k lies between lines k - 1 and k, and is cut in pass k (from 0). On a closed path
    the last stretch may run over the start, with an end beyond the path's length. A stretch
    shorter than `shortest` stays with the one before it: two joins would crowd there.
    """
    total = path.length
    cuts = sorted({s for line in lines for s in crossings(path, axis, line)})
    if path.closed:
        bounds = [*cuts, cuts[0] + total] if cuts else [0.0, total]
    else:
        bounds = sorted({0.0, *cuts, total})
    found: list[tuple[float, float, int]] = []
    for start, end in itertools.pairwise(bounds):
        middle = (start + end) / 2
        place = path.point_at(middle - total if middle > total else middle)[axis]
        side = sum(place > line for line in lines)
        if found and (found[-1][2] == side or end - start < shortest):
            found[-1] = (found[-1][0], end, found[-1][2])
        elif end > start:
            found.append((start, end, side))
    if path.closed and len(found) > 1 and found[0][2] == found[-1][2]:
        start, _, side = found.pop()
        found[0] = (start - total, found[0][1], side)
        if found[0][0] < 0:
            found[0] = (start, found[0][1] + total, side)
    return found
