"""`millprep schema`: the job file's keys."""

from __future__ import annotations

import json

import click


@click.command()
@click.option(
    "--table",
    is_flag=True,
    help="Print a table for people: key, unit, default, meaning.",
)
def schema(table: bool) -> None:
    """Print the JSON Schema of job files, for editors."""
    from millprep import job

    click.echo(job.key_table() if table else json.dumps(job.schema(), indent=2))
