"""Moves as fine points, and programs as text; shared by the tests of this folder."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from millprep.gcode import rs274
from millprep.gcode.moves import Pen
from millprep.gcode.rs274 import TextSink
from millprep.gcode.writing import TableSink
from millprep.geometry.path import FloatArray, Path
from millprep.model.cut import Work
from millprep.model.cutter import Cutter
from millprep.model.machine import Machine
from millprep.model.program import Move, Program
from millprep.verify.reader import read
from millprep.verify.trace import Trace
from tests.helpers.workshop import MACHINE

START = (5.0, 5.0, MACHINE.clearance)


def pen(cutter: Cutter) -> Pen:
    return Pen(MACHINE, cutter, START, approach=MACHINE.approach)


def points(at: Sequence[float], move: Move, step: float = 0.02) -> FloatArray:
    """(n, 3) points on a move, start and end included, at most `step` apart in the plane."""
    start, end = np.array(at, dtype=float), np.array([move.x, move.y, move.z])
    if move.i is None or move.j is None:
        n = max(2, math.ceil(float(np.hypot(*(end - start)[:2])) / step) + 1)
        t = np.linspace(0, 1, n)[:, None]
        return np.asarray(start + (end - start) * t)
    centre = start[:2] + np.array([move.i, move.j])
    a = math.atan2(start[1] - centre[1], start[0] - centre[0])
    b = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sign = 1.0 if move.motion == "arc_ccw" else -1.0
    sweep = (sign * (b - a)) % (2 * math.pi) or 2 * math.pi
    radius = math.hypot(move.i, move.j)
    n = max(3, math.ceil(radius * sweep / step) + 1)
    t = np.linspace(0, 1, n)
    angle = a + sign * sweep * t
    z = start[2] + (end[2] - start[2]) * t
    on_arc = np.column_stack(
        (centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), z)
    )
    on_arc[-1] = end
    return on_arc


def trail(
    start: Sequence[float], moves: Iterable[Move], step: float = 0.02
) -> list[tuple[Move, FloatArray]]:
    """Every move with its points."""
    found = []
    at = tuple(start)
    for move in moves:
        found.append((move, points(at, move, step)))
        at = (move.x, move.y, move.z)
    return found


def allowed_rapid(points: FloatArray) -> bool:
    """Across at clearance or above, straight up, or straight down from there to the approach."""
    first, last = points[0], points[-1]
    if (first[:2] != last[:2]).any():
        return bool(points[:, 2].min() >= MACHINE.clearance)
    return bool(last[2] > first[2] or (first[2], last[2]) == (MACHINE.clearance, MACHINE.approach))


def apart(points: FloatArray, line: shapely.LineString) -> float:
    """Largest distance of (n, 2) points from a line."""
    ends = shapely.get_coordinates(line)
    parts = np.asarray(shapely.linestrings(np.stack((ends[:-1], ends[1:]), axis=1)))
    _, away = shapely.STRtree(parts).query_nearest(
        shapely.points(points), return_distance=True, all_matches=False
    )
    return float(away.max())


def program(
    moves: Sequence[Move],
    cutter: Cutter,
    *,
    file: str = "blank-1/pass-1/01-isolate-vee.ngc",
    works: tuple[Work, ...] = ("isolate",),
    notes: tuple[str, ...] = (),
    start: tuple[float, float, float] = START,
) -> Program:
    return Program(
        file=file, blank=1, mill_pass=1, cutter=cutter, works=works,
        depth=max(0.0, -min((m.z for m in moves), default=0.0)), spindle=18000.0,
        start=start, moves=tuple(moves), notes=notes,
    )  # fmt: skip


def written(one: Program, job: str = "panel", machine: Machine = MACHINE) -> tuple[str, str]:
    """The text and the table of a program."""
    text, table = io.StringIO(), io.StringIO()
    text_sink = TextSink(text.write, "0123456789ab", job, machine)
    rs274.run(one, text_sink, TableSink(table.write, text_sink))
    return text.getvalue(), table.getvalue()


def read_back(one: Program, job: str = "panel") -> Trace:
    return read(written(one, job)[0], file=one.file)


def moves_of(trace: Trace) -> list[Move]:
    """What was read, as moves again."""
    found = []
    for m in trace.moves:
        i = j = None
        if m.centre is not None:
            i, j = m.centre[0] - m.start[0], m.centre[1] - m.start[1]
        found.append(Move(m.kind, *m.end, i, j, m.feed))
    return found


ROUNDED = Path(
    np.array([(1, 0), (59, 0), (60, 1), (60, 39), (59, 40), (1, 40), (0, 39), (0, 1), (1, 0)]),
    np.array([0, 1, 0, 1, 0, 1, 0, 1]) * math.tan(math.pi / 8),
)
