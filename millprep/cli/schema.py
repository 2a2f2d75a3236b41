"""`millprep schema`: the keys of job files and of report.json."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import out_option
from millprep.files import writing


@click.command()
@click.option(
    "--table",
    is_flag=True,
    help="Print a table to read: key, unit, default, meaning.",
)
@click.option("--report", is_flag=True, help="Print the JSON Schema of report.json.")
@out_option("The file to write. Without it, the schema is printed.", "FILE", file=True)
def schema(table: bool, report: bool, out: Path | None) -> None:
    """List every key of a job, as a JSON Schema or as a table.

    Editors use the schema to complete and check a job while you type. The first line of a job that
    `millprep new` wrote names it: write it there with -o millprep-job.json.
    """
    if table and report:
        raise click.UsageError("--table is of the job's keys; leave out --report")
    if report:
        from millprep.report.report_model import Report

        text = json.dumps(Report.model_json_schema(), indent=2) + "\n"
    else:
        from millprep import job

        text = job.key_table() if table else json.dumps(job.schema(), indent=2) + "\n"
    if out is None:
        click.echo(text, nl=False)
        return
    if not out.parent.is_dir():
        raise click.UsageError(f"there is no folder {out.parent}")
    with terminal.refusals():
        writing.replace_file(out, text.encode())
    click.echo(f"wrote {out}")
