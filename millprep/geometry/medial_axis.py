"""The medial axis of gaps: the curves that lie as far from one area as from another.

Edges are sampled, closer together the narrower their gap, and the samples joined to
triangles (Delaunay). Where a triangle has corners on several areas, the centre of the circle
through them lies about in the middle of the gap; from there Newton's method leads to the place
that is equally far from the edges themselves. Neighbouring triangles give neighbouring places:
a net of curves, each between two areas, that meet where three areas are equally near. (The curves
are the edges of the areas' Voronoi cells: F. Aurenhammer, ACM Computing Surveys 23, 1991, from
memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import boundaries_of
from millprep.geometry.path import FloatArray

IntArray = NDArray[np.int64]

COARSE, FINE = 0.5, 0.01
"""Samples are at most and at least so far from each other, mm."""
CHORD = 0.001
"""A curve's chords stay this near to it, mm: between a point and a line it is a parabola."""
ROUNDS = 3
"""How often samples are set closer together by the gaps that the last round measured."""
STEPS = 6
"""Steps of Newton's method; it doubles the digits each time."""


@dataclass(frozen=True, slots=True, eq=False)
class MedialAxis:
    """The medial axis as a net of curves.

    Attributes:
        places: (n, 2) places on the curves.
        reach: (n,) how far each is from the areas along it.
        chords: (m, 2) pairs of places that follow each other.
        areas: (m, 2) numbers of the two areas on either side of a chord, the lower first.
        left: (m,) whether the lower one lies on the left of the way from first to second place.
        clearance: (m,) how far a chord keeps from the two areas.
        degree: (n,) how many areas meet at a place: 2 along a curve, 3 where curves meet.
    """

    places: FloatArray
    reach: FloatArray
    chords: IntArray
    areas: IntArray
    left: NDArray[np.bool_]
    clearance: FloatArray
    degree: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Short pieces of edges, boundary after boundary: (n, 2) starts and ends, and labels."""

    start: FloatArray
    end: FloatArray
    label: IntArray
    loop: IntArray

    def split(self, count: IntArray) -> _Edges:
        """Every piece in so many equal ones."""
        which = np.repeat(np.arange(len(count)), count)
        first = np.concatenate(([0], np.cumsum(count)[:-1]))
        t = np.arange(len(which)) - first[which]
        run = (self.end - self.start)[which] / count[which, None]
        start = self.start[which] + run * t[:, None]
        last = t + 1 == count[which]
        # ends are the next starts to the last digit
        end = np.where(last[:, None], self.end[which], np.roll(start, -1, axis=0))
        return _Edges(start, end, self.label[which], self.loop[which])

    @property
    def before(self) -> FloatArray:
        """(n, 2) the start of the piece before each."""
        n = len(self.loop)
        first = np.flatnonzero(np.diff(self.loop, prepend=-1))
        last = np.append(first[1:], n) - 1
        index = np.arange(n) - 1
        index[first] = last
        result: FloatArray = self.start[index]
        return result


def medial_axis(
    areas: Sequence[shapely.Polygon], rim: shapely.Polygon | None = None, rim_clearance: float = 0.0
) -> MedialAxis:
    """The medial axis between areas that do not touch.

    Args:
        areas: numbered from 0.
        rim: all outside of it is one more area, with the last number; None for no such area.
        rim_clearance: where the rim is nearer than this to an area there is no curve between
            them; along the others a cut of this width, straight over the rim at any place, keeps
            off them.
    """
    edges = _edges(areas, rim)
    tree = shapely.STRtree(list(areas))
    outside = len(areas)
    for again in range(ROUNDS):
        used = _used(edges, tree, outside, rim_clearance)
        corners = _triangles(edges, used)
        if again == ROUNDS - 1 or not len(corners):
            break
        near = _gaps(edges, corners)
        following = np.roll(near, -1)
        wanted = np.minimum(near, following)
        wanted = np.clip(np.minimum(wanted / 2, np.sqrt(8 * CHORD * wanted)), FINE, COARSE)
        length = np.hypot(*(edges.end - edges.start).T)
        edges = edges.split(np.maximum(np.ceil(length / wanted - 1e-9), 1).astype(np.int64))
    net = _net(edges, corners, [*areas, *([] if rim is None else [rim.boundary])])
    return net if rim is None else _off_the_rim(net, tree, rim, rim_clearance)


def _off_the_rim(
    net: MedialAxis, tree: shapely.STRtree, rim: shapely.Polygon, rim_clearance: float
) -> MedialAxis:
    """The net without curves along the rim where it is near to areas.

    It has no samples there. Triangles bridge such a stretch from one end to the other, and their
    places lie between an area and those ends, however near the rim itself is, or even beyond it.
    """
    along = np.flatnonzero(net.areas[:, 1] == len(tree))
    ends = np.asarray(shapely.points(net.places[net.chords[along]]))
    shapely.prepare(rim)
    beyond = ~np.asarray(shapely.contains(rim, ends))
    edge = rim.boundary
    shapely.prepare(edge)
    feet = np.asarray(shapely.get_point(shapely.shortest_line(edge, ends), 0))
    near = tree.query(feet.ravel(), predicate="dwithin", distance=rim_clearance)[0]
    keep = np.ones(len(net.chords), dtype=bool)
    keep[along[beyond.any(axis=1)]] = False
    keep[along[near // 2]] = False
    return replace(
        net,
        chords=net.chords[keep],
        areas=net.areas[keep],
        left=net.left[keep],
        clearance=net.clearance[keep],
    )


def _edges(areas: Sequence[shapely.Polygon], rim: shapely.Polygon | None) -> _Edges:
    labelled = [(n, loop) for n, area in enumerate(areas) for loop in boundaries_of(area)]
    if rim is not None:
        labelled += [(len(areas), loop) for loop in boundaries_of(rim)]
    points = [shapely.get_coordinates(loop) for _, loop in labelled]
    counts = [len(xy) - 1 for xy in points]
    edges = _Edges(
        np.concatenate([xy[:-1] for xy in points]),
        np.concatenate([xy[1:] for xy in points]),
        np.repeat(np.array([n for n, _ in labelled], dtype=np.int64), counts),
        np.repeat(np.arange(len(points)), counts),
    )
    length = np.hypot(*(edges.end - edges.start).T)
    return edges.split(np.maximum(np.ceil(length / COARSE), 1).astype(np.int64))


def _used(edges: _Edges, tree: shapely.STRtree, outside: int, rim_clearance: float) -> IntArray:
    """The pieces whose starts are samples: each place once, the rim only away from areas."""
    use = np.ones(len(edges.label), dtype=bool)
    rim = np.flatnonzero(edges.label == outside)
    if len(rim):
        hits = tree.query(
            shapely.points(edges.start[rim]), predicate="dwithin", distance=rim_clearance
        )
        use[rim[np.unique(hits[0])]] = False
    kept = np.flatnonzero(use)
    _, first = np.unique(_key(edges.start[kept]), return_index=True)
    result: IntArray = np.sort(kept[first])
    return result


def _key(xy: FloatArray) -> NDArray[np.complex128]:
    """Points as numbers that sort."""
    key: NDArray[np.complex128] = xy[..., 0] + 1j * xy[..., 1]
    return key


def _triangles(edges: _Edges, used: IntArray) -> IntArray:
    """(t, 3) pieces whose starts are the corners of each triangle with corners on two areas."""
    xy = edges.start[used]
    index = used[_delaunay(xy)]
    label = edges.label[index]
    mixed = (label != label[:, :1]).any(axis=1)
    result: IntArray = index[mixed]
    return result


def _delaunay(xy: FloatArray) -> IntArray:
    """(t, 3) numbers of the points that are the corners of each triangle.

    By Qhull, which merges what rounding leaves undecided. GEOS walks from triangle to triangle:
    where points lie on a grid it may make triangles without area, and rarely walks in a circle
    and gives up.
    """
    from scipy.spatial import Delaunay

    # about their middle: points are lifted by the square of their distance from the origin
    result: IntArray = Delaunay(xy - xy.mean(axis=0)).simplices.astype(np.int64)
    return result


def _gaps(edges: _Edges, corners: IntArray) -> FloatArray:
    """(n,) for every sample how near another area is, by the sides of triangles."""
    near = np.full(len(edges.label), np.inf)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        i, j = corners[:, a], corners[:, b]
        mixed = edges.label[i] != edges.label[j]
        i, j = i[mixed], j[mixed]
        length = np.hypot(*(edges.start[i] - edges.start[j]).T)
        np.minimum.at(near, i, length)
        np.minimum.at(near, j, length)
    return near


def _net(edges: _Edges, corners: IntArray, sides: Sequence[BaseGeometry]) -> MedialAxis:
    """The net from the triangles between areas, whose edges are the sides."""
    label = edges.label[corners]
    places, reach = _settled(edges, corners, label)
    t = len(corners)
    first = corners[:, [0, 1, 2]].ravel()
    second = corners[:, [1, 2, 0]].ravel()
    owner = np.repeat(np.arange(t), 3)
    mixed = edges.label[first] != edges.label[second]
    first, second, owner = first[mixed], second[mixed], owner[mixed]
    low, high = np.minimum(first, second), np.maximum(first, second)
    order = np.lexsort((owner, high, low))
    low, high, owner = low[order], high[order], owner[order]
    same = np.flatnonzero((low[1:] == low[:-1]) & (high[1:] == high[:-1]))
    chords = np.column_stack((owner[same], owner[same + 1])).astype(np.int64)
    ends = np.column_stack((low[same], high[same]))
    areas = edges.label[ends]
    swap = areas[:, 0] > areas[:, 1]
    ends[swap], areas[swap] = ends[swap][:, ::-1], areas[swap][:, ::-1]
    # a curve crosses the side of two triangles that it separates, from the one to the other
    middle_of = edges.start[corners].mean(axis=1)
    way = middle_of[chords[:, 1]] - middle_of[chords[:, 0]]
    side = edges.start[ends[:, 0]] - edges.start[ends[:, 1]]
    left = way[:, 0] * side[:, 1] - way[:, 1] * side[:, 0] > 0
    degree = 2 + (
        (label[:, 0] != label[:, 1]) & (label[:, 1] != label[:, 2]) & (label[:, 0] != label[:, 2])
    ).astype(np.int64)
    clearance = _clearance(places[chords], areas, sides)
    return MedialAxis(places, reach, chords, areas, left, clearance, degree)


def _clearance(ends: FloatArray, areas: IntArray, sides: Sequence[BaseGeometry]) -> FloatArray:
    """(m,) how far chords keep from the areas along them; (m, 2, 2) their ends."""
    lines = np.asarray(shapely.linestrings(ends))
    result = np.full(len(lines), np.inf)
    for n, side in enumerate(sides):
        along = np.flatnonzero((areas == n).any(axis=1))
        shapely.prepare(side)
        result[along] = np.minimum(result[along], shapely.distance(side, lines[along]))
    return result


def _settled(edges: _Edges, corners: IntArray, label: IntArray) -> tuple[FloatArray, FloatArray]:
    """(t, 2) places equally far from the areas of every triangle, and (t,) how far."""
    before, at, after = edges.before[corners], edges.start[corners], edges.end[corners]
    place = _centres(at)
    rows = np.arange(len(place))
    three = (label[:, 0] != label[:, 1]) & (label[:, 1] != label[:, 2])
    three &= label[:, 0] != label[:, 2]
    # the corner that is alone on its area, and the other two
    alone = np.where(label[:, 1] == label[:, 2], 0, np.where(label[:, 0] == label[:, 2], 1, 2))
    b, c = (alone + 1) % 3, (alone + 2) % 3
    far = np.zeros(len(place))
    for step in range(STEPS + 1):
        here = np.repeat(place[:, None], 3, axis=1)
        foot_1, foot_2 = _foot(here, before, at), _foot(here, at, after)
        d1, d2 = (np.hypot(*np.moveaxis(here - foot, -1, 0)) for foot in (foot_1, foot_2))
        nearer = d1 <= d2
        foot = np.where(nearer[..., None], foot_1, foot_2)
        d = np.minimum(d1, d2)
        unit = (here - foot) / np.maximum(d, 1e-12)[..., None]
        pair = np.where(d[rows, b] <= d[rows, c], b, c)
        far = np.minimum(d[rows, alone], d[rows, pair])
        if step == STEPS:
            break
        off = d[rows, alone] - d[rows, pair]
        slope = unit[rows, alone] - unit[rows, pair]
        move = -off[:, None] * slope / np.maximum((slope**2).sum(axis=1), 1e-12)[:, None]
        f1, f2 = d[:, 0] - d[:, 1], d[:, 0] - d[:, 2]
        g1, g2 = unit[:, 0] - unit[:, 1], unit[:, 0] - unit[:, 2]
        det = g1[:, 0] * g2[:, 1] - g1[:, 1] * g2[:, 0]
        safe = np.where(np.abs(det) > 1e-6, det, np.inf)
        both = np.column_stack(
            ((-f1 * g2[:, 1] + f2 * g1[:, 1]) / safe, (-f2 * g1[:, 0] + f1 * g2[:, 0]) / safe)
        )
        move = np.where(three[:, None], both, move)
        long = np.hypot(*move.T)
        place = place + move * np.minimum(1.0, far / 2 / np.maximum(long, 1e-12))[:, None]
    return place, far


def _centres(corner: FloatArray) -> FloatArray:
    """(t, 2) centres of the circles through (t, 3, 2) corners."""
    a = corner[:, 0]
    ab, ac = corner[:, 1] - a, corner[:, 2] - a
    cross = 2 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    cross = np.where(np.abs(cross) > 1e-15, cross, 1e-15)
    ab2, ac2 = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    x = (ac[:, 1] * ab2 - ab[:, 1] * ac2) / cross
    y = (ab[:, 0] * ac2 - ac[:, 0] * ab2) / cross
    result: FloatArray = a + np.column_stack((x, y))
    return result


def _foot(at: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """The point of each line from start to end that is nearest to a place."""
    run = end - start
    square = np.maximum((run**2).sum(axis=-1), 1e-30)
    t = np.clip(((at - start) * run).sum(axis=-1) / square, 0.0, 1.0)
    foot: FloatArray = start + run * t[..., None]
    return foot
