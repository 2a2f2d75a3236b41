"""A program as a machine's dialect can tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from millprep.gcode.cycles import cycles
from millprep.gcode.lines import lines
from millprep.gcode.rounding import place, rounded
from millprep.model.cutter import Drill
from millprep.model.machine import Machine
from millprep.model.program import Move, Program

TABLE_DECIMALS = 4
"""The table of motions holds so many decimals; with as many or more nothing is rounded before."""


def adapted(program: Program, machine: Machine) -> Program:
    """The same motion without what the machine does not understand, with what it asks for."""
    dialect = machine.dialect
    moves: Sequence[Move] = program.moves
    if not dialect.arcs:
        moves = [line for at, move in _each(moves, program.start) for line in _lines(at, move)]
    start = program.start
    if dialect.decimals < TABLE_DECIMALS:
        moves = list(rounded(moves, start, dialect.decimals))
        start = place(start, dialect.decimals)
    if dialect.cycles and isinstance(program.cutter, Drill) and program.spins:
        moves = cycles(moves, start, program.cutter, machine.clearance, dialect.decimals)
    if moves is program.moves:
        return program
    return replace(program, start=start, moves=tuple(moves))


def _each(
    moves: Sequence[Move], start: tuple[float, float, float]
) -> list[tuple[tuple[float, float, float], Move]]:
    """Every move with where it starts."""
    starts = [start, *(move[1:4] for move in moves)]
    return list(zip(starts, moves, strict=False))


def _lines(at: tuple[float, float, float], move: Move) -> Sequence[Move]:
    return [move] if move.i is None else list(lines(move, at))
