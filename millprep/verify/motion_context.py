"""A program and everything around it on the machine, as the motion rules look at it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.blank import Blank, Clamp
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, Severity
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.verify.over_copper import OverFlatCopper
from millprep.verify.sweep import arc_samples
from millprep.verify.trace import Trace

Mask = NDArray[np.bool_]
EXTENT_TOLERANCE = 0.001
SLACK = 1e-6
"""Lengths closer than this, mm, are the same."""


@dataclass(frozen=True, slots=True)
class Table:
    """Columns over the n moves of a trace, mm.

    Attributes:
        start, end: (n, 3), nan where unknown; a touch is taken to end at its target.
        feed: (n,), nan for rapids.
        length: (n,) along the path, an arc's own length.
        low, high: (n, 3) corners of the box around each move, arcs bulging included.
        rapid, arc, probe: masks.
        line: (n,) line numbers.
    """

    start: FloatArray
    end: FloatArray
    feed: FloatArray
    length: FloatArray
    low: FloatArray
    high: FloatArray
    rapid: Mask
    arc: Mask
    probe: Mask
    line: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.line)

    @property
    def bottom(self) -> FloatArray:
        """Lowest known z of each move."""
        lowest: FloatArray = np.fmin(self.start[:, 2], self.end[:, 2])
        return lowest

    @property
    def across(self) -> FloatArray:
        """Distance between the ends in the plane; nan where one is unknown."""
        gone: FloatArray = np.hypot(*(self.end[:, :2] - self.start[:, :2]).T)
        return gone


def table(trace: Trace) -> Table:
    """The columns of a trace."""
    moves = trace.moves
    start = np.array([move.start for move in moves], dtype=float).reshape(-1, 3)
    end = np.array([move.end for move in moves], dtype=float).reshape(-1, 3)
    for i, move in enumerate(moves):
        if i > 0 and (moves[i - 1].kind == "probe" or moves[i - 1].by is not None):
            # it stops on the way to its target: from there a move sweeps all it may sweep
            start[i] = np.where(np.isnan(start[i]), end[i - 1], start[i])
        if move.by is not None:
            end[i] = np.where(np.isnan(end[i]), start[i] + move.by, end[i])
    low, high = np.fmin(start, end), np.fmax(start, end)
    length = np.sqrt(((end - start) ** 2).sum(axis=1))
    arc = np.array([move.centre is not None for move in moves], dtype=bool)
    for i in np.flatnonzero(arc).tolist():
        move = moves[i]
        assert move.centre is not None
        angles, radii, _ = arc_samples(
            move.start, move.end, move.centre, move.kind == "arc_cw", EXTENT_TOLERANCE
        )
        x = move.centre[0] + radii * np.cos(angles)
        y = move.centre[1] + radii * np.sin(angles)
        low[i, :2] = np.fmin(low[i, :2], (x.min(), y.min()))
        high[i, :2] = np.fmax(high[i, :2], (x.max(), y.max()))
        around = float(abs(angles[-1] - angles[0]) * radii.mean())
        length[i] = np.hypot(around, end[i, 2] - start[i, 2])
    return Table(
        start=start,
        end=end,
        feed=np.array([move.feed for move in moves], dtype=float),
        length=length,
        low=low,
        high=high,
        rapid=np.array([move.kind == "rapid" for move in moves], dtype=bool),
        arc=arc,
        probe=np.array([move.kind == "probe" for move in moves], dtype=bool),
        line=np.array([move.line for move in moves], dtype=np.int64),
    )


@dataclass(frozen=True, slots=True)
class Setting:
    """A program and all that is around it.

    Attributes:
        touching: copper that a surface probe may touch, machine frame; None for other programs.
        highest: of the copper above Z0, mm.
        approach: the height that no rapid ends below, mm.
        hop: the height that no rapid goes across below, mm.
        over: the program as over flat copper, if it follows a surface map.
    """

    trace: Trace
    moves: Table
    cutter: Cutter
    machine: Machine
    clamps: tuple[Clamp, ...]
    mill_pass: MillingPass
    blank: Blank
    spoilboard: float
    pins: bool
    at: tuple[float, float] | None
    file: str
    touching: shapely.Geometry | None = None
    highest: float = 0.0
    approach: float = 0.0
    hop: float = math.inf
    over: OverFlatCopper | None = None

    def finding(
        self, code: str, message: str, move: int, *, severity: Severity = "stop"
    ) -> Finding:
        """A finding at the end of a move."""
        x, y = self.moves.end[move, :2].tolist()
        known = np.isfinite(x) and np.isfinite(y)
        return Finding(
            code=code,
            severity=severity,
            message=message,
            frame="machine" if known else None,
            at=(x, y) if known else None,
            blank=self.blank.number,
            mill_pass=self.mill_pass.number,
            file=self.file,
            line=int(self.moves.line[move]),
        )

    def each(
        self, bad: Mask, code: str, message: str, *, severity: Severity = "stop"
    ) -> Iterator[Finding]:
        """One finding for each move of a mask."""
        for move in np.flatnonzero(bad).tolist():
            yield self.finding(code, message, move, severity=severity)
