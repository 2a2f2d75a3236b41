"""Linking: paths cut one after the other without lifting the cutter, where the way is free."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from millprep.geometry.path import FloatArray


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
