"""`millprep bench`: a bench file by a few questions, and what its cutters have cut."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millprep.cli import terminal
from millprep.cli.options import json_option
from millprep.cli.ran import use_row, use_words
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
    """A bench file, which many jobs share, and the log of its cutters."""


def _answer(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
    """The option's value, or the answer on a terminal."""
    question, default = QUESTIONS[str(param.name)]
    if value or ctx.resilient_parsing:
        return value
    if param.name == "drawn_from" and not terminal.somebody_answers():
        return None
    if not terminal.somebody_answers():
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
    with terminal.refusals():
        writing.replace_file(file, text.encode())
    click.echo(f"wrote {file}; read it, then: millprep new DRAWING.dxf --bench {file}")


@bench.command()
@click.argument(
    "file", metavar="[BENCH.toml]", required=False, type=click.Path(path_type=Path, dir_okay=False)
)
@click.option(
    "--replaced", metavar="CUTTER", help="Count this cutter anew, because it was replaced."
)
@json_option("Print the same as JSON.")
def log(file: Path | None, replaced: str | None, as_json: bool) -> None:
    """Show what the cutters of a bench have cut.

    millprep ran adds the metres of every program to the log next to the bench file. Without
    BENCH.toml, bench.toml here or in your configuration folder is taken. A cutter past its life,
    [cutters.NAME] life in the bench, is to be replaced.
    """
    from millprep.at_machine.bench_log import BENCH_LOG, log_of, replace_cutter, use_of
    from millprep.job.bench import nearest
    from millprep.job.load import bench_lives
    from millprep.model.finding import many
    from millprep.report.words import minutes_words

    bench_file = file or nearest(Path())
    if bench_file is None:
        raise click.UsageError(
            "there is no bench.toml here or in the configuration folder; name it"
        )
    with terminal.refusals(as_json=as_json):
        lives = bench_lives(bench_file)
        if replaced is not None:
            known = {*lives, *(run.cutter for run in BENCH_LOG.load(log_of(bench_file)))}
            if replaced not in known:
                raise click.UsageError(
                    f"the log has no cutter {replaced}: {', '.join(sorted(known))}"
                )
            replace_cutter(bench_file, replaced)
        use = use_of(BENCH_LOG.load(log_of(bench_file)), lives)
    if as_json:
        whole = {"minutes": round(use.minutes, 2), "boards": use.boards, "runs": use.runs}
        cutters = [use_row(cutter) for cutter in use.cutters]
        click.echo(json.dumps({"log": str(log_of(bench_file)), "cutters": cutters, **whole}))
        return
    for cutter in use.cutters:
        click.echo(use_words(cutter))
    done = f"{many(use.boards, 'board')} in {many(use.runs, 'run')}"
    click.echo(f"{done}, {minutes_words(use.minutes)} where minutes were given")
