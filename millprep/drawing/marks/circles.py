"""Which loose lines run in a circle with others: all but the dead ends and the bridges."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from millprep.drawing.marks.mark import SAME
from millprep.drawing.marks.neighbours import same_places
from millprep.geometry.path import FloatArray


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
