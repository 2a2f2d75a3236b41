"""Near neighbours in the same pass: what another pass would gouge.

A groove that one pass cuts whole cannot short. But where two passes miss each other, it gouges a
neighbour that the other pass cuts, by the misalignment less the spacing of groove and copper.
Pieces whose laps fit several windows are therefore shared out by a minimum cut: every pair of near
neighbours is an edge that costs its gouge, and what a pass must cut anyway holds the rest to it.
With two passes the cut is the best sharing there is; with more, every two of them are settled in
turn until nothing gets better.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.model.blank import Box, Placement
from millprep.model.cut import Lap
from millprep.model.job.isolation import IsolationPlan

PieceKey = tuple[int, str]
"""A copper piece of a copy: (placement, piece)."""
Expected = Callable[[int, int, Point, Point], float]
"""The misalignment of two passes (from 0) at a place in the direction of a unit vector, mm."""

REACH = 0.3
"""Copper farther from a groove than this is beyond every misalignment, mm."""
FLAT = 0.002
SETTLED = 1e-6
"""Cost of a piece that is not cut where it was meant to be, mm: less than any gouge."""
UNIT = 1e-7
"""Costs are counted in this, mm."""
ROUNDS = 4
NOTHING = shapely.LineString()


class Pair(NamedTuple):
    """A groove near a neighbour's copper.

    Attributes:
        piece: the piece whose groove it is.
        other: the neighbour.
        spacing: from the groove's edge to the neighbour's copper, mm.
        at: the place, blank frame.
        across: unit vector from the piece to the neighbour.
    """

    piece: PieceKey
    other: PieceKey
    spacing: float
    at: Point
    across: Point


@dataclass(frozen=True, slots=True)
class Gouge:
    """A groove that may cut into a neighbour's copper by `depth`, passes from 0."""

    pair: Pair
    passes: tuple[int, int]
    depth: float


def near(
    laps_by_piece: Mapping[PieceKey, Sequence[Lap]], first: Sequence[Lap], shared: Sequence[Box]
) -> tuple[Pair, ...]:
    """The nearest place of every groove to every neighbour within `REACH`.

    First laps run half a groove outside their copper, so a groove's edge is as far from a
    neighbour's copper as the groove's axis is from the neighbour's first lap.

    Args:
        laps_by_piece: all laps.
        first: the first laps.
        shared: areas that several windows share; elsewhere there is no choice.
    """
    areas = [b.shape for b in shared]
    if not areas or not first:
        return ()
    within = shapely.union_all(areas).buffer(REACH)
    shapely.prepare(within)
    laps = [lap for mine in laps_by_piece.values() for lap in mine]
    boxes = np.array([(*r.path.xy.min(axis=0), *r.path.xy.max(axis=0)) for r in laps])
    # an arc may bulge out of its vertices' box, never by more than the box is wide
    bulge = np.where([r.path.bulge.any() for r in laps], np.ptp(boxes[:, [0, 2]], axis=1), 0.0)
    grown = shapely.box(
        boxes[:, 0] - bulge, boxes[:, 1] - bulge, boxes[:, 2] + bulge, boxes[:, 3] + bulge
    )
    inside = np.flatnonzero(shapely.intersects(within, grown)).tolist()
    flat = [laps[n].path.line(FLAT) for n in inside]
    kept = shapely.intersection(within, np.array(flat, dtype=object))
    lines = {id(laps[n]): line for n, line in zip(inside, kept.tolist(), strict=True)}
    mine = [laps[n] for n in inside if not lines[id(laps[n])].is_empty]
    others = [lap for lap in first if not lines.get(id(lap), NOTHING).is_empty]
    if not others:
        return ()
    tree = shapely.STRtree([lines[id(lap)] for lap in others])
    grooves = np.array([lines[id(lap)] for lap in mine], dtype=object)
    left, right = tree.query(grooves, predicate="dwithin", distance=REACH)
    different = [_key(mine[i]) != _key(others[j]) for i, j in zip(left, right, strict=True)]
    left, right = left[different], right[different]
    ways = shapely.shortest_line(grooves[left], tree.geometries[right])
    nearest: dict[tuple[PieceKey, PieceKey], Pair] = {}
    for i, j, way in zip(left.tolist(), right.tolist(), ways.tolist(), strict=True):
        piece, other = _key(mine[i]), _key(others[j])
        known = nearest.get((piece, other))
        if known is None or way.length < known.spacing:
            nearest[piece, other] = _pair(piece, other, way)
    return tuple(nearest.values())


def _key(lap: Lap) -> PieceKey:
    return (lap.placement, lap.piece)


def _pair(piece_key: PieceKey, other: PieceKey, way: shapely.LineString) -> Pair:
    (x0, y0), (x1, y1) = way.coords[0], way.coords[-1]
    length = way.length
    # laps that cross have no direction between them; any misalignment gouges
    across = ((x1 - x0) / length, (y1 - y0) / length) if length > 1e-9 else (0.0, 1.0)
    return Pair(piece_key, other, length, ((x0 + x1) / 2, (y0 + y1) / 2), across)


def settle(
    meant: Mapping[PieceKey, int],
    fits: Mapping[PieceKey, Sequence[int]],
    pairs: Sequence[Pair],
    fixed: Callable[[PieceKey, Point], int | None],
    expected: Expected,
) -> dict[PieceKey, int]:
    """The pass of every piece that is cut whole, so that gouges are least.

    Args:
        meant: the pass each would be cut in for all that neighbours matter.
        fits: the passes whose windows hold it.
        pairs: near neighbours.
        fixed: the pass that cuts a piece which is not whole, near a place.
        expected: the misalignment of two passes.
    """
    now = dict(meant)
    near_free = [
        p for p in pairs if len(fits.get(p.piece, ())) > 1 or len(fits.get(p.other, ())) > 1
    ]
    if not near_free:
        return now
    choices = sorted({k for key in fits for k in fits[key] if len(fits[key]) > 1})

    def at(key: PieceKey, place: Point) -> int | None:
        return now[key] if key in now else fixed(key, place)

    for _ in range(ROUNDS):
        before = dict(now)
        for n, a in enumerate(choices):
            for b in choices[n + 1 :]:
                _swap(a, b, now, meant, fits, near_free, at, expected)
        if now == before or len(choices) == 2:
            break
    return now


