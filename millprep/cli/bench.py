"""`millprep bench new`: a bench file, by a few questions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millprep.cli import words
from millprep.files import writing

if TYPE_CHECKING:
    from millprep.model.job.layers import DrawnFrom
    from millprep.model.machine import Spindle

CUTTERS = "vee-30-0.1, drill-0.8, drill-1.0, endmill-2"


def size(text: str) -> tuple[float, float]:
    """Two lengths X,Y in mm."""
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise click.BadParameter(f"{text} is no size; write X,Y in mm, such as 300,180") from None
    if not (0 < x <= 10_000 and 0 < y <= 10_000):
        raise click.BadParameter(f"{text}: both must be above 0 and at most 10000 mm")
    return x, y


@click.group()
def bench() -> None:
    """Write a bench file, which many jobs share."""


def _answer(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
    """The option's value, or the answer on a terminal."""
    question, default = QUESTIONS[str(param.name)]
    if value or ctx.resilient_parsing:
        return value
    if param.name == "drawn_from" and not words.somebody_answers():
        return None
    if not words.somebody_answers():
        raise click.UsageError(f"give --{str(param.name).rstrip('s')}: {question.lower()}")
    kind = param.type if param.name != "cutters" else click.STRING
    if param.name == "drawn_from":
        kind = click.Choice((*SIDES, default))
    answer = click.prompt(question, default=default, type=kind, err=True)
    if answer == DIFFERS:
        return None
    return [part.strip() for part in answer.split(",")] if param.name == "cutters" else answer


SIDES = ("components", "copper")
DIFFERS = "differs"
QUESTIONS = {
    "travel": ("How far the spindle goes, X,Y in mm", "300,180"),
    "spindle": ("Who switches the spindle", "hand"),
    "sheet": ("Size of the laminate that you usually cut, X,Y in mm", "100,160"),
    "drawn_from": ("What you see in all your drawings", DIFFERS),
    "cutters": ("Presets of the cutters in the drawer, with commas between", CUTTERS),
}


@bench.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--travel", type=size, metavar="X,Y", callback=_answer, help="How far the spindle goes, mm."
)
@click.option(
    "--spindle",
    type=click.Choice(("program", "hand")),
    callback=_answer,
    help="Who switches the spindle.",
)
@click.option(
    "--sheet", type=size, metavar="X,Y", callback=_answer, help="Size of the usual laminate, mm."
)
@click.option(
    "--laminate", default="fr4-1.6-35", show_default=True, metavar="PRESET", help="Its preset."
)
@click.option(
    "--cutter",
    "cutters",
    multiple=True,
    metavar="PRESET",
    callback=_answer,
    help="A cutter in the drawer. Can be repeated.",
)
@click.option(
    "--drawn-from",
    type=click.Choice(SIDES),
    callback=_answer,
    help="The side you see in all your drawings, if it is always the same.",
)
def new(
    file: Path,
    travel: tuple[float, float],
    spindle: Spindle,
    sheet: tuple[float, float],
    laminate: str,
    cutters: tuple[str, ...],
    drawn_from: DrawnFrom | None,
) -> None:
    """Write a bench file with comments.

    On a terminal it asks what no option says. Read the file and put your own measures in.
    """
    from millprep.job.bench import BenchAnswers, bench_text

    if file.exists():
        raise click.UsageError(f"{file} exists; name another file")
    if not file.parent.is_dir():
        raise click.UsageError(f"there is no folder {file.parent}")
    try:
        answers = BenchAnswers(travel, spindle, sheet, laminate, cutters, drawn_from)
        text = bench_text(answers, file.stem)
    except ValueError as fault:
        raise click.UsageError(str(fault)) from None
    with words.refusals():
        writing.replace_file(file, text.encode())
    click.echo(f"wrote {file}; read it, then: millprep new DRAWING.dxf --bench {file}")
