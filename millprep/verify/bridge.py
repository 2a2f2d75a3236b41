"""Where the copper of a short joins the pieces it carries."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import shapely

from millprep.geometry.path import Point

SKIN = 0.03
"""Copper this close to a piece, mm, counts as the piece: cut edges lie a little outside."""
TOUCH = 1e-6


def bridges(
    part: shapely.Polygon, pieces: Mapping[str, shapely.Polygon]
) -> list[tuple[str, str, Point]]:
    """Pairs of pieces that `part` joins, one fewer than pieces, each with its place.

    The copper of the part beyond the pieces falls into connectors. Each connector joins the
    pieces it touches; its place is the smallest of its contacts, or its own middle when it
    is small.
    """
    names = list(pieces)
    grown = np.asarray(shapely.buffer([pieces[name] for name in names], SKIN, quad_segs=4))
    beyond = shapely.difference(part, shapely.union_all(grown))
    connectors = np.asarray(shapely.get_parts(beyond))
    group = list(range(len(names)))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    found: list[tuple[str, str, Point]] = []

    def join(i: int, j: int, at: Point) -> None:
        a, b = root(i), root(j)
        if a != b:
            group[max(a, b)] = min(a, b)
            found.append((names[min(i, j)], names[max(i, j)], at))

    tree = shapely.STRtree(grown)
    for i, j in tree.query(grown, predicate="intersects").T.tolist():
        if i < j:
            join(i, j, _between(pieces[names[i]], pieces[names[j]]))
    # Small connectors first: they are the bridges, the background joins what is left.
    for connector in sorted(connectors.tolist(), key=lambda shape: shape.area):
        if shapely.get_dimensions(connector) != 2:
            continue
        touched = sorted(tree.query(connector, predicate="dwithin", distance=TOUCH).tolist())
        for i, j in pairwise(touched):
            join(i, j, _contact(connector, grown[i], grown[j]))
    first = root(0)
    for i in range(1, len(names)):
        if root(i) != first:
            join(0, i, _between(pieces[names[0]], pieces[names[i]]))
    return found


def _contact(connector: shapely.Polygon, one: shapely.Geometry, other: shapely.Geometry) -> Point:
    if connector.area < 1.0:
        at = connector.representative_point()
        return (at.x, at.y)
    skin = connector.buffer(10 * TOUCH)
    contacts = [
        part
        for piece in (one, other)
        for part in shapely.get_parts(shapely.intersection(skin, piece)).tolist()
        if part.area > 0
    ]
    if not contacts:
        return _between(one, other)
    at = min(contacts, key=lambda part: part.area).representative_point()
    return (at.x, at.y)


def _between(one: shapely.Geometry, other: shapely.Geometry) -> Point:
    at = shapely.shortest_line(one, other).interpolate(0.5, normalized=True)
    return (at.x, at.y)
