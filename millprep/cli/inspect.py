"""`millprep inspect`: what a drawing holds, before a job is written for it."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.values.finding import Refusal

if TYPE_CHECKING:
    from millprep.drawing.survey import Survey, SurveyedLayer


@click.command()
@click.argument("drawing_file", metavar="DRAWING.dxf", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
def inspect(drawing_file: Path, as_json: bool) -> None:
    """Tell what a drawing holds: layers, unit, the roles layers may play, and why."""
    from millprep.drawing.survey import survey_file

    try:
        survey = survey_file(drawing_file)
    except Refusal as refusal:
        words.refuse(refusal)
        return
    if as_json:
        click.echo(json.dumps(asdict(survey), indent=2, ensure_ascii=False))
        return
    for line in described(survey):
        click.echo(line)


def described(survey: Survey) -> list[str]:
    """The survey in words, a line for each fact."""
    lines = [f"{survey.version}, {survey.entities} entities"]
    if survey.unit is None:
        lines.append("the file states no unit: a job needs unit in [[board]]")
    else:
        lines.append(f"the file states its unit: {survey.unit}")
    if survey.unit_words:
        lines.append(survey.unit_words)
    for layer in survey.layers:
        lines += _layer(layer)
    if survey.roles is None:
        lines.append("the layers' roles are not settled: say them in the job's layers")
    return [*lines, *survey.doubts, *survey.unread]


def _layer(layer: SurveyedLayer) -> list[str]:
    kinds = ", ".join(f"{count} {kind}" for kind, count in layer.kinds)
    hidden = ", frozen or switched off" if layer.hidden else ""
    lines = [f"layer {layer.name}{hidden}: {kinds}"]
    if layer.box is not None:
        x0, y0, x1, y1 = layer.box
        lines.append(f"  from {x0:g}, {y0:g} to {x1:g}, {y1:g} drawing units")
    lines += [f"  may be {role}: {reason}" for role, reason in layer.roles]
    return lines
