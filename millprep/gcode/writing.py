"""Programs, the table of their motions and their figures, written."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

from millprep.gcode.levelling import levelled_program
from millprep.gcode.post_processor import post_processed
from millprep.gcode.rs274 import TextSink, number, run
from millprep.gcode.run_time import figures_of
from millprep.model.cutter import Cutter
from millprep.model.dialect import LAST_NUMBER
from millprep.model.finding import Finding, Refusal
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
            before, as_written = text_sink.line, post_processed(program, cut_set.machine)
            run(as_written, text_sink, TableSink(table.write, text_sink))
            part = None if len(group) == 1 else (before + 1, text_sink.line)
            cost = figures_of(as_written, cut_set.machine, factor)
            figures.append(replace(cost, lines=part))
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


DECIMALS = 4
"""Of the table's numbers, whatever the dialect has."""
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
            number(move.x, DECIMALS),
            number(move.y, DECIMALS),
            number(move.z, DECIMALS),
            "" if move.i is None else number(move.i, DECIMALS),
            "" if move.j is None else number(move.j, DECIMALS),
            "" if move.feed is None else number(move.feed, DECIMALS),
        )
        self._write(f"{self._prefix},{line},{','.join(values)}\n")


def tool_numbers(cutters: Sequence[Cutter]) -> dict[str, int]:
    """T of every cutter by its name: its place among the job's, from 1."""
    return {cutter.name: number for number, cutter in enumerate(cutters, 1)}


def by_file(programs: Sequence[Program]) -> Iterator[list[Program]]:
    """The programs by file, in their order."""
    for _, group in groupby(programs, key=lambda program: program.file):
        yield list(group)
