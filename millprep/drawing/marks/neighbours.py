"""Who lies near whom: pairs from a search tree, gaps, groups, lines that run in circles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.marks.mark import SAME
from millprep.geometry.path import FloatArray, Point

MOST_PAIRS = 3_000_000
"""Pairs beyond this number are refused: things drawn thousands of times on one spot."""

CHUNK = 512
AT_ONCE = 4_000_000
"""Pairs that one question to the tree may bring at most, lest the memory fills up."""

MOST_TOUCHING = 200_000
"""Lines that touch, counted both ways, up to which those are sought that cross."""

PART = 2
"""Segments of an edge that are compared together."""


class TooMuchError(Exception):
    """The drawing holds more than this reader will work on; the words say what."""


def pairs(
    shapes: Sequence[shapely.Geometry] | NDArray[np.object_],
    within: float | None = None,
    most: int | None = None,
) -> NDArray[np.int64]:
    """(k, 2) pairs i ≠ j of shapes that touch, or lie `within` a distance, both ways round.

    Raises:
        TooMuchError: for more than `most` of them, or than MOST_PAIRS.
    """
    array: NDArray[np.object_] = np.asarray(shapes, dtype=object)
    tree = shapely.STRtree(array)
    sizes = shapely.get_num_coordinates(array).astype(np.int64)
    batches: list[NDArray[np.int64]] = []
    count = 0
    start = 0
    chunk = max(1, min(CHUNK, AT_ONCE // max(1, len(array))))
    limit = MOST_PAIRS if most is None else min(most, MOST_PAIRS)
    while start < len(array):
        part = array[start : start + chunk]
        if within is None:
            a, b = tree.query(part)
            met = _touch(array, sizes, a + start, b)
            a, b = a[met], b[met]
        else:
            a, b = tree.query(part, predicate="dwithin", distance=within)
        a = a + start
        other = a != b
        batches.append(np.column_stack((a[other], b[other])))
        count += len(batches[-1])
        start += len(part)
        # sparse so far: ask for more at once
        chunk = min(CHUNK, 2 * chunk) if len(a) < AT_ONCE // 16 else max(1, chunk // 2)
        if count > limit:
            raise TooMuchError(f"more than {limit // 2} times one of its shapes lies on another")
    return np.vstack(batches) if batches else np.zeros((0, 2), dtype=np.int64)


def _touch(
    array: NDArray[np.object_],
    sizes: NDArray[np.int64],
    first: NDArray[np.int64],
    second: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Whether two shapes touch, pair by pair.

    The larger one is the one that GEOS asks, since it may be prepared: an area of thousands of
    vertices is gone through once, not for each of its neighbours.
    """
    swap = sizes[first] < sizes[second]
    large, small = np.where(swap, second, first), np.where(swap, first, second)
    return np.asarray(shapely.intersects(array[large], array[small]), dtype=bool)


def narrowest(shapes: Sequence[shapely.Polygon]) -> tuple[float | None, Point | None]:
    """The narrowest gap between pieces and its middle; None for fewer than two pieces.

    The edges of every second piece are compared with those of the others, then each half in
    the same way.
    """
    if len(shapes) < 2:
        return None, None
    parts, owner = _edge_parts(shapes)
    best, pair = np.inf, (0, 0)
    halves = [(np.arange(len(parts)), 0)]
    for some, digit in halves:
        odd = (owner[some] >> digit & 1).astype(bool)
        both = some[odd], some[~odd]
        halves += [(half, digit + 1) for half in both if len(np.unique(owner[half])) > 1]
        few, more = sorted(both, key=len)
        (i, j), away = shapely.STRtree(parts[more]).query_nearest(
            parts[few],
            max_distance=best if 0 < best < np.inf else None,
            return_distance=True,
            all_matches=False,
        )
        if len(away) and float(away.min()) < best:
            k = int(np.argmin(away))
            best, pair = float(away[k]), (int(few[i[k]]), int(more[j[k]]))
    first, second = parts[sorted(pair)]
    middle = shapely.shortest_line(first, second).interpolate(0.5, normalized=True)
    return best, (float(middle.x), float(middle.y))


