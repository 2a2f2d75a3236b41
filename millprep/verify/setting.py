"""A program and all that stands around it on the machine: what the rules of motion look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.model.blank import Blank, Clamp
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, Severity
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.verify.over_copper import Laid
from millprep.verify.table import Mask, Table
from millprep.verify.trace import Trace

SLACK = 1e-6
"""Lengths closer than this, mm, are the same."""


@dataclass(frozen=True, slots=True)
class Setting:
    """A program and all that stands around it.

    Attributes:
        touching: copper that a surface probe may touch, machine frame; None for other programs.
        highest: of the copper above Z0, mm.
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
    over: Laid | None = None

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