def _swap(
    a: int,
    b: int,
    now: dict[PieceKey, int],
    meant: Mapping[PieceKey, int],
    fits: Mapping[PieceKey, Sequence[int]],
    pairs: Sequence[Pair],
    at: Callable[[PieceKey, Point], int | None],
    expected: Expected,
) -> None:
    """The best sharing between two passes of the pieces that they cut and that fit both."""
    free = [key for key, k in now.items() if k in (a, b) and {a, b} <= set(fits[key])]
    touched = {key for pair in pairs for key in (pair.piece, pair.other)}
    number = {key: n + 2 for n, key in enumerate(b_ for b_ in free if b_ in touched)}
    if not number:
        return
    # node 0 is pass a, node 1 is pass b
    graph = PassGraph()
    for key, n in number.items():
        if meant[key] in (a, b):
            graph.tie(n, 0 if meant[key] == a else 1, SETTLED)

    def price(pair: Pair, first: int, second: int) -> float:
        if first == second:
            return 0.0
        return max(0.0, expected(first, second, pair.at, pair.across) - pair.spacing)

    for pair in pairs:
        ends = (pair.piece, pair.other)
        known = [key in number for key in ends]
        if all(known):
            graph.tie(number[ends[0]], number[ends[1]], price(pair, a, b))
        elif any(known):
            key, other = ends if known[0] else ends[::-1]
            k = at(other, pair.at)
            if k is None:
                continue
            # to be cut with a costs what a does to the other, and the other way round
            graph.tie(number[key], 1, price(pair, a, k))
            graph.tie(number[key], 0, price(pair, b, k))
    with_a = graph.side(0, 1)
    for key, n in number.items():
        now[key] = a if n in with_a else b


def gouges(
    pairs: Sequence[Pair], pass_at: Callable[[PieceKey, Point], int | None], expected: Expected
) -> tuple[Gouge, ...]:
    """What is left: grooves near copper that another pass cuts, the deepest gouge first."""
    gouges_ = []
    for pair in pairs:
        first, second = pass_at(pair.piece, pair.at), pass_at(pair.other, pair.at)
        if first is None or second is None or first == second:
            continue
        depth = expected(first, second, pair.at, pair.across) - pair.spacing
        if depth > 0:
            gouges_.append(Gouge(pair, (first, second), depth))
    return tuple(sorted(gouges_, key=lambda gouge: (-gouge.depth, gouge.pair)))


class PassGraph:
    """Pieces as nodes whose smallest cut between two of them is wanted; costs are in mm."""

    def __init__(self) -> None:
        self.costs: dict[int, dict[int, float]] = {}

    def tie(self, a: int, b: int, cost: float) -> None:
        """What it costs to separate two nodes; costs of one pair add up."""
        if cost > 0:
            for first, second in ((a, b), (b, a)):
                near = self.costs.setdefault(first, {})
                near[second] = near.get(second, 0.0) + cost

    def side(self, source: int, sink: int) -> set[int]:
        """The nodes that stay with the source: of several smallest cuts the one nearest to it."""
        # whole numbers, so that nothing is left of a way that is full
        room = {source: dict[int, int]()}
        for a, near in self.costs.items():
            room[a] = {b: round(cost / UNIT) for b, cost in near.items()}
        # the greatest flow, filled up step by step along the shortest ways (E. A. Dinic 1970)
        while True:
            steps = {source: 0}
            reached = [source]
            for a in reached:
                for b, left in room[a].items():
                    if left and b not in steps:
                        steps[b] = steps[a] + 1
                        reached.append(b)
            if sink not in steps:
                return set(steps)
            ahead = {a: [b for b in room[a] if steps.get(b) == steps[a] + 1] for a in reached}
            way = [source]
            while way:
                a = way[-1]
                if a == sink:
                    arcs = list(itertools.pairwise(way))
                    most = min(room[a][b] for a, b in arcs)
                    for a, b in arcs:
                        room[a][b] -= most
                        room[b][a] += most
                    # on from the first that is full
                    del way[1 + next(k for k, (a, b) in enumerate(arcs) if not room[a][b]) :]
                    continue
                while ahead[a] and not room[a][ahead[a][-1]]:
                    ahead[a].pop()
                if ahead[a]:
                    way.append(ahead[a][-1])
                    continue
                way.pop()
                if way:
                    ahead[way[-1]].pop()


def gouges_of_drawn_copper(
    gouges: Sequence[Gouge], placements: Sequence[Placement], plan: IsolationPlan
) -> tuple[Gouge, ...]:
    """The gouges that reach drawn copper.

    They are computed as if every lap ran along its copper. Along the medial axis the drawn copper
    begins farther off, and what a groove cuts before that is not drawn copper.
    """
    if plan.course != "middle":
        return tuple(gouges)
    shapes = {(p.index, name): shape for p in placements for name, shape in p.pieces.items()}
    half = max(use.surface for use in plan.uses) / 2
    real = []
    for gouge in gouges:
        away = shapely.distance(shapely.Point(gouge.pair.at), shapes[gouge.pair.other])
        depth = gouge.depth - max(float(away) - half, 0.0)
        if depth > 0:
            real.append(replace(gouge, depth=depth))
    return tuple(real)
