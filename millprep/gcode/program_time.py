"""What a program costs: time and lengths."""

from __future__ import annotations

import math

from millprep.model.machine import Machine
from millprep.model.program import Move, Program
from millprep.model.set_of_programs import Figures


class TallySink:
    """Adds up seconds, cutting length and travel; acceleration is not in it."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._at = (0.0, 0.0, 0.0)
        self._seconds = 0.0
        self._cut = 0.0
        self._travel = 0.0

    def begin(self, program: Program) -> None:
        """The spindle starts."""
        self._at = program.start
        self._seconds += self._machine.dwell if program.spins else 0.0

    def move(self, move: Move) -> None:
        """One motion."""
        x, y, z = self._at
        flat = math.hypot(move.x - x, move.y - y)
        if move.i is not None and move.j is not None:
            flat = _arc_length(self._at, move)
        length = math.hypot(flat, move.z - z)
        self._seconds += move.wait
        self._at = (move.x, move.y, move.z)
        if move.feed is None:
            self._travel += length
            self._seconds += length / self._machine.rapid * 60
        else:
            self._cut += length
            self._seconds += length / move.feed * 60

    def end(self) -> None:
        """Nothing more."""

    @property
    def figures(self) -> Figures:
        """The sums so far."""
        return Figures(self._seconds, self._cut, self._travel)


def _arc_length(at: tuple[float, float, float], move: Move) -> float:
    """Length of an arc in the plane."""
    assert move.i is not None
    assert move.j is not None
    radius = math.hypot(move.i, move.j)
    cx, cy = at[0] + move.i, at[1] + move.j
    turn = math.atan2(move.y - cy, move.x - cx) - math.atan2(at[1] - cy, at[0] - cx)
    sign = 1 if move.motion == "arc_ccw" else -1
    sweep = (sign * turn) % (2 * math.pi)
    return radius * (sweep or 2 * math.pi)
