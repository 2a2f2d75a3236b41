"""`millprep probe`: a program that probes the surface of a blank."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import (
    blank_option,
    job_option,
    json_option,
    out_option,
    pass_option,
    set_argument,
)


@click.command()
@set_argument
@pass_option("The pass that is to be probed.")
@blank_option
@out_option("Folder for program and table. Without it, SET-surface.")
@click.option(
    "--spacing",
    default=30.0,
    show_default=True,
    metavar="MM",
    type=click.FloatRange(2.0, 200.0),
    help="Largest distance between rows and columns of points.",
)
@click.option(
    "--uneven",
    default=1.0,
    show_default=True,
    metavar="MM",
    type=click.FloatRange(0.2, 3.0),
    help="How far the copper may lie above or below zero. The probe looks for it in this range.",
)
@click.option(
    "--cutter",
    metavar="NAME",
    help="The cutter of the job that touches. Without it, the first isolating cutter.",
)
@job_option
@json_option("Print the results as JSON.")
def probe(
    folder: Path,
    number: int,
    blank: int,
    out: Path | None,
    spacing: float,
    uneven: float,
    cutter: str | None,
    job_file: Path | None,
    as_json: bool,
) -> None:
    """Write a program that measures the heights of the copper.

    With it comes a table to fill in. SET is the set that you are cutting; it stays as it is. The
    points form a grid around all cuts of the pass. They keep off clamps and lie on copper that is
    still whole. Run the program before the pass cuts anything, write z into the table, and give
    it to millprep level.
    """
    from millprep.at_machine.probe import probe as make

    if out is None:
        out = folder.resolve().with_name(f"{folder.resolve().name}-surface")
    with terminal.refusals(as_json=as_json, out=out):
        done = make(
            folder, out, blank, number, job_file, terminal.steps(),
            spacing=spacing, uneven=uneven, cutter=cutter,
        )  # fmt: skip
    if as_json:
        row = {
            "program": str(done.program),
            "table": str(done.table),
            "x": done.x.tolist(),
            "y": done.y.tolist(),
            "seconds": round(done.seconds, 1),
            "hull": list(done.hull),
        }
        click.echo(json.dumps(row))
        return
    x0, y0, x1, y1 = done.hull
    click.echo(f"{done.program}: {done.x.size} × {done.y.size} points, the spindle stays off")
    click.echo(f"around X{x0:.1f} to {x1:.1f}, Y{y0:.1f} to {y1:.1f}, all that the pass cuts")
    click.echo(f"about {done.seconds / 60:.0f} min; write z into {done.table}")
