"""The medial axis of gaps as long chains, each of which belongs to one piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.medial_axis import MedialAxis
from millprep.geometry.path import FloatArray

PAST = 0.1
"""A lap that ends on another goes on beyond it by as much, where copper leaves room, mm."""
ON_EDGE = 1e-6
"""Nearer to the board's edge than this, mm, an end lies on it."""


@dataclass(frozen=True, slots=True, eq=False)
class MedialChain:
    """A chain of places that belongs to one area.

    Attributes:
        points: (n, 2) mm.
        owner: number of the area.
        branch_reach: for both ends how far copper is where the chain meets another curve, or None.
    """

    points: FloatArray
    owner: int
    branch_reach: tuple[float | None, float | None]


def turned(chain: MedialChain) -> MedialChain:
    """The chain from its end to its start."""
    return MedialChain(
        chain.points[::-1], chain.owner, (chain.branch_reach[1], chain.branch_reach[0])
    )


def medial_chains(axis: MedialAxis, kept: NDArray[np.bool_]) -> Iterator[MedialChain]:
    """The chords that are kept as long chains, each with its owner on the left."""
    follow: dict[tuple[int, int], list[int]] = {}
    keep = np.flatnonzero(kept)
    for k in keep.tolist():
        owner = int(axis.areas[k, 0])
        for place in axis.chords[k].tolist():
            follow.setdefault((owner, place), []).append(k)
    curves = np.bincount(axis.chords[keep].ravel(), minlength=len(axis.places))
    done: set[int] = set()
    ends = [(key, links[0]) for key, links in follow.items() if len(links) == 1]
    loops = [(key, links[0]) for key, links in follow.items() if len(links) > 1]
    for (owner, start), first in (*ends, *loops):
        if first in done:
            continue
        vertices, here, k = [start], start, first
        way = bool(axis.left[k]) == (int(axis.chords[k, 0]) == start)
        while k not in done:
            done.add(k)
            a, b = axis.chords[k].tolist()
            here = b if a == here else a
            vertices.append(here)
            k = next((n for n in follow[owner, here] if n not in done), k)
        reaches = [
            float(axis.reach[place]) if axis.degree[place] == 3 and curves[place] > 1 else None
            for place in (vertices[0], vertices[-1])
        ]
        xy = axis.places[vertices]
        move = np.hypot(*np.diff(xy, axis=0).T) > 1e-6
        xy = xy[np.concatenate(([True], move))]
        if len(xy) < 2:
            continue
        if vertices[0] == vertices[-1]:
            xy[-1] = xy[0]
        if not way:
            xy, reaches = xy[::-1], reaches[::-1]
        yield MedialChain(xy, owner, (reaches[0], reaches[1]))


def extended(chain: MedialChain, outline: shapely.Polygon, width: float) -> FloatArray:
    """The chain with longer ends: over the curve they meet, or over the board's edge.

    `width` is that of the cut, mm, which no end comes nearer to copper than.
    """
    points = chain.points
    for end in (0, 1):
        xy = points if end else points[::-1]
        branch_reach = chain.branch_reach[end]
        if np.array_equal(xy[0], xy[-1]):
            continue
        way = xy[-1] - _back(xy, 0.05)
        if branch_reach is not None:
            length = min(PAST, branch_reach - width / 2)
        else:
            at = shapely.Point(xy[-1])
            line = shapely.shortest_line(at, outline.boundary)
            inside = outline.contains(at)
            length = width + (line.length if inside else -line.length)
            # on the edge itself the shortest line has no direction: the chain goes on its own way
            if line.length > ON_EDGE:
                near = shapely.get_coordinates(line)
                way = near[1] - near[0] if inside else near[0] - near[1]
        if length <= 0:
            continue
        xy = np.vstack((xy, xy[-1] + way / np.hypot(*way) * length))
        points = xy if end else xy[::-1]
    return points


def _back(xy: FloatArray, distance: float) -> FloatArray:
    """The last vertex that lies this far from the end of a chain, or its start."""
    away = np.hypot(*(xy - xy[-1]).T)
    far = np.flatnonzero(away >= distance)
    vertex: FloatArray = xy[far[-1]] if len(far) else xy[0]
    return vertex
