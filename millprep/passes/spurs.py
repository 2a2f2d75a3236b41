"""Ticks: short cuts outward at the ends of a join whose tolerance is too small.

Where two passes meet, each is cut past the join by the overrun. With a tick of length m at the
end of either side's outermost lap, outward into floating copper, a side that is off by
more than the groove is wide still meets the other side's tick: the tolerance grows from W to W + m.
A join gets ticks when W is less than `ENOUGH` times the misalignment to expect, as long as what is
missing, or as long as floating copper leaves room for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Path, Point
from millprep.model.cut import Cut, Lap
from millprep.model.milling_pass import Join
from millprep.passes.neighbours import PieceKey

ENOUGH = 3.0
"""Ticks raise a join's tolerance to this many times the misalignment to expect: common practice for
an error that is itself a guess, no source."""
STEP = 0.05
"""Lengths of ticks are multiples of this, mm."""
SHORTEST = 0.1
"""Shorter ticks are not worth their time, mm."""
NEAR = 0.003
"""A tick starts no nearer to its own copper than the lap it leaves, but for this much, mm."""


@dataclass(frozen=True, slots=True)
class IsolationGroove:
    """What all laps around a piece cut with one cutter.

    Attributes:
        surface, foot: width of one lap at the copper's surface and at its foot.
        pitch: distance between laps.
        laps: their number.
    """

    surface: float
    foot: float
    pitch: float
    laps: int

    @property
    def width(self) -> float:
        """Of the whole groove at the foot: W = w + (k - 1)·pitch."""
        return self.foot + (self.laps - 1) * self.pitch


@dataclass(frozen=True, slots=True)
class TickRoom:
    """Where ticks may go.

    Attributes:
        copper: the pieces, blank frame.
        edge: area of the boards.
        windows: what each pass reaches, in order of the passes.
        gap: distance to foreign copper that every cut keeps.
    """

    copper: Mapping[PieceKey, shapely.Polygon]
    edge: BaseGeometry
    windows: Sequence[shapely.Polygon]
    gap: float


def wanted(width: float, predicted: float) -> float:
    """How long ticks would have to be, mm; 0 when the groove alone is enough."""
    missing = ENOUGH * predicted - width
    if missing <= 1e-9:
        return 0.0
    return max(SHORTEST, math.ceil(missing / STEP - 1e-9) * STEP)


def add(
    joins: Sequence[Join],
    by_pass: Sequence[Sequence[Cut]],
    grooves: Mapping[PieceKey, tuple[str, IsolationGroove]],
    room: TickRoom,
) -> tuple[tuple[Join, ...], tuple[tuple[Cut, ...], ...]]:
    """The joins with the length of their ticks, and the cuts with the ticks at their ends.

    Args:
        joins: of copper, with the misalignment to expect.
        by_pass: cuts of every pass, laps already split with their overruns.
        grooves: for every joined piece the cutter that decides and what its laps cut.
        room: where ticks may go.
    """
    cuts = [list(some) for some in by_pass]
    ends = _Ends(cuts)
    tree = shapely.STRtree(list(room.copper.values()))
    pieces = list(room.copper)
    done: list[Join] = []
    for join in joins:
        assert join.piece is not None
        assert join.predicted is not None
        key = (join.placement, join.piece)
        cutter, groove = grooves[key]
        wished = wanted(groove.width, join.predicted)
        if not wished:
            done.append(join)
            continue
        sides = ends.of(join, cutter, groove, groove.laps - 1)
        length = 0.0
        if sides is not None:
            outward = [_outward(cuts[k][n], last, room.copper[key]) for k, n, last in sides]
            length = min(
                _longest(at, way, wished, groove, key, room, room.windows[k], tree, pieces)
                for (k, _, _), (at, way) in zip(sides, outward, strict=True)
            )
            if length:
                for (k, n, last), (at, way) in zip(sides, outward, strict=True):
                    lap = cuts[k][n]
                    assert isinstance(lap, Lap)
                    tip = (at[0] + way[0] * length, at[1] + way[1] * length)
                    cuts[k][n] = replace(lap, path=_with_tick(lap.path, tip, last))
        done.append(replace(join, tick=length))
    return tuple(done), tuple(map(tuple, cuts))


_Side = tuple[int, int, bool]
"""Pass (from 0), index of the lap in it, and whether its last end is meant."""


class _Ends:
    """The ends of laps that were split, by piece and pass."""

    def __init__(self, cuts: Sequence[Sequence[Cut]]) -> None:
        self.known: dict[tuple[int, PieceKey], list[tuple[Lap, int, bool, Point]]] = {}
        for k, some in enumerate(cuts):
            for n, lap in enumerate(some):
                if isinstance(lap, Lap) and not lap.path.closed:
                    here = self.known.setdefault((k, (lap.placement, lap.piece)), [])
                    here += [(lap, n, False, lap.path.start), (lap, n, True, lap.path.end)]

    def of(
        self, join: Join, cutter: str, groove: IsolationGroove, outermost: int
    ) -> list[_Side] | None:
        """The end of this lap on either side of a join; None unless both are there."""
        reach = math.hypot(join.overrun + STEP, groove.width + groove.surface)
        ux, uy = join.across[1], -join.across[0]
        sides: list[_Side] = []
        for number in join.passes:
            near = [
                (abs(abs(dx * ux + dy * uy) - join.overrun), n, last)
                for lap, n, last, at in self.known.get(
                    (number - 1, (join.placement, join.piece or "")), ()
                )
                if lap.number == outermost and lap.cutter == cutter
                for dx, dy in [(at[0] - join.at[0], at[1] - join.at[1])]
                if math.hypot(dx, dy) <= reach
            ]
            # an end that is not an overrun's length past the join belongs to no join
            near = [end for end in near if end[0] <= join.overrun / 2]
            if len(near) != 1:
                return None
            sides.append((number - 1, near[0][1], near[0][2]))
        return sides


def _outward(cut: Cut, last: bool, piece: shapely.Polygon) -> tuple[Point, Point]:
    """An end of a lap, and the unit vector there across the path, away from the piece."""
    assert isinstance(cut, Lap)
    path = cut.path
    end = path.end if last else path.start
    inner = path.point_at(path.length - 0.01 if last else 0.01)
    dx, dy = end[0] - inner[0], end[1] - inner[1]
    run = math.hypot(dx, dy)
    way = (-dy / run, dx / run)
    distances = [
        piece.distance(shapely.Point(end[0] + s * way[0] * 0.02, end[1] + s * way[1] * 0.02))
        for s in (1.0, -1.0)
    ]
    return end, way if distances[0] >= distances[1] else (-way[0], -way[1])


def _longest(
    at: Point,
    way: Point,
    wished: float,
    groove: IsolationGroove,
    key: PieceKey,
    room: TickRoom,
    window: shapely.Polygon,
    tree: shapely.STRtree,
    pieces: Sequence[PieceKey],
) -> float:
    """The longest tick from an end, up to the wished length, that has room; 0 for none."""
    half = groove.surface / 2
    own = half + (groove.laps - 1) * groove.pitch - NEAR
    steps = round(wished / STEP)
    for count in range(steps, round(SHORTEST / STEP) - 1, -1):
        length = count * STEP
        line = shapely.LineString([at, (at[0] + way[0] * length, at[1] + way[1] * length)])
        if not window.covers(line):
            continue
        if not room.edge.covers(line) or room.edge.boundary.distance(line) < half:
            continue
        near = tree.query(line, predicate="dwithin", distance=half + room.gap)
        if any(pieces[n] != key for n in near.tolist()):
            continue
        if room.copper[key].distance(line) < own:
            continue
        return length
    return 0.0


def _with_tick(path: Path, tip: Point, last: bool) -> Path:
    """A path that goes on to the tip at its end, or comes from it to its start."""
    if last:
        return path.joined(Path.lines(np.array([path.end, tip])))
    return Path.lines(np.array([tip, path.start])).joined(path)
