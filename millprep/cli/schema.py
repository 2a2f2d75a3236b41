"""`millprep schema`: the keys of job files and of report.json."""

from __future__ import annotations

import json

import click


@click.command()
@click.option(
    "--table",
    is_flag=True,
    help="Print a table to read: key, unit, default, meaning.",
)
@click.option("--report", is_flag=True, help="Print the JSON Schema of report.json.")
def schema(table: bool, report: bool) -> None:
    """List every key of a job, as a JSON Schema or as a table.

    Editors use the schema to complete and check a job while you type.
    """
    if report:
        from millprep.report.report_model import Report

        click.echo(json.dumps(Report.model_json_schema(), indent=2))
        return
    from millprep import job

    click.echo(job.key_table() if table else json.dumps(job.schema(), indent=2))
