"""Restart points: numbered where the cutter goes down after it came across, however it is told."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from millprep.at_machine.restart_points import strokes
from millprep.model.dialect import Dialect
from millprep.verify import reader
from millprep.verify.read_back import trail_of
from tests.helpers.restart_points import DIALECTS, made, text_of
from tests.helpers.workshop import MACHINE


@pytest.mark.parametrize("dialect", DIALECTS)
def test_who_reads_a_program_counts_what_it_says(dialect: Dialect) -> None:
    machine = replace(MACHINE, dialect=dialect)
    counts = {}
    for program in made(machine):
        text = text_of(program, machine)
        trace = reader.read(text, file=program.file, dialect=dialect)
        cuts = strokes(trail_of(trace, program))
        said = {
            int(number): line + 2
            for line, words in enumerate(text.splitlines())
            for number in re.findall(r"restart point (\d+)", words)
        }
        # the point stands before the way down: of a cycle before its line, else before a rapid if
        # there is one
        first = {}
        for cut in cuts:
            before, move = trace.moves[cut.first - 1], trace.moves[cut.first]
            down = before.kind == "rapid" and before.end[2] < before.start[2]
            first[cut.number] = move.line - (down and move.line not in trace.cycles)
        assert said == first
        counts[program.work] = len(cuts)
    assert counts == {"isolate": 2, "drill": 2, "profile": 1}


def test_without_comments_they_are_counted_all_the_same() -> None:
    machine = replace(MACHINE, dialect=Dialect(comments="none"))
    (isolate, *_) = made(machine)
    text = text_of(isolate, machine)
    assert "restart" not in text
    trace = reader.read(text, file=isolate.file, dialect=machine.dialect)
    assert [cut.number for cut in strokes(trail_of(trace, isolate))] == [1, 2]


def test_a_dry_run_has_none() -> None:
    dry = next(p for p in made(MACHINE, dry=True) if p.work == "dry-run")
    assert "restart point" not in text_of(dry, MACHINE)
