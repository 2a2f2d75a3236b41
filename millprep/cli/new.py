"""`millprep new`: a starter job for a drawing."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.cli.survey_words import described
from millprep.values.finding import Refusal

if TYPE_CHECKING:
    from millprep.drawing.survey import Survey


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
    from millprep import job
    from millprep.drawing.survey import survey_file
    from millprep.values.plan import LayerRoles

    if out is not None and out.exists():
        raise click.UsageError(f"{out} exists; name another file")
    try:
        survey = survey_file(drawing_file)
    except Refusal as refusal:
        words.refuse(refusal)
        return
    folder = Path() if out is None else out.parent
    shown = Path(os.path.relpath(drawing_file, folder)).as_posix()
    roles = survey.roles or LayerRoles((), (), ())
    text = job.starter(shown, roles, None, _size(survey))
    for line in described(survey):
        click.echo(line, err=True)
    if out is None:
        click.echo(text, nl=False)
        return
    out.write_text(text, "utf-8")
    click.echo(f"wrote {out}: fill in drawn_from and read the comments")


def _size(survey: Survey) -> tuple[float, float]:
    """Of everything drawn, mm; drawing units count as mm when the file names none."""
    if survey.box is None:
        return (10.0, 10.0)
    x0, y0, x1, y1 = survey.box
    mm = survey.unit_mm or 1.0
    return (max((x1 - x0) * mm, 1.0), max((y1 - y0) * mm, 1.0))
