"""The moves of a trace as columns, for rules that look at all of them at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from millprep.verify.sweep import arc_samples
from millprep.verify.trace import Trace

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]
EXTENT_TOLERANCE = 0.001


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
    for i, move in enumerate(moves[:-1]):
        if move.kind == "probe":
            # it stops on the way to its target: from there a move sweeps all it may sweep
            start[i + 1] = np.where(np.isnan(start[i + 1]), end[i], start[i + 1])
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
