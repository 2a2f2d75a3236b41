"""`millprep schema`: the keys of job files and of report.json."""

from __future__ import annotations

import json

import click


@click.command()
@click.option(
    "--table",
    is_flag=True,
    help="Print a table for people: key, unit, default, meaning.",
)
@click.option("--report", is_flag=True, help="Print the JSON Schema of report.json.")
def schema(table: bool, report: bool) -> None:
    """Print the JSON Schema of job files, for editors."""
    if report:
        from millprep.report.report_model import Report

        click.echo(json.dumps(Report.model_json_schema(), indent=2))
        return
    from millprep import job

    click.echo(job.key_table() if table else json.dumps(job.schema(), indent=2))
