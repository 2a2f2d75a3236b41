"""`millprep ran`: a program that ran, by which cutter, and what it took."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import blank_option, json_option, set_argument

if TYPE_CHECKING:
    from millprep.at_machine.bench_log import CutterMetres
    from millprep.at_machine.ran import RunsMarked


@click.command()
@set_argument
@click.option("--pass", "number", metavar="K", type=int, help="The pass that ran.")
@click.option("--spoilboard", is_flag=True, help="The programs for the spoilboard ran.")
@click.option(
    "--program",
    metavar="N",
    type=int,
    help="Only program N of the pass ran, or of the spoilboard, counted from 1 as on the plan.",
)
@blank_option
@click.option(
    "--cutter",
    metavar="NAME",
    help="The cutter that was used, if you have several of a kind, such as vee-2.",
)
@click.option(
    "--minutes",
    metavar="M",
    type=click.FloatRange(min=0, min_open=True),
    help="Minutes that it ran, without your changes of cutters; later estimates follow them.",
)
@click.option("--again", is_flag=True, help="It is marked already and ran once more.")
@click.option(
    "--from",
    "ticked",
    metavar="FILE",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Mark what the sheet saved as ticked, instead of one pass.",
)
@click.option(
    "--job",
    "job_file",
    metavar="JOB.toml",
    type=click.Path(path_type=Path),
    help="The job that names bench and log, if it is neither in this folder nor next to the set.",
)
@json_option("Print what was marked, and the fit, as JSON.")
def ran(
    folder: Path,
    number: int | None,
    spoilboard: bool,
    program: int | None,
    blank: int,
    cutter: str | None,
    minutes: float | None,
    again: bool,
    ticked: Path | None,
    job_file: Path | None,
    as_json: bool,
) -> None:
    """Mark a pass, or one of its programs, as run.

    The mark is a row in done.toml in SET; nothing else in the set changes. millprep state shows
    what is next. If the job has a bench, the metres go into the log next to it.

    Minutes go into the log that the job names, [machine.time] log = "FILE". Without one they go
    into ran.toml in SET, which a job can name later.
    """
    from millprep.at_machine.ran import mark_from, mark_run

    if [number is not None, spoilboard, ticked is not None].count(True) != 1:
        words = "give --pass or --spoilboard for what ran, or --from with a file of the sheet"
        raise click.UsageError(words)
    if ticked is not None and (program, cutter, minutes, again) != (None, None, None, False):
        raise click.UsageError("--from says all of what ran; leave the other options out")
    with terminal.refusals(as_json=as_json):
        if ticked is not None:
            marked = mark_from(folder, ticked, job_file)
        else:
            marked = mark_run(
                folder, None if number is None else (blank, number), program,
                cutter=cutter, minutes=minutes, again=again, job_file=job_file,
            )  # fmt: skip
    if as_json:
        click.echo(json.dumps(_row(marked)))
        return
    _say(marked)


def _say(marked: RunsMarked) -> None:
    from millprep.report.words import fit_words

    for run in marked.runs:
        click.echo(f"{run.file} has run, by {run.by}")
    for row in marked.already:
        click.echo(f"{row.file} was marked already; --again if it ran once more")
    if marked.time is not None:
        took, fit, file = marked.time.run, marked.time.fit, marked.time.file
        click.echo(
            f"{took.program} took {took.minutes:g} min; the estimate was {took.estimate:.1f}"
        )
        click.echo(f"{took.machine} takes {fit.factor:.2f} times its estimates {fit_words(fit)}")
        if marked.time.named:
            click.echo(f"{file} is the log of the job: its next sets follow it")
        else:
            click.echo(f"for later estimates name {file} in the job as [machine.time] log")
    if marked.bench is not None:
        for use in marked.bench.cutters:
            click.echo(use_words(use))
    if marked.job_missing:
        words_ = "the log of the bench was left out: the job is neither here nor next to the set"
        click.echo(f"note: {words_}; give its place with --job", err=True)


def use_words(use: CutterMetres) -> str:
    """What a cutter has cut of its life, and that it is to be replaced."""
    from millprep.model.finding import many

    life = "" if use.life is None else f" of {use.life:g} m"
    runs = f"{many(use.runs, 'run')} since {use.since.astimezone():%Y-%m-%d}"
    worn = f". Replace it, then: millprep bench log --replaced {use.cutter}" if use.worn else ""
    return f"{use.cutter} has cut {use.metres:.2f} m{life} in {runs}{worn}"


def _row(marked: RunsMarked) -> dict[str, object]:
    from millprep.cli.state import run_row

    row: dict[str, object] = {
        "done": [run_row(run) for run in marked.runs],
        "already": [program.file for program in marked.already],
        "bench": None
        if marked.bench is None
        else {
            "log": str(marked.bench.file),
            "cutters": [use_row(use) for use in marked.bench.cutters],
        },
    }
    if marked.time is not None:
        run, fit = marked.time.run, marked.time.fit
        row |= {
            "log": str(marked.time.file),
            "program": run.program,
            "estimate": round(run.estimate, 2),
            "minutes": run.minutes,
            "factor": round(fit.factor, 4),
            "runs": fit.runs,
            "spread": round(fit.spread, 4),
        }
    return row


def use_row(use: CutterMetres) -> dict[str, object]:
    """A cutter's use as plain data."""
    return {
        "cutter": use.cutter, "metres": round(use.metres, 4), "runs": use.runs, "life": use.life,
        "worn": use.worn,
    }  # fmt: skip
