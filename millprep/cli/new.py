"""`millprep new`: a starter job for a drawing."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.cli.surveys import UNITS, described

if TYPE_CHECKING:
    from millprep.cli.starting import Box
    from millprep.model.job.layers import DrawnFrom, Unit


@click.command()
@click.argument("drawing_file", metavar="DRAWING", type=click.Path(path_type=Path))
@click.option("--unit", type=click.Choice(UNITS), help="Unit of a drawing that states none.")
@click.option(
    "--drawn-from",
    type=click.Choice(("components", "copper")),
    help="The side you see in the drawing.",
)
@click.option(
    "--margin",
    metavar="MM",
    type=float,
    help="The board is the copper's bounding box plus this margin.",
)
@click.option(
    "--outline",
    metavar="X0,Y0,X1,Y1",
    help="The board is this rectangle, in drawing coordinates, mm.",
)
@click.option(
    "--outline-drawing",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file that draws the board's edge.",
)
@click.option(
    "--holes-drawing",
    "holes_drawings",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file that draws holes; give it once for each file.",
)
@click.option(
    "--region",
    metavar="X0,Y0,X1,Y1",
    help="Take the board within this rectangle from a drawing of several, mm.",
)
@click.option(
    "--outline-unit",
    type=click.Choice(UNITS),
    help="Unit of an outline drawing that states none.",
)
@click.option(
    "--holes-unit", type=click.Choice(UNITS), help="Unit of a holes drawing that states none."
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
    "--out",
    "-o",
    metavar="JOB.toml",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file to write. Without it, the job is printed.",
)
def new(
    drawing_file: Path,
    unit: Unit | None,
    drawn_from: DrawnFrom | None,
    margin: float | None,
    outline: str | None,
    outline_drawing: Path | None,
    holes_drawings: tuple[Path, ...],
    region: str | None,
    outline_unit: Unit | None,
    holes_unit: Unit | None,
    repair: bool,
    bench_file: Path | None,
    out: Path | None,
) -> None:
    """Write a commented starter job for a drawing.

    DRAWING is a DXF file, or the Gerber file of the copper.

    Cutters, gap and depth fit the drawing. What neither the drawing nor an option answers is
    marked FILL IN in the job.
    """
    from millprep import job
    from millprep.cli.starting import Answers, begin, shown
    from millprep.drawing.survey.survey import survey_file
    from millprep.job.load import bench_tables

    if out is not None and out.exists():
        raise click.UsageError(f"{out} exists; name another file")
    if out is not None and not out.parent.is_dir():
        raise click.UsageError(f"there is no folder {out.parent}")
    ways = {"--margin": margin, "--outline": outline, "--outline-drawing": outline_drawing}
    given = [name for name, value in ways.items() if value is not None]
    if len(given) > 1:
        raise click.UsageError(f"{' and '.join(given)} both give the outline; keep one")
    if margin is not None and not 0 <= margin <= 1000:
        raise click.UsageError(f"--margin must be 0 to 1000 mm; got {margin:g}")
    answers = Answers(
        drawing_file, Path() if out is None else out.parent, unit, drawn_from, margin,
        _box("--outline", outline), outline_drawing, holes_drawings, repair,
        _box("--region", region), outline_unit, holes_unit,
    )  # fmt: skip
    with words.refusals():
        survey = survey_file(drawing_file, unit, repair, answers.region)
        start, refused = begin(survey, answers)
        if bench_file is not None:
            seen = shown(bench_file, answers.folder)
            start = replace(start, bench=(seen, bench_tables(bench_file)))
    text = job.starter(start)
    from millprep.drawing.survey.guess import NO_EDGE

    for line in described(survey):
        if line != NO_EDGE or not given:
            click.echo(line, err=True)
    if refused:
        click.echo("as this job is, the drawing is refused:", err=True)
        words.say_findings(refused)
    for line in job.warnings(start):
        click.echo(f"warning: {line}", err=True)
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, "utf-8")
    if refused:
        # the job is there to be corrected, but as it is the drawing is refused
        raise SystemExit(3)
    if out is None:
        return
    if start.open:
        click.echo(f"wrote {out}; left to fill in: {', '.join(start.open)}")
    else:
        click.echo(f"wrote {out}; read it, then: millprep prepare {out} --out DIR")


def _box(option: str, text: str | None) -> Box | None:
    """Four numbers, the low corner first; None where the option is not given."""
    if text is None:
        return None
    try:
        x0, y0, x1, y1 = (float(part) for part in text.split(","))
    except ValueError:
        raise click.UsageError(f"{option} must be X0,Y0,X1,Y1 in mm; got {text}") from None
    if not (all(map(math.isfinite, (x0, y0, x1, y1))) and x0 < x1 and y0 < y1):
        raise click.UsageError(f"{option} must have X0 < X1 and Y0 < Y1; got {text}")
    return (x0, y0, x1, y1)
