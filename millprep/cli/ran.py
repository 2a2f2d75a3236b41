"""`millprep ran`: what a run really took."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import words
from millprep.cli.options import blank_option, json_option, pass_option, set_argument


@click.command()
@set_argument
@pass_option("The pass that ran.")
@click.option(
    "--minutes",
    required=True,
    metavar="M",
    type=click.FloatRange(min=0, min_open=True),
    help="Minutes that it ran, without your changes of cutters.",
)
@click.option(
    "--program",
    metavar="N",
    type=int,
    help="Only program N of the pass ran, counted from 1 as on the plan.",
)
@blank_option
@click.option(
    "--job",
    "job_file",
    metavar="JOB.toml",
    type=click.Path(path_type=Path),
    help="The job that names the log, if it is neither in this folder nor next to the set.",
)
@json_option("Print the run and the fit as JSON.")
def ran(
    folder: Path,
    number: int,
    minutes: float,
    program: int | None,
    blank: int,
    job_file: Path | None,
    as_json: bool,
) -> None:
    """Keep what a run took; later estimates follow it.

    The run goes into the log that the job names, [machine.time] log = "FILE". Without one it goes
    into ran.toml in SET, which a job can name later. Nothing in the set changes.
    """
    from millprep.at_machine.ran import log_run
    from millprep.report.words import fit_words

    with words.refusals(as_json=as_json):
        logged = log_run(folder, (blank, number), minutes, program, job_file)
    run, fit = logged.run, logged.fit
    if as_json:
        row = {
            "log": str(logged.file),
            "program": run.program,
            "estimate": round(run.estimate, 2),
            "minutes": run.minutes,
            "factor": round(fit.factor, 4),
            "runs": fit.runs,
            "spread": round(fit.spread, 4),
        }
        click.echo(json.dumps(row))
        return
    click.echo(f"{run.program} took {run.minutes:g} min; the estimate was {run.estimate:.1f}")
    click.echo(f"{run.machine} takes {fit.factor:.2f} times its estimates {fit_words(fit)}")
    if logged.named:
        click.echo(f"{logged.file} is the log of the job: its next sets follow it")
    else:
        click.echo(f"for later estimates name {logged.file} in the job as [machine.time] log")