def _edge_parts(
    shapes: Sequence[shapely.Polygon],
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Short runs of the shapes' edges, and the number of the shape of each."""
    parts: list[FloatArray] = []
    owner: list[int] = []
    for k, shape in enumerate(shapes):
        for ring in (shape.exterior, *shape.interiors):
            points = shapely.get_coordinates(ring)
            runs = [points[n : n + PART + 1] for n in range(0, len(points) - 1, PART)]
            parts += runs
            owner += [k] * len(runs)
    index = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    lines = shapely.linestrings(np.vstack(parts), indices=index)
    return np.asarray(lines, dtype=object), np.array(owner)


class Groups:
    """Disjoint groups of 0 … n - 1; a group is named by its smallest member."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))

    def top(self, i: int) -> int:
        """Name of the group of i."""
        parent = self._parent
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    def tie(self, both: Iterable[tuple[int, int]]) -> None:
        """Put the two of each pair into one group."""
        for i, j in both:
            i, j = self.top(i), self.top(j)
            if i != j:
                self._parent[max(i, j)] = min(i, j)

    def members(self) -> list[list[int]]:
        """All groups, by their smallest member."""
        out: dict[int, list[int]] = {}
        for i in range(len(self._parent)):
            out.setdefault(self.top(i), []).append(i)
        return list(out.values())


def same_places(xy: NDArray[np.float64], tolerance: float) -> list[int]:
    """For every point the number of the first point of its place.

    Points closer than the tolerance share a place, and so do those that a chain of such
    points joins. Points that coincide are put together first, so that thousands of them
    on one spot cost nothing.
    """
    _, first, which = np.unique(np.round(xy, 9), axis=0, return_index=True, return_inverse=True)
    which = which.reshape(-1)
    unique = xy[first]
    groups = Groups(len(unique))
    points: NDArray[np.object_] = np.asarray(shapely.points(unique))
    near = pairs(points, within=tolerance)
    groups.tie(map(tuple, near[near[:, 0] < near[:, 1]].tolist()))
    lowest: dict[int, int] = {}
    tops = [groups.top(k) for k in range(len(unique))]
    out = []
    for i, k in enumerate(which.tolist()):
        out.append(lowest.setdefault(tops[k], i))
    return out


def in_circles(lines: Sequence[FloatArray], gap: float) -> set[int]:
    """Indices of the open lines, each (n, 2), from whose end one comes back to its start.

    Where several ways lead around, all lines on any of them count: which of them is meant
    is not decided here. A line drawn twice is one. Only ends that meet no other line
    bridge a gap.
    """
    if not lines:
        return set()
    ends = np.array([p for line in lines for p in (line[0], line[-1])])
    node = same_places(ends, SAME)
    twins: dict[tuple[float, ...], list[int]] = {}
    for k, line in enumerate(lines):
        middle = (line[1:] + line[:-1]).mean(axis=0) / 2
        key = (*sorted(node[2 * k : 2 * k + 2]), *np.round(middle, 3).tolist())
        twins.setdefault(key, []).append(k)
    edges = [same[0] for same in twins.values()]
    count = Counter(node[2 * k + end] for k in edges for end in (0, 1))
    single = [n for n, lines_there in count.items() if lines_there == 1]
    near = same_places(ends[single].reshape(-1, 2), gap) if single else []
    place = {n: single[first] for n, first in zip(single, near, strict=True)}
    both = [tuple(place.get(n, n) for n in node[2 * k : 2 * k + 2]) for k in edges]
    # what is no larger than the gap is dust, not a circle
    dust = {k for k in edges if float(np.ptp(lines[k], axis=0).max()) <= gap}
    usable = [i for i, (p, q) in enumerate(both) if p != q or edges[i] not in dust]
    cyclic = _cyclic([(both[i][0], both[i][1]) for i in usable])
    chosen = {edges[usable[i]] for i in cyclic}
    return {k for same in twins.values() if same[0] in chosen for k in same}


def _cyclic(edges: Sequence[tuple[int, int]]) -> set[int]:
    """Edges of a graph that lie on any circle: all but its bridges.

    Each edge outside a spanning forest closes a circle through the forest; every forest edge
    on the way up is walked once, since what is walked is skipped from then on.
    """
    touch: dict[int, list[int]] = {}
    for k, (p, q) in enumerate(edges):
        touch.setdefault(p, []).append(k)
        touch.setdefault(q, []).append(k)
    above: dict[int, tuple[int, int]] = {}
    depth: dict[int, int] = {}
    forest: set[int] = set()
    for root in touch:
        if root in depth:
            continue
        depth[root] = 0
        waiting = [root]
        for at in waiting:
            for k in touch[at]:
                other = edges[k][0] + edges[k][1] - at
                if other not in depth:
                    depth[other] = depth[at] + 1
                    above[other] = (at, k)
                    forest.add(k)
                    waiting.append(other)
    head = {n: n for n in touch}

    def top(n: int) -> int:
        while head[n] != n:
            head[n] = head[head[n]]
            n = head[n]
        return n

    result: set[int] = set()
    for k, (p, q) in enumerate(edges):
        if k in forest:
            continue
        result.add(k)
        p, q = top(p), top(q)
        while p != q:
            if depth[p] < depth[q]:
                p, q = q, p
            head[p], passed = above[p]
            result.add(passed)
            p = top(p)
    return result


def crossings(lines: Sequence[FloatArray]) -> list[Point]:
    """A place for each pair of lines that cross; one that ends on the other does not cross it.

    None where more than `MOST_TOUCHING` touch each other: that is no drawing of tracks.
    """
    array = np.array([shapely.LineString(points) for points in lines], dtype=object)
    try:
        touching = pairs(array, most=MOST_TOUCHING)
    except TooMuchError:
        return []
    first, second = array[touching[touching[:, 0] < touching[:, 1]].T]
    crossed = shapely.crosses(first, second)
    common = shapely.intersection(first[crossed], second[crossed])
    points = shapely.get_coordinates(shapely.point_on_surface(common))
    return [(x, y) for x, y in points.tolist()]
