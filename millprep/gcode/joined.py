"""Programs of one pass in one file, for machines that change cutters on the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from millprep.model.cutter import Cutter
from millprep.model.dialect import ToolChange
from millprep.model.program import Program


def joined(programs: Sequence[Program], tool_change: ToolChange) -> tuple[Program, ...]:
    """The programs of one pass that follow each other without a person's reading between them.

    Together they get one file, named by its first and its last work; one alone keeps its own.
    """
    if tool_change == "files" or len(programs) < 2:
        return tuple(programs)
    first, last = programs[0], programs[-1]
    folder, _, name = first.file.rpartition("/")
    number = name.partition("-")[0]
    file = f"{folder}/{number}-{first.work}-to-{last.works[-1]}.ngc"
    return tuple(replace(program, file=file) for program in programs)


def numbers(cutters: Sequence[Cutter]) -> dict[str, int]:
    """T of every cutter by its name: its place among the job's, from 1."""
    return {cutter.name: number for number, cutter in enumerate(cutters, 1)}


def files(programs: Sequence[Program]) -> Iterator[list[Program]]:
    """The programs by file, in their order."""
    for _, group in groupby(programs, key=lambda program: program.file):
        yield list(group)
