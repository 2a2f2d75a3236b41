"""One protocol for all that is made of a program: it runs itself onto any sink."""

from __future__ import annotations

from typing import Protocol

from millprep.model.program import Move, Program


class Sink(Protocol):
    """What takes a program, move by move.

    `begin` once, then `move` for every motion in order, then `end` once.
    """

    def begin(self, program: Program) -> None:
        """A program starts."""

    def move(self, move: Move) -> None:
        """The next motion."""

    def end(self) -> None:
        """The program is over."""


def run(program: Program, *sinks: Sink) -> None:
    """Run a program onto any number of sinks at once."""
    for sink in sinks:
        sink.begin(program)
    for move in program.moves:
        for sink in sinks:
            sink.move(move)
    for sink in sinks:
        sink.end()


def number(value: float, decimals: int = 4) -> str:
    """So many decimals, always with a point, never a negative zero."""
    text = f"{value:.{decimals}f}"
    return text if text[0] != "-" or float(text) != 0 else text[1:]
