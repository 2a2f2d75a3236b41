"""`millprep new`: a starter job for one drawing or several."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millprep.cli import terminal
from millprep.cli.answers import OPTIONS, Answers, Box, box, question
from millprep.cli.inspect import MODES, PENS, SPLITS, UNITS, described
from millprep.cli.options import Option, out_option
from millprep.files import writing

if TYPE_CHECKING:
    from millprep.job import Bench, Start
    from millprep.model.finding import Finding

MOST_COPIES = 1000


def _counted(
    ctx: click.Context, param: click.Parameter, value: Sequence[str]
) -> list[tuple[Path, int]]:
    """Every DRAWING or DRAWING=COUNT as a path and a number of copies."""
    drawings: list[tuple[Path, int]] = []
    for text in value:
        match = re.fullmatch(r"(.+)=(\d+)", text, re.DOTALL)
        if match is None or Path(text).exists():
            file, count = Path(text), 1
        else:
            file, count = Path(match[1]), int(match[2])
        if not 1 <= count <= MOST_COPIES:
            raise click.BadParameter(f"{text}: the count must be 1 to {MOST_COPIES}", ctx, param)
        if any(file == known for known, _ in drawings):
            fault = f"{file} is there twice; write {file}=2 for two copies"
            raise click.BadParameter(fault, ctx, param)
        drawings.append((file, count))
    return drawings


def _box(_: click.Context, param: click.Parameter, value: str | None) -> Box | None:
    return None if value is None else box(param.opts[0], value)


def _mm(_: click.Context, param: click.Parameter, value: float | None) -> float | None:
    if value is not None and not 0 <= value <= 1000:
        raise click.UsageError(f"{param.opts[0]} must be 0 to 1000 mm; got {value:g}")
    return value


def _length_option(name: str, words: str) -> Option:
    return click.option(name, metavar="MM", type=float, callback=_mm, help=words)


def _box_option(name: str, key: str, words: str) -> Option:
    return click.option(name, key, metavar="X0,Y0,X1,Y1", callback=_box, help=words)


def _layers_option(name: str, key: str, words: str) -> Option:
    return click.option(name, key, metavar="LAYER", multiple=True, help=words)


@click.command()
@click.argument(
    "drawings", metavar="DRAWING[=COUNT]...", nargs=-1, required=True, callback=_counted
)
@click.option("--unit", type=click.Choice(UNITS), help="Unit of a drawing that states none.")
@click.option(
    "--drawn-from",
    type=click.Choice(("components", "copper")),
    help="The side you see in the drawing.",
)
@_length_option("--margin", "The board is the copper's bounding box plus this margin.")
@_box_option("--outline", "box", "The board is this rectangle, in drawing coordinates, mm.")
@click.option(
    "--outline-drawing",
    "outline",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file that draws the board's edge.",
)
@click.option(
    "--holes-drawing",
    "holes",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file that draws holes; give it once for each file.",
)
@_box_option(
    "--region", "region", "Take the board within this rectangle from a drawing of several, mm."
)
@click.option(
    "--outline-unit",
    type=click.Choice(UNITS),
    help="Unit of an outline drawing that states none.",
)
@click.option(
    "--holes-unit", type=click.Choice(UNITS), help="Unit of a holes drawing that states none."
)
@click.option(
    "--split",
    multiple=True,
    type=click.Choice(SPLITS),
    help="Split layers into selections, each offered like a layer. edge splits off the line "
    "around everything else.",
)
@_layers_option("--copper-layer", "copper", "A layer of copper; give it once for each.")
@_layers_option("--outline-layer", "edge", "A layer of the board's edge and cut-outs.")
@_layers_option("--holes-layer", "hole_layers", "A layer of the holes.")
@_layers_option("--parts-layer", "parts", "A layer whose texts name parts; give it once for each.")
@click.option(
    "--mode",
    multiple=True,
    type=click.Choice(MODES),
    help="What draws copper, where a layer leaves it open.",
)
@_length_option("--track-width", "Width of tracks drawn as bare lines.")
@_length_option("--close-gaps", "Close gaps in the board's edge up to this size.")
@click.option(
    "--outline-pen",
    "pen",
    type=click.Choice(PENS),
    help="The line that is the edge, where a pen draws both its rims, or is as wide.",
)
@click.option("--repair", is_flag=True, help="Mend a damaged drawing, as prepare --repair does.")
@click.option(
    "--bench",
    "bench_file",
    metavar="BENCH.toml",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Leave out what this bench file says, and name it in the job.",
)
@click.option(
    "--schema",
    "with_schema",
    is_flag=True,
    help="Write the schema that editors follow next to the job, too.",
)
@out_option("The file to write. Without it, the job is printed.", "JOB.toml", file=True)
def new(
    drawings: list[tuple[Path, int]],
    bench_file: Path | None,
    with_schema: bool,
    out: Path | None,
    **given: Any,
) -> None:
    """Write a commented starter job for one drawing or several.

    DRAWING is a DXF file, or the Gerber file of the copper. DRAWING=4 makes four copies of it.
    Options that answer something of a drawing answer it for all of them.

    Cutters, gap and depth fit the drawings. On a terminal, new asks what neither a drawing nor an
    option answers. What stays open is marked FILL IN in the job.
    """
    from millprep import job

    _check_out(out, with_schema)
    ways = {
        "--margin": given["margin"],
        "--outline": given["box"],
        "--outline-drawing": given["outline"],
    }
    edges = [name for name, value in ways.items() if value is not None]
    if len(edges) > 1:
        raise click.UsageError(f"{' and '.join(edges)} both give the outline; keep one")
    ways |= {"--holes-drawing": given["holes"] or None, "--region": given["region"]}
    single = [name for name, value in ways.items() if value is not None and name != "--margin"]
    if len(drawings) > 1 and single:
        raise click.UsageError(
            f"{single[0]} answers for one drawing; name one, and add other boards to its job"
        )
    folder = Path() if out is None else out.parent
    given |= {key: given[key] or None for key in ("hole_layers", "parts")}
    every = [Answers(drawing, folder, count=count, **given) for drawing, count in drawings]
    with terminal.refusals():
        bench = None if bench_file is None else _bench(bench_file, folder)
        if bench is not None and bench.side is not None:
            click.echo(f'the bench says drawn_from = "{bench.side}" of all drawings', err=True)
            every = [replace(answers, usual=bench.side) for answers in every]
        begun = [_begun(answers, len(every) > 1, bool(edges)) for answers in every]
        starts = _called([start for start, _ in begun])
        bench = None if bench is None else _with_cutters(bench, starts)
    refused = [finding for _, findings in begun for finding in findings]
    if refused:
        click.echo("as this job is, the drawing is refused:", err=True)
        terminal.say_findings(refused)
    for line in job.warnings(starts):
        click.echo(f"warning: {line}", err=True)
    name = out.stem if out is not None and len(starts) > 1 else None
    text = job.starter(starts, name, bench)
    _write(text, out, with_schema)
    if refused:
        # the job is there to be corrected, but as it is the drawing is refused
        raise SystemExit(3)
    if out is None:
        return
    left = job.left_open(starts)
    if left:
        options = dict.fromkeys(OPTIONS[name] for start in starts for name in start.open)
        click.echo(f"options of new that answer it: {'; '.join(options)}", err=True)
        click.echo(f"wrote {out}; left to fill in: {', '.join(left)}")
    else:
        click.echo(f"wrote {out}; read it, then: millprep prepare {out}")


def _check_out(out: Path | None, with_schema: bool) -> None:
    if out is not None and out.exists():
        raise click.UsageError(f"{out} exists; name another file")
    if out is not None and not out.parent.is_dir():
        raise click.UsageError(f"there is no folder {out.parent}")
    if with_schema and out is None:
        raise click.UsageError("--schema writes next to the job; name the job with --out")


def _write(text: str, out: Path | None, with_schema: bool) -> None:
    from millprep import job

    if out is None:
        click.echo(text, nl=False)
        return
    with terminal.refusals():
        writing.replace_file(out, text.encode())
        if with_schema:
            schema = json.dumps(job.schema(), indent=2)
            writing.replace_file(out.parent / job.SCHEMA_FILE, f"{schema}\n".encode())


def _begun(answers: Answers, several: bool, edge_given: bool) -> tuple[Start, Sequence[Finding]]:
    """What a drawing's board is written from, once its questions are answered or left open."""
    from millprep.cli.starting import begin
    from millprep.drawing.survey.guess import NO_EDGE
    from millprep.drawing.survey.survey import survey_file

    survey = survey_file(
        answers.drawing, answers.unit, answers.repair, answers.region, answers.split
    )
    if several:
        click.echo(f"{answers.drawing}:", err=True)
    for line in described(survey):
        if line != NO_EDGE or not edge_given:
            click.echo(line, err=True)
    start, refused = begin(survey, answers)
    passed: set[str] = set()
    while terminal.somebody_answers() and (left := [k for k in start.questions if k not in passed]):
        passed.add(left[0])
        more = question(left[0], start, survey, answers)
        if more == answers:
            continue
        if more.unit != answers.unit:
            survey = survey_file(more.drawing, more.unit, more.repair, more.region, more.split)
        answers = more
        start, refused = begin(survey, answers)
    return start, refused


def _called(starts: Sequence[Start]) -> list[Start]:
    """Boards with a name each: drawings of one name are counted."""
    names: list[str] = []
    for start in starts:
        name, number = start.called, 1
        while name.casefold() in {known.casefold() for known in names}:
            number += 1
            name = f"{start.called[:90]} {number}"
        names.append(name)
    return [replace(start, name=name) for start, name in zip(starts, names, strict=True)]


def _bench(file: Path, folder: Path) -> Bench:
    from millprep.cli.starting import shown
    from millprep.job import Bench
    from millprep.job.load import bench_tables

    return Bench(shown(file, folder), bench_tables(file))


def _with_cutters(bench: Bench, starts: Sequence[Start]) -> Bench:
    """The bench, and whether the job adds the cutters that it lacks."""
    lacking = bench.lacks(starts)
    if not lacking:
        return bench
    names = ", ".join(cutter.name for cutter in lacking)
    said = f"the bench has no cutter for some holes of these boards: {names}"
    if terminal.somebody_answers():
        question = f"{said[0].upper()}{said[1:]}. Add to this job"
        return replace(bench, added=click.confirm(question, default=True, err=True))
    click.echo(f"warning: {said}; the job adds what is missing", err=True)
    return bench
