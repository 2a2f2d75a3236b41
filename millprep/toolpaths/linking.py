"""Linking: paths cut one after the other without lifting the cutter, where the way is free.

Where the grooves of two closed laps meet, the cutter leaves one for the other, goes around that and
comes back. So linked laps make a tree, and one path cuts all of them. It leaves a lap a little
behind the place where it comes back to, and once runs straight on at either place: what a
controller that rounds corners leaves at one is cut at the other time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.cut import Lap
from millprep.model.cutter import Cutter

PAST = 0.1
"""A lap is left this far behind the place where the cutter comes back to it, mm: more than a
controller rounds off, v² / (2·a) at 300 mm/min and 150 mm/s²."""
LONGEST = 1500.0
"""Laps are linked to no longer a path than this, mm: a program can be resumed at every start of
one."""
SPARE = 0.001
"""A link is judged as if its groove were this much narrower on each side, mm: the rounding of
curves."""
DIGITS = 3
"""Distances are compared to this many decimals, mm."""
CRUMB = 1e-6
"""Shorter stretches are left to their neighbours, mm."""
TRIES = 6
"""A link is sought at this many places between two laps."""


def linked(
    lines: Sequence[shapely.LineString],
    longest: float,
    free: Callable[[shapely.LineString], bool],
) -> list[shapely.LineString]:
    """The lines in chains; closed ones are entered where the last one ended nearest to them.

    Args:
        lines: closed, or open and run from their start.
        longest: way between two, mm.
        free: whether the cutter may go along a way.
    """
    if not lines:
        return []
    tree = shapely.STRtree(lines)
    left = np.ones(len(lines), dtype=bool)
    chains: list[shapely.LineString] = []
    for first in range(len(lines)):
        if not left[first]:
            continue
        left[first] = False
        xy = [shapely.get_coordinates(lines[first])]
        while True:
            here = shapely.Point(xy[-1][-1])
            following = _next(here, lines, tree, left, longest, free)
            if following is None:
                break
            n, points = following
            left[n] = False
            xy.append(points)
        chains.append(shapely.LineString(np.vstack(xy)) if len(xy) > 1 else lines[first])
    return chains


def _next(
    here: shapely.Point,
    lines: Sequence[shapely.LineString],
    tree: shapely.STRtree,
    left: np.ndarray[tuple[int], np.dtype[np.bool_]],
    longest: float,
    free: Callable[[shapely.LineString], bool],
) -> tuple[int, FloatArray] | None:
    """The nearest line that can be reached, with its points from where it is entered."""
    near = [n for n in tree.query(here, predicate="dwithin", distance=longest).tolist() if left[n]]
    entries = [
        lines[n].interpolate(lines[n].project(here))
        if lines[n].is_closed
        else shapely.Point(lines[n].coords[0])
        for n in near
    ]
    away = [here.distance(entry) for entry in entries]
    for k in np.argsort(away, kind="stable").tolist():
        if away[k] > longest:
            break
        way = shapely.LineString((here, entries[k]))
        if way.length == 0 or free(way):
            return near[k], _entered(lines[near[k]], entries[k])
    return None


def _entered(line: shapely.LineString, at: shapely.Point) -> FloatArray:
    """The points of a closed line from a place on it around to there; an open one as it is."""
    xy = shapely.get_coordinates(line)
    if not line.is_closed:
        return xy
    along = float(line.project(at))
    ends = np.cumsum(np.hypot(*np.diff(xy, axis=0).T))
    k = min(int(np.searchsorted(ends, along, side="right")), len(ends) - 1)
    place = shapely.get_coordinates(at)
    points: FloatArray = np.vstack((place, xy[k + 1 : -1], xy[: k + 1], place))
    return points


def linked_laps(laps: Sequence[Lap], cutters: Sequence[Cutter], copper: float) -> list[Lap]:
    """The laps of a pass, those of one copy, cutter and depth linked where their grooves meet.

    A link cuts nothing that the two laps do not cut as well, at the foot and so at the surface.

    Args:
        laps: of one blank, in the blank's frame.
        cutters: all that the laps name.
        copper: thickness of the foil, mm.
    """
    named = {cutter.name: cutter for cutter in cutters}
    alike: dict[tuple[int, str, float], list[int]] = {}
    for n, lap in enumerate(laps):
        alike.setdefault((lap.placement, lap.cutter, lap.depth), []).append(n)
    made: dict[int, Lap] = {}
    for which in alike.values():
        cutter, depth = named[laps[which[0]].cutter], laps[which[0]].depth
        for first, path in _trees([laps[n].path for n in which], cutter.width(depth, copper) / 2):
            made[which[first]] = replace(laps[which[first]], path=path)
    return [made[n] for n in sorted(made)]


@dataclass(frozen=True, slots=True)
class _Link:
    """Two laps that the cutter leaves for each other, and how far along each, mm."""

    laps: tuple[int, int]
    along: tuple[float, float]

    def on(self, lap: int) -> float:
        """How far along a lap the cutter comes back to it."""
        return self.along[self.laps.index(lap)]

    def beyond(self, lap: int) -> int:
        """The other lap."""
        return self.laps[1 - self.laps.index(lap)]


def _trees(paths: Sequence[Path], radius: float) -> Iterator[tuple[int, Path]]:
    """The first lap of every tree, and the path that cuts all of it; an open lap is its trunk."""
    lines = [path.line(SPARE / 3) for path in paths]
    links: list[list[_Link]] = [[] for _ in paths]
    trees = {k: [k] for k in range(len(paths))}
    tree_of = list(trees)
    length = [path.length for path in paths]
    opened = [not path.closed for path in paths]
    # shortest links first: Kruskal's spanning trees
    for pair in _near(lines, 2 * radius):
        a, b = sorted(tree_of[k] for k in pair)
        if a == b or (opened[a] and opened[b]) or length[a] + length[b] > LONGEST:
            continue
        link = _link(pair, paths, lines, radius)
        if link is None:
            continue
        for k in pair:
            links[k].append(link)
        for k in trees[b]:
            tree_of[k] = a
        trees[a] += trees.pop(b)
        length[a] += length[b]
        opened[a] |= opened[b]
    for k, members in trees.items():
        trunk = next((n for n in members if not paths[n].closed), k)
        yield k, _cut_in_turn(trunk, paths, links) if len(members) > 1 else paths[k]


def _near(lines: Sequence[shapely.LineString], reach: float) -> list[tuple[int, int]]:
    """Pairs of lines within reach of each other, the nearest first."""
    every = np.asarray(lines, dtype=object)
    shapely.prepare(every)
    a, b = shapely.STRtree(every).query(every, predicate="dwithin", distance=reach)
    a, b = a[a < b], b[a < b]
    order = np.lexsort((b, a, _ranks(shapely.distance(every[a], every[b]))))
    return list(zip(a[order].tolist(), b[order].tolist(), strict=True))


def _link(
    pair: tuple[int, int],
    paths: Sequence[Path],
    lines: Sequence[shapely.LineString],
    radius: float,
) -> _Link | None:
    """The shortest link of two laps that stays in their grooves, of those tried."""
    (i, j) = pair
    for along in _places(pair, paths, lines, 2 * radius):
        s, t = along
        ways = shapely.MultiLineString(
            [
                [_at(paths[i], s + PAST), _at(paths[j], t)],
                [_at(paths[j], t + PAST), _at(paths[i], s)],
            ]
        )
        if _in_grooves(ways, (lines[i], lines[j]), radius):
            return _Link(pair, along)
    return None


def _places(
    pair: tuple[int, int],
    paths: Sequence[Path],
    lines: Sequence[shapely.LineString],
    reach: float,
) -> list[tuple[float, float]]:
    """How far along two laps they are near each other, the nearest first; `TRIES` at most.

    Tried are the middles of segments and corners of both, and where the two are nearest.
    """
    i, j = pair
    nearest = shapely.shortest_line(lines[i], lines[j])
    ends = np.asarray(shapely.points(shapely.get_coordinates(nearest)))
    s, t = (_along(paths[k], lines[k], end) for k, end in zip(pair, ends, strict=True))
    # where laps run side by side, the others are as near and lie where they lie on every copy
    tried = [np.array([[nearest.length, 2, s, t]])]
    for here, there in ((i, j), (j, i)):
        along, places = _middles_and_corners(paths[here])
        spots = np.asarray(shapely.points(places))
        n = np.flatnonzero(shapely.dwithin(lines[there], spots, reach + SPARE))
        away = shapely.distance(lines[there], spots[n])
        two = (along[n], _along(paths[there], lines[there], spots[n]))
        kind = n >= len(paths[here])
        tried.append(np.column_stack((away, kind, *(two if here == i else two[::-1]))))
    away, kind, s, t = np.vstack(tried).T
    first = np.lexsort((t, s, kind, _ranks(away)))[:TRIES]
    return list(zip(s[first].tolist(), t[first].tolist(), strict=True))


def _ranks(lengths: FloatArray) -> NDArray[np.int_]:
    """The place of every length in their order; those that hardly differ share one.

    So copies of a board are linked alike wherever they lie.
    """
    order = np.argsort(lengths)
    steps = np.diff(lengths[order], prepend=-math.inf) > SPARE
    ranks = np.empty(len(order), dtype=int)
    ranks[order] = np.cumsum(steps)
    return ranks


def _middles_and_corners(path: Path) -> tuple[FloatArray, FloatArray]:
    """How far along a path the middles of its segments and then its vertices are, and where."""
    ends = np.concatenate(([0.0], np.cumsum(path.lengths)))
    xy, way = path.xy, np.diff(path.xy, axis=0)
    # an arc rises bulge · chord / 2 above its chord, on the right of it
    middles = (xy[:-1] + xy[1:]) / 2 + np.column_stack((way[:, 1], -way[:, 0])) * (
        path.bulge[:, None] / 2
    )
    return np.concatenate(((ends[:-1] + ends[1:]) / 2, ends)), np.vstack((middles, xy))


def _along(path: Path, line: shapely.LineString, at: NDArray[np.object_]) -> FloatArray:
    """How far along a path it is nearest to places; by the chords of its arcs."""
    along: FloatArray = shapely.line_locate_point(line, at) / line.length * path.length
    return along


def _at(path: Path, along: float) -> Point:
    """A place on a path; a closed one continues over its start."""
    return path.point_at(along % path.length if path.closed else along)


def _in_grooves(
    ways: shapely.MultiLineString, lines: Sequence[shapely.LineString], radius: float
) -> bool:
    """Whether ways cut nothing that two laps do not cut as well."""
    x0, y0, x1, y1 = ways.bounds
    far = 2 * radius
    near = shapely.clip_by_rect(np.asarray(lines), x0 - far, y0 - far, x1 + far, y1 + far)
    grooves = shapely.union_all(shapely.buffer(near, radius, quad_segs=32))
    return bool(grooves.covers(shapely.buffer(ways, radius - SPARE, quad_segs=4)))


def _cut_in_turn(trunk: int, paths: Sequence[Path], links: Sequence[Sequence[_Link]]) -> Path:
    """All laps of a tree as one path, closed when its trunk is."""
    parts = [
        part
        for lap, start, end in _stretches(trunk, paths, links)
        for part in _parts(paths[lap], start, end)
    ]
    xy = np.vstack([part.xy for part in parts])
    # straight from part to part
    bulge = np.concatenate([np.append(part.bulge, 0.0) for part in parts])[:-1]
    # most parts begin where the one before ended
    kept = np.hypot(*np.diff(xy, axis=0).T) > CRUMB
    points: FloatArray = np.vstack((xy[:1], xy[1:][kept]))
    if paths[trunk].closed:
        points[-1] = points[0]
    return Path(points, bulge[kept])


def _stretches(
    trunk: int, paths: Sequence[Path], links: Sequence[Sequence[_Link]]
) -> Iterator[tuple[int, float, float]]:
    """Laps and from where to where along them, in the order of the cut."""

    def entered(lap: int, at: float, by: _Link | None) -> list[tuple[float, _Link]]:
        """What links come on a lap from where it is entered, and how far from there, last first."""
        round_it = paths[lap].length if paths[lap].closed else math.inf
        ahead = [((link.on(lap) - at) % round_it, link) for link in links[lap] if link is not by]
        return sorted(ahead, key=lambda stop: (round(stop[0], DIGITS), stop[1].laps), reverse=True)

    # laps that are not finished: where each is entered, how far it is cut from there, its links
    stack = [(trunk, 0.0, 0.0, entered(trunk, 0.0, None))]
    while stack:
        lap, at, done, ahead = stack.pop()
        length, closed = paths[lap].length, paths[lap].closed
        if not ahead:
            yield lap, at + done, at + length + (PAST if stack else 0.0)
            continue
        stop, link = ahead.pop()
        yield lap, at + done, at + (stop + PAST if closed else min(stop + PAST, length))
        stack.append((lap, at, stop, ahead))
        other = link.beyond(lap)
        stack.append((other, link.on(other), 0.0, entered(other, link.on(other), link)))


def _parts(path: Path, start: float, end: float) -> Iterator[Path]:
    """A stretch of a path; one of a closed path in parts that each run less than once around."""
    length = path.length
    while path.closed and start >= length:
        start, end = start - length, end - length
    while path.closed and end > length:
        if start < length - CRUMB:
            yield path.part(start, length)
        start, end = 0.0, end - length
    if end > start + CRUMB:
        yield path.part(start, end)
