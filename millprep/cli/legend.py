"""`millprep legend`: programs that engrave the component side."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import blank_option, job_option, json_option, out_option, set_argument


@click.command()
@set_argument
@blank_option
@out_option("New folder for programs, steps and picture. Without it, SET-legend.")
@job_option
@json_option("Print the results as JSON.")
def legend(
    folder: Path, blank: int, out: Path | None, job_file: Path | None, as_json: bool
) -> None:
    """Write programs that engrave a legend into the component side.

    SET is the set that you are about to cut; it stays as it is. The lines and texts are those of
    layers.legend in the job. The legend is engraved before pass 1: two pin holes are made, the
    blank is turned over on its pins, engraved and turned back. Nothing is engraved over holes or
    edges. The steps are printed, and written next to the programs.
    """
    from millprep.at_machine.legend import CAUTION
    from millprep.at_machine.legend import legend as make

    if out is None:
        out = folder.resolve().with_name(f"{folder.resolve().name}-legend")
    with terminal.refusals(as_json=as_json, out=out):
        done = make(folder, out, int(blank), job_file, terminal.steps())
    terminal.say_findings(done.findings)
    if as_json:
        row = {
            "programs": [str(file) for file in done.files],
            "steps": list(done.steps),
            "drawn_mm": round(done.lines.length, 1),
            "not_engraved_mm": round(done.lines.away, 1),
            "seconds": round(done.seconds, 1),
        }
        click.echo(json.dumps(row))
        return
    click.echo(CAUTION)
    for number, step in enumerate(done.steps, 1):
        click.echo(f"{number}. {step}")
    click.echo(f"about {done.seconds / 60:.0f} min running; see {out / 'legend.png'}")
