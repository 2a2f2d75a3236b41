"""`millprep new`: a starter job for a drawing."""

from __future__ import annotations

from pathlib import Path

import click

from millprep.cli import words
from millprep.values.finding import Refusal


@click.command()
@click.argument("drawing_file", metavar="DRAWING.dxf", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="JOB.toml",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to write it; without this it is printed.",
)
def new(drawing_file: Path, out: Path | None) -> None:
    """Write a commented starter job for a drawing."""
    from millprep import drawing, job

    try:
        survey = drawing.survey(drawing_file)
    except Refusal as refusal:
        words.refuse(refusal)
        return
    text = job.starter(drawing_file.name, survey.roles, survey.unit, survey.size)
    for reason in survey.reasons:
        click.echo(reason, err=True)
    if out is None:
        click.echo(text, nl=False)
        return
    if out.exists():
        raise click.UsageError(f"{out} exists; name another file")
    out.write_text(text, "utf-8")
    click.echo(f"wrote {out}: fill in drawn_from and read the comments")
