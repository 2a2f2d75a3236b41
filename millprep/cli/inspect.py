"""`millprep inspect`: what a drawing holds, before a job is written for it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.cli.options import json_option
from millprep.cli.surveys import UNITS, described

if TYPE_CHECKING:
    from millprep.model.job.layers import Unit


@click.command()
@click.argument("drawing_file", metavar="DRAWING", type=click.Path(path_type=Path))
@click.option(
    "--unit",
    type=click.Choice(UNITS),
    help="Unit of a drawing that states none.",
)
@click.option(
    "--pictures",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Draw every layer, and each reading of it as copper, into this folder.",
)
@click.option("--repair", is_flag=True, help="Mend a damaged drawing, as prepare --repair does.")
@json_option("Print the same as JSON.")
def inspect(
    drawing_file: Path, unit: Unit | None, pictures: Path | None, repair: bool, as_json: bool
) -> None:
    """Show what is in a drawing: layers, unit, what each layer may be.

    A layer that may be copper is read in every way that could be meant. For each reading you see
    the pieces, the narrowest gap, and what it would leave out or refuse.
    """
    import millprep

    with words.refusals():
        survey = millprep.survey_drawing(drawing_file, unit, repair=repair)
    files: dict[tuple[str, int | None], str] = {}
    if pictures is not None:
        from millprep.cli.surveys import draw

        files = draw(survey, drawing_file.name, pictures)
    if as_json:
        from millprep.drawing.survey.record import record

        click.echo(json.dumps(record(survey, drawing_file.name, files), indent=2))
        return
    for line in described(survey, files):
        click.echo(line)
    if any(layer.box is not None for layer in survey.layers) and pictures is None:
        click.echo("pictures of every layer and reading: --pictures DIR")
