"""Programs, the table of their motions and their figures, written."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

from millprep.gcode.head import first_moves, last_move
from millprep.gcode.levelling import levelled_program
from millprep.gcode.post_processor import post_processed
from millprep.gcode.rs274 import TextSink, number, run
from millprep.gcode.run_time import least_seconds, run_seconds
from millprep.model.cutter import Cutter
from millprep.model.dialect import LAST_NUMBER
from millprep.model.finding import Finding, Refusal
from millprep.model.machine import Machine
from millprep.model.program import Figures, Move, Program
from millprep.model.set_of_programs import CutSet


def write_programs(cut_set: CutSet, folder: Path) -> CutSet:
    """Every program as RS-274, all motion as one CSV table; the set with what each one costs.

    Raises:
        Refusal: when a program has more lines than line numbers reach.
    """
    table = io.StringIO()
    table.write(HEADER)
    figures: list[Figures] = []
    too_long: list[Finding] = []
    factor = 1.0 if cut_set.time_fit is None else cut_set.time_fit.factor
    for group in by_file(list(_levelled(cut_set))):
        text = io.StringIO()
        text_sink = TextSink(
            text.write,
            cut_set.id,
            cut_set.job,
            cut_set.machine,
            len(group),
            tool_numbers(cut_set.cutters),
        )
        for program in group:
            counted, before = FiguresSink(cut_set.machine, factor), text_sink.line
            as_written = post_processed(program, cut_set.machine)
            run(as_written, text_sink, TableSink(table.write, text_sink), counted)
            part = None if len(group) == 1 else (before + 1, text_sink.line)
            least = least_seconds(as_written, cut_set.machine)
            figures.append(replace(counted.figures, lines=part, least_seconds=least))
        name = group[0].file
        if cut_set.machine.dialect.line_numbers and text_sink.line > LAST_NUMBER:
            too_long.append(_too_long(name, text_sink.line))
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text.getvalue().encode("ascii"))
    (folder / "toolpaths.csv").write_bytes(table.getvalue().encode("ascii"))
    if too_long:
        raise Refusal(too_long)
    return cut_set.with_programs(
        replace(program, figures=cost)
        for program, cost in zip(cut_set.programs, figures, strict=True)
    )


def _levelled(cut_set: CutSet) -> Iterator[Program]:
    """All programs in order, those of a pass with a surface map over it."""
    for blank in cut_set.blanks:
        yield from blank.spoilboard
        for mill_pass in blank.passes:
            for program in mill_pass.programs:
                yield levelled_program(mill_pass, program, cut_set.machine)


def _too_long(file: str, lines: int) -> Finding:
    return Finding(
        code="program-too-long",
        severity="stop",
        message=f"{file} has {lines} lines, and a line number has at most five digits. Set "
        "line_numbers = false in [machine.dialect], or cut fewer boards in one set.",
        file=file,
    )


HEADER = "blank,pass,program,line,motion,x,y,z,i,j,feed\n"


class TableSink:
    """Writes the rows of one program; the first is its start.

    Args:
        write: takes one row at a time, line feed included.
        text: the text of the same program, run just before this sink; rows carry its lines.
    """

    def __init__(self, write: Callable[[str], object], text: TextSink) -> None:
        self._write = write
        self._text = text
        self._prefix = ""

    def begin(self, program: Program) -> None:
        """The first moves; before those of the first program of a file its start."""
        file = program.file.rsplit("/", 1)[-1]
        self._prefix = f"{program.blank},{program.mill_pass},{file}"
        opening = self._text.opening
        if self._text.part == 1:
            self._row(Move("rapid", *program.start), opening[0][0])
        for line, move in opening:
            self._row(move, line)

    def move(self, move: Move) -> None:
        """A row for every move that has a line."""
        if self._text.written:
            self._row(move, self._text.line)

    def end(self) -> None:
        """The move up."""
        if self._text.closing is not None:
            line, move = self._text.closing
            self._row(move, line)

    def _row(self, move: Move, line: int) -> None:
        values = (
            # a touch is a feed to where it would end had it met nothing
            "feed" if move.motion == "probe" else move.motion,
            number(move.x),
            number(move.y),
            number(move.z),
            "" if move.i is None else number(move.i),
            "" if move.j is None else number(move.j),
            "" if move.feed is None else number(move.feed),
        )
        self._write(f"{self._prefix},{line},{','.join(values)}\n")


class FiguresSink:
    """Adds up seconds, cutting length and travel.

    Args:
        machine: its speeds and acceleration.
        factor: what programs of this machine take over their estimates.
    """

    def __init__(self, machine: Machine, factor: float = 1.0) -> None:
        self._machine = machine
        self._factor = factor
        self._start = self._at = (0.0, 0.0, 0.0)
        self._moves: list[Move] = []
        self._seconds = 0.0
        self._dwell = 0.0
        self._cut = 0.0
        self._travel = 0.0

    def begin(self, program: Program) -> None:
        """Up, down for a look, and the spindle starts; how long a person looks nobody knows."""
        self._start = self._at = program.start
        for move in first_moves(program, self._machine):
            self.move(move)
        # through air, and no cut
        self._travel, self._cut = self._travel + self._cut, 0.0
        self._dwell = self._machine.dwell if program.spins else 0.0

    def move(self, move: Move) -> None:
        """One motion."""
        self._moves.append(move)
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
        if move.again is not None:
            back, feed = move.again
            self._seconds += (back / self._machine.rapid + back / feed) * 60

    def end(self) -> None:
        """Up."""
        self.move(last_move(self._at, self._machine))

    @property
    def figures(self) -> Figures:
        """The sums so far."""
        running = self._dwell + run_seconds(self._start, self._moves, self._machine)
        return Figures(running * self._factor, self._seconds + self._dwell, self._cut, self._travel)


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


def tool_numbers(cutters: Sequence[Cutter]) -> dict[str, int]:
    """T of every cutter by its name: its place among the job's, from 1."""
    return {cutter.name: number for number, cutter in enumerate(cutters, 1)}


def by_file(programs: Sequence[Program]) -> Iterator[list[Program]]:
    """The programs by file, in their order."""
    for _, group in groupby(programs, key=lambda program: program.file):
        yield list(group)
