"""What a program's grooves would have come to, had it not followed the copper."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from millprep.gcode.level import Arc
from millprep.geometry.path import Point
from millprep.model.cutter import Cutter
from millprep.model.program import Move, Program
from millprep.model.surface_map import SurfaceMap, Uncorrected

STEP = 1.0
"""Widths are looked at every so often along a groove, mm."""
APART = 5.0
"""Stretches nearer to each other than this are told as one, mm."""


def uncorrected(
    program: Program, surface: SurfaceMap, *, depth: float, copper: float
) -> Uncorrected | None:
    """The grooves of a program's cuts down to `depth` in copper this thick; None without any.

    Args:
        program: as over flat copper.
        surface: the map of its pass.
        depth: of the deepest cut that is to set copper apart, mm; deeper ones are holes and edges.
        copper: thickness of the foil.
    """
    steps = np.array([step for step in _steps(program) if -step[4] <= depth + 1e-6])
    if not len(steps):
        return None
    middle = (steps[:, :2] + steps[:, 2:4]) / 2
    real = surface.heights(middle) - steps[:, 4]
    top = np.array([_width(program.cutter, d, 0.0) for d in real.tolist()])
    foot = np.array([_width(program.cutter, d, copper) for d in real.tolist()])
    bare = foot == 0
    length = np.hypot(*(steps[:, 2:4] - steps[:, :2]).T)
    return Uncorrected(
        blank=program.blank,
        mill_pass=program.mill_pass,
        cutter=program.cutter.name,
        course=steps[:, :4],
        surface=top,
        foot=foot,
        lost=tuple(_places(middle[bare].tolist())),
        lost_length=float(length[bare].sum()),
    )


def _width(cutter: Cutter, depth: float, level: float) -> float:
    """Width of a groove, 0 where the tip does not get below the level."""
    return cutter.width(depth, level) if depth > level else 0.0


def _steps(program: Program) -> Iterator[tuple[float, float, float, float, float]]:
    """Short steps of the cuts below the copper's surface: x0, y0, x1, y1, and the tip's z."""
    x, y, z = program.start
    for move in program.moves:
        if move.motion != "rapid" and move.z < 0 and z < 0 and (x, y) != (move.x, move.y):
            points = _points((x, y), move)
            yield from (
                (*a, *b, (z + move.z) / 2) for a, b in itertools.pairwise(points)
            )
        x, y, z = move.x, move.y, move.z


def _points(start: Point, move: Move) -> Sequence[Point]:
    """Places along a move no farther apart than `STEP`."""
    if move.i is None or move.j is None:
        n = math.ceil(math.dist(start, (move.x, move.y)) / STEP)
        dx, dy = move.x - start[0], move.y - start[1]
        return [(start[0] + dx * k / n, start[1] + dy * k / n) for k in range(n + 1)]
    arc = Arc.of(start, move)
    n = max(math.ceil(arc.radius * abs(arc.sweep) / STEP), 2)
    return [arc.at(k / n) for k in range(n + 1)]


def _places(spots: Sequence[Point]) -> Iterator[Point]:
    """The first place of every stretch."""
    last: Point | None = None
    for spot in spots:
        if last is None or math.dist(last, spot) > APART:
            yield (float(spot[0]), float(spot[1]))
        last = spot
