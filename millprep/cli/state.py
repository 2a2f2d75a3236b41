"""`millprep state`: what of a set ran, and what is next."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import json_option, set_argument

if TYPE_CHECKING:
    from millprep.at_machine.state import ProgramState, SetState
    from millprep.model.begun import ProgramRun


@click.command()
@set_argument
@json_option("Print the same as JSON.")
def state(folder: Path, as_json: bool) -> None:
    """Show what of a set has run, and what is next.

    Programs are marked with millprep ran. A set made by refit, level or resume keeps the marks of
    the set that it was made from.
    """
    from millprep.at_machine.state import state_of

    with terminal.refusals(as_json=as_json):
        now = state_of(folder)
    if as_json:
        click.echo(json.dumps(_row(now), indent=1))
        return
    for line in _lines(now, folder):
        click.echo(line)


def run_words(run: ProgramRun) -> str:
    """When a program ran, by which cutter, and what it took."""
    took = "" if run.minutes is None else f", {run.minutes:g} min"
    return f"{run.when.astimezone():%Y-%m-%d %H:%M} by {run.by}{took}"


def _lines(now: SetState, folder: Path) -> Iterator[str]:
    """The state in words, with the commands for what is next."""
    from millprep.report.words import minutes_words

    yield f"set {now.report.set} of {now.report.job}"
    for run in now.other_runs:
        yield f"before, with set {run.set}: {run.file}, {run_words(run)}"
    for place, programs in groupby(now.programs, lambda p: p.place):
        yield _heading(now, place)
        for program in programs:
            name = program.row.file.rsplit("/", 1)[-1]
            part = "" if program.row.lines is None else f", the part of {program.row.cutter}"
            ran = "; ".join(run_words(run) for run in program.runs) or "not yet"
            yield f"  {'✓' if program.runs else ' '} {program.number}  {name}{part}: {ran}"
    if now.next is None:
        yield "all passes have run"
        if now.report.resumed:
            yield f"go on with set {now.report.derived_from}, and mark the broken program there"
        return
    yield from _next_lines(now, now.next, folder)
    yield f"about {minutes_words(now.seconds_left / 60)} running left"


def _heading(now: SetState, place: tuple[int, int] | None) -> str:
    if place is None:
        return "spoilboard, once, the blank off"
    begun = now.mark is not None and place in now.mark.passes
    return f"blank {place[0]} pass {place[1]}{', begun' if begun else ''}"


def _next_lines(now: SetState, program: ProgramState, folder: Path) -> Iterator[str]:
    from millprep.at_machine.state import pass_options

    place = program.place
    if place is not None and (now.mark is None or place not in now.mark.passes):
        yield f"first: millprep begin {folder} {pass_options(*place)}"
    yield f"next: {program.row.file} with {program.row.cutter}"
    yield f"when it has run: millprep ran {folder} {program.options}"


def _row(now: SetState) -> dict[str, object]:
    """The state as plain data."""
    return {
        "set": now.report.set,
        "job": now.report.job,
        "begun": terminal.begun_rows(now.mark),
        "programs": [_program_row(program) for program in now.programs],
        "before": [run_row(run) for run in now.other_runs],
        "next": None if now.next is None else _program_row(now.next),
        "seconds_left": round(now.seconds_left, 1),
    }


def _program_row(program: ProgramState) -> dict[str, object]:
    """A program as plain data; those of the spoilboard have no blank and no pass."""
    blank, number = program.place or (None, None)
    return {
        "blank": blank,
        "pass": number,
        "program": program.number,
        "file": program.row.file,
        "cutter": program.row.cutter,
        "runs": [run_row(run) for run in program.runs],
    }


def run_row(run: ProgramRun) -> dict[str, object]:
    """A run as plain data."""
    return {
        "set": run.set, "file": run.file, "cutter": run.cutter, "fitted": run.fitted,
        "when": run.when.isoformat().replace("+00:00", "Z"), "minutes": run.minutes,
    }  # fmt: skip
