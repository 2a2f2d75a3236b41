"""A program and everything around it on the machine, as the motion rules look at it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields

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
from millprep.verify.sweep import bends_of
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

    def __post_init__(self) -> None:
        for column in fields(self):
            # all rules look at the same columns
            getattr(self, column.name).setflags(write=False)

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
    return trace.once(_table)


def _table(trace: Trace) -> Table:
    moves, columns = trace.moves, trace.columns
    start, end = columns.start.copy(), columns.end.copy()
    stops = columns.probe | np.array([move.by is not None for move in moves], dtype=bool)
    for i in np.flatnonzero(stops).tolist():
        by = moves[i].by
        if by is not None:
            end[i] = np.where(np.isnan(end[i]), start[i] + by, end[i])
        if i + 1 < len(moves):
            # it stops on the way to its target: from there a move sweeps all it may sweep
            start[i + 1] = np.where(np.isnan(start[i + 1]), end[i], start[i + 1])
    low, high = np.fmin(start, end), np.fmax(start, end)
    length = np.sqrt(((end - start) ** 2).sum(axis=1))
    arc = np.flatnonzero(columns.arc)
    if len(arc):
        bends = bends_of(
            np.hstack((columns.start[arc], columns.end[arc])),
            columns.centre[arc],
            columns.clockwise[arc],
        )
        chords, owner = bends.chords(EXTENT_TOLERANCE)
        first = np.searchsorted(owner, np.arange(len(arc)))
        low[arc, :2] = np.fmin(low[arc, :2], np.minimum.reduceat(chords[:, :2], first))
        high[arc, :2] = np.fmax(high[arc, :2], np.maximum.reduceat(chords[:, :2], first))
        length[arc] = np.hypot(bends.around, end[arc, 2] - start[arc, 2])
    return Table(
        start=start,
        end=end,
        feed=columns.feed,
        length=length,
        low=low,
        high=high,
        rapid=columns.rapid,
        arc=columns.arc,
        probe=columns.probe,
        line=columns.line,
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
            # the spoilboard's programs run before all passes
            mill_pass=self.mill_pass.number or None,
            file=self.file,
            line=int(self.moves.line[move]),
        )

    def each(
        self, bad: Mask, code: str, message: str, *, severity: Severity = "stop"
    ) -> Iterator[Finding]:
        """One finding for each move of a mask."""
        for move in np.flatnonzero(bad).tolist():
            yield self.finding(code, message, move, severity=severity)
