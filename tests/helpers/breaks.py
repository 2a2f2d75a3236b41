"""Breaks of a cutter, and the copper that is taken away before and after: by shapely alone.

Each move is swept on its own, so that two programs need to be compared only in the moves that
one of them has and the other has not.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import shapely

from millprep.gcode import rs274
from millprep.gcode.rs274 import TextSink
from millprep.model.cutter import Cutter
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify import reader
from millprep.verify.read_back import trail_of
from millprep.verify.trace import Trace, TraceMove

FINE = 2e-3
"""Two flattenings of one curve differ by less, mm: a disc of radius 1 by 0.5 µm, an arc of radius
2 by 1 µm at this many sides; a sliver of twice that is no copper."""
QUARTER = 24
"""Sides of a quarter of a circle."""


@dataclass(frozen=True)
class Break:
    """Where a program stopped: in a move, after a share of it."""

    move: int
    share: float


def length(move: TraceMove) -> float:
    """Along the move; of an arc in the plane."""
    if move.centre is None:
        return math.dist(move.start, move.end)
    return abs(sweep(move)) * math.dist(move.start[:2], move.centre)


def sweep(move: TraceMove) -> float:
    """Radians of an arc, positive counter-clockwise."""
    assert move.centre is not None
    (u, v), (a, b), (x, y) = move.centre, move.start[:2], move.end[:2]
    turn = math.atan2(y - v, x - u) - math.atan2(b - v, a - u)
    if move.kind == "arc_ccw":
        return turn % math.tau or math.tau
    return -((-turn) % math.tau or math.tau)


def on(move: TraceMove, share: float) -> tuple[float, float, float]:
    """A place on a move."""
    (x0, y0, z0), (x1, y1, z1) = move.start, move.end
    z = z0 + (z1 - z0) * share
    if move.centre is None:
        return (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, z)
    u, v = move.centre
    angle = math.atan2(y0 - v, x0 - u) + sweep(move) * share
    radius = math.dist(move.start[:2], move.centre)
    return (u + radius * math.cos(angle), v + radius * math.sin(angle), z)


def broken(trace: Trace, chance: random.Random) -> Break:
    """A break somewhere along what a program feeds in the work, all of it equally likely."""
    feeds = [i for i, move in enumerate(trace.moves) if move.kind != "rapid" and move.end[2] < 0]
    (move,) = chance.choices(feeds, [length(trace.moves[i]) for i in feeds])
    return Break(move, chance.random())


def before(trace: Trace, at: Break) -> list[TraceMove]:
    """The moves up to a break."""
    last = trace.moves[at.move]
    return [*trace.moves[: at.move], last._replace(end=on(last, at.share))]


def swept(
    moves: Iterable[TraceMove], cutter: Cutter, level: float
) -> dict[bytes, shapely.Geometry]:
    """What each move takes away at a level below the surface, by its own bytes."""
    found: dict[bytes, shapely.Geometry] = {}
    for move in moves:
        if min(move.start[2], move.end[2]) < -level:
            one = _swept(move._replace(line=0), cutter, level)
            if one is not None:
                found[one[0]] = one[1]
    return found


@cache
def _swept(move: TraceMove, cutter: Cutter, level: float) -> tuple[bytes, shapely.Geometry] | None:
    """What one move takes away, and its bytes."""
    count = 1
    if move.centre is not None:
        count = max(2, math.ceil(abs(sweep(move)) / math.tau * 4 * QUARTER))
    places = [on(move, k / count) for k in range(count + 1)]
    if move.centre is None:
        # a cutter that goes below the level on the way
        (x0, y0, z0), (x1, y1, z1) = places
        if (z0 + level) * (z1 + level) < 0:
            share = (z0 + level) / (z0 - z1)
            places.append((x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, -level))
    low = [p for p in places if -p[2] >= level - 1e-12]
    width = [cutter.width(max(-z, level), level) / 2 for *_, z in low]
    spots = [
        shapely.Point(x, y).buffer(half, quad_segs=QUARTER)
        for (x, y, _), half in zip(low, width, strict=True)
        if half > 0
    ]
    if not spots:
        return None
    shape: shapely.Geometry
    if move.centre is None:
        shape = shapely.union_all(spots).convex_hull if len(spots) > 1 else spots[0]
    else:
        # no cutter but an end mill goes down along an arc
        line = shapely.LineString([p[:2] for p in low] * (2 if len(low) == 1 else 1))
        shape = line.buffer(max(width), quad_segs=QUARTER)
    return shape.wkb, shape


@dataclass
class Removed:
    """All that some moves take away at a level."""

    shapes: dict[bytes, shapely.Geometry]

    @cached_property
    def _tree(self) -> tuple[shapely.STRtree, np.ndarray]:
        parts = np.array(list(self.shapes.values()), dtype=object)
        return shapely.STRtree(parts), parts

    def lacks(self, other: Removed) -> float:
        """Area that the other takes away and this does not."""
        more = [shape for key, shape in other.shapes.items() if key not in self.shapes]
        if not more:
            return 0.0
        whole = shapely.union_all(more)
        tree, parts = self._tree
        near = parts[tree.query(whole)]
        left = shapely.difference(whole, shapely.union_all(near)) if len(near) else whole
        # slivers of two flattenings of one curve are no copper
        return float(shapely.buffer(left, -FINE).area)


def text_of(program: Program, machine: Machine) -> str:
    """A program as its file would say it."""
    text = io.StringIO()
    rs274.run(program, TextSink(text.write, "0123", "job", machine))
    return text.getvalue()


def again(program: Program, machine: Machine) -> Trace:
    """A program written and read back."""
    return reader.read(text_of(program, machine), file=program.file)


def levels(cutter: Cutter, depth: float) -> Sequence[float]:
    """Where areas are compared: surface, foot of the copper, and on the way to the depth."""
    return [level for level in (0.0, 0.035, depth / 3, depth * 0.7, depth * 0.98) if level < depth]


__all__ = ["Break", "Removed", "again", "before", "broken", "levels", "on", "swept", "trail_of"]
