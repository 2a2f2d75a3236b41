"""Widths of copper across the way of the current.

Between the points of an outline, densely set, the edges of the Delaunay triangulation hold
every locally shortest line across the copper: a circle on such a line as its diameter is empty
(a Gabriel edge). Each edge is a section of the copper; it is drawn tight, and the current
through it is what the sheet's solution sends across.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.judged import CurrentNeck
from millprep.verify.rules.conduction import Solution
from millprep.verify.rules.mesh import IntArray, Mesh, edges, triangulated

SPACING = 0.2
"""Distance of points along an outline, mm."""
SAMPLES = 9
"""Places along a section where the current density is read."""
BUMP = 2.0
"""A section that cuts off less outline than this many times its own length is none."""
TIGHTER = 4


@dataclass(frozen=True, slots=True, eq=False)
class Sections:
    """Lines across an area from edge to edge.

    Attributes:
        ends: (s, 2, 2) drawn tight.
        through: (s, 2, 2) ends of the triangulation's edges that they came from.
        sides: (s, 2) triangles on both sides.
        mesh: the triangulation.
    """

    ends: FloatArray
    through: FloatArray
    sides: IntArray
    mesh: Mesh

    @property
    def widths(self) -> FloatArray:
        """(s,) mm."""
        step = self.ends[:, 1] - self.ends[:, 0]
        width: FloatArray = np.hypot(step[:, 0], step[:, 1])
        return width


def sections(shape: shapely.Polygon) -> Sections:
    """Sections of one area, at every `SPACING` of its outline or closer."""
    mesh = triangulated([shapely.segmentize(shape, SPACING)])
    net = edges(mesh)
    inner = np.flatnonzero(~net.boundary)
    before, after, ring, place, around = _outline(mesh, net.ends[net.boundary])
    a, b = net.ends[inner].T
    way = np.abs(place[a] - place[b])
    way = np.where(ring[a] == ring[b], np.minimum(way, around[a] - way), np.inf)
    through = mesh.points[net.ends[inner]]
    length = np.hypot(*(through[:, 1] - through[:, 0]).T)
    real = way > BUMP * length
    a, b, through = a[real], b[real], through[real]
    ends = through.copy()
    for _ in range(TIGHTER):
        for here, mine in ((0, a), (1, b)):
            ends[:, here] = _nearest(mesh.points, ends[:, 1 - here], mine, before, after)
    return Sections(ends, through, net.sides[inner][real], mesh)


def currents(through: FloatArray, solution: Solution) -> FloatArray:
    """(s,) amperes across each section, without their sign; `through` as of `Sections`."""
    step = (np.arange(SAMPLES) + 0.5) / SAMPLES
    start, end = through[:, 0], through[:, 1]
    places = start[:, None] + step[None, :, None] * (end - start)[:, None]
    density = solution.density(places.reshape(-1, 2)).reshape(places.shape)
    along = end - start
    normal = np.column_stack((along[:, 1], -along[:, 0]))
    flow: FloatArray = np.abs((density.mean(axis=1) * normal).sum(axis=1))
    return flow


def bottleneck(shape: shapely.Polygon, ends: list[shapely.Geometry]) -> CurrentNeck | None:
    """The narrowest section on the widest way between all `ends`; None where none is crossed.

    `ends` are soldered joints, each of one piece of metal: a way may lead through them. Where
    a way could split around a hole, the wider side counts alone.
    """
    cuts = sections(shape)
    mesh = cuts.mesh
    tree = _tree(mesh)
    joints = [tree.query(end, predicate="dwithin", distance=SPACING) for end in ends]
    joints = [near for near in joints if len(near)]
    if len(joints) < 2:
        return None
    group = list(range(len(mesh.triangles)))
    for near in joints:
        for t in near[1:].tolist():
            _unite(group, int(near[0]), t)
    # Edges that are no section (they cut off a bump) are no hindrance.
    net = edges(mesh)
    is_section = {tuple(sorted(pair)) for pair in cuts.sides.tolist()}
    for side, other in net.sides[~net.boundary].tolist():
        if tuple(sorted((side, other))) not in is_section:
            _unite(group, side, other)
    widths = cuts.widths
    for n in np.argsort(-widths, kind="stable").tolist():
        _unite(group, *cuts.sides[n].tolist())
        if len({_root(group, int(near[0])) for near in joints}) == 1:
            x, y = cuts.ends[n].mean(axis=0).tolist()
            return CurrentNeck(float(widths[n]), (x, y), 0.0)
    return None


def _tree(mesh: Mesh) -> shapely.STRtree:
    return shapely.STRtree(np.asarray(shapely.polygons(mesh.points[mesh.triangles])))


def _outline(
    mesh: Mesh, rim: IntArray
) -> tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]:
    """Of each point its two neighbours on the outline, its loop, place along it, and its length."""
    n = len(mesh.points)
    near: list[list[int]] = [[] for _ in range(n)]
    for a, b in rim.tolist():
        near[a].append(b)
        near[b].append(a)
    before, after = np.arange(n), np.arange(n)
    ring = np.full(n, -1, dtype=np.int64)
    place, around = np.zeros(n), np.ones(n)
    for start in range(n):
        if ring[start] >= 0 or not near[start]:
            continue
        chain, last, here = [start], -1, start
        while True:
            ahead = [m for m in near[here] if m != last and (ring[m] < 0 or m == start)]
            ring[here] = start
            if not ahead or (ahead[0] == start and len(chain) > 2):
                break
            last, here = here, ahead[0]
            chain.append(here)
        order = np.array(chain)
        before[order], after[order] = np.roll(order, 1), np.roll(order, -1)
        steps = np.hypot(*(mesh.points[np.roll(order, -1)] - mesh.points[order]).T)
        place[order] = np.concatenate(([0.0], np.cumsum(steps)[:-1]))
        around[order] = steps.sum()
    return before, after, ring, place, around


def _nearest(
    points: FloatArray, to: FloatArray, at: IntArray, before: IntArray, after: IntArray
) -> FloatArray:
    """The point nearest to `to` on the two pieces of outline that meet in `at`."""
    best = points[at].copy()
    least = np.hypot(*(best - to).T)
    for neighbour in (before, after):
        start = points[at]
        step = points[neighbour[at]] - start
        square = np.maximum((step**2).sum(axis=1), 1e-30)
        share = np.clip(((to - start) * step).sum(axis=1) / square, 0.0, 1.0)
        foot = start + share[:, None] * step
        distance = np.hypot(*(foot - to).T)
        nearer = distance < least
        best[nearer], least = foot[nearer], np.minimum(distance, least)
    return best


def _root(group: list[int], n: int) -> int:
    while group[n] != n:
        group[n] = group[group[n]]
        n = group[n]
    return n


def _unite(group: list[int], a: int, b: int) -> None:
    low, high = sorted((_root(group, a), _root(group, b)))
    group[high] = low
