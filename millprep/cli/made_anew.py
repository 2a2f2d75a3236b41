"""Commands that make a set anew at the machine: `millprep level`, `refit` and `resume`."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import (
    blank_option,
    job_option,
    new_set_option,
    pass_option,
    replace_option,
    set_argument,
    summary_option,
)
from millprep.cli.prepare import finish

if TYPE_CHECKING:
    from millprep.at_machine.readings import Kind
    from millprep.model.set_of_programs import CutSet


@click.command()
@set_argument
@click.argument("map_file", metavar="MAP.csv", type=click.Path(path_type=Path))
@pass_option("The pass that was probed.")
@blank_option
@new_set_option
@click.option(
    "--repeatability",
    metavar="MM",
    type=click.FloatRange(0.0001, 1.0),
    help="Standard deviation of one touch. Without it the job's value counts, else 0.005 mm is "
    "assumed.",
)
@job_option
@replace_option
@summary_option
def level(
    folder: Path,
    map_file: Path,
    number: int,
    blank: int,
    out: Path,
    repeatability: float | None,
    job_file: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Make the programs of a pass follow the copper of an uneven blank.

    SET is the set that you are cutting. MAP.csv holds x, y and z of every point: the table that
    millprep probe writes, or, with [machine] probe_log, the log of the machine.
    """
    from millprep.at_machine.level import level as make

    finish(
        lambda: make(
            folder, out, map_file, blank, number, job_file, terminal.steps(terminal.PREPARE),
            repeatability=repeatability, replace_begun=replace,
        ),
        out,
        as_json,
    )  # fmt: skip


@click.command()
@set_argument
@click.argument("readings_file", metavar="READINGS.toml", type=click.Path(path_type=Path))
@pass_option("The pass that was measured.")
@blank_option
@new_set_option
@job_option
@click.option(
    "--vernier",
    "by_vernier",
    is_flag=True,
    help="READINGS.toml holds readings of verniers instead of holes.",
)
@click.option(
    "--touches",
    "by_touches",
    is_flag=True,
    help="READINGS.toml holds touches on four sides of holes.",
)
@replace_option
@summary_option
def refit(
    folder: Path,
    readings_file: Path,
    number: int,
    blank: int,
    out: Path,
    job_file: Path | None,
    by_vernier: bool,
    by_touches: bool,
    replace: bool,
    as_json: bool,
) -> None:
    """Fit the programs of a pass to the blank as it lies.

    SET is the set that you are cutting. READINGS.toml says where you found holes that an earlier
    pass drilled, in work coordinates: set = "ID", unit = "mm", and under [holes] lines such as
    r1 = [41.02, 6.01].

    With --vernier it holds set = "ID" and, under [verniers], the line that runs through each,
    such as v1 = -3.5.

    With --touches it holds set, unit and, under [touches], the spindle's place at four touches
    of each hole and the diameter of the tip:
    r1 = { left = 40.51, right = 41.53, low = 5.5, high = 6.52, probe = 2.0 }.
    """
    from millprep.at_machine.refit import refit as make

    if by_vernier and by_touches:
        raise click.UsageError("--vernier and --touches are two kinds of readings: give one.")
    kind: Kind = "verniers" if by_vernier else "touches" if by_touches else "holes"
    finish(
        lambda: make(
            folder,
            out,
            readings_file,
            blank,
            number,
            job_file,
            kind,
            terminal.steps(terminal.PREPARE),
            replace_begun=replace,
        ),
        out,
        as_json,
    )


def _place(
    ctx: click.Context, param: click.Parameter, value: str | None
) -> tuple[float, float] | None:
    """X,Y as two numbers."""
    if value is None:
        return None
    try:
        x, y = (float(word) for word in value.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        words_ = f"{value!r} is no X,Y in mm, such as 120.5,33.2."
        raise click.BadParameter(words_, ctx=ctx, param=param)
    return (x, y)


def _board(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[str, int] | None:
    """BOARD or BOARD:COPY as a name and a number."""
    if value is None:
        return None
    name, colon, copy = value.rpartition(":")
    if not colon:
        return (value, 1)
    if not name or not copy.isdecimal() or int(copy) < 1:
        words_ = f"{value!r} is no BOARD or BOARD:COPY, such as lamp:2."
        raise click.BadParameter(words_, ctx=ctx, param=param)
    return (name, int(copy))


@click.command()
@set_argument
@click.argument("program", metavar="[PROGRAM]", required=False)
@click.option(
    "--after",
    metavar="N",
    type=int,
    help="Number of the last restart point that the machine passed.",
)
@click.option(
    "--near",
    metavar="X,Y",
    callback=_place,
    help="Where the cutter broke, in work coordinates. With --after, only in that cut.",
)
@click.option("--hole", metavar="HOLE", help="Begin with this hole, by number or name.")
@click.option(
    "--overlap",
    metavar="MM",
    type=click.FloatRange(0.1, 50.0),
    help="How far before the place of --near the cutter enters, along the path. Without it, 2 "
    "mm or the cutter's width.",
)
@click.option(
    "--board", metavar="BOARD[:COPY]", callback=_board, help="Make only the cuts of this copy."
)
@new_set_option
@job_option
@replace_option
@summary_option
def resume(
    folder: Path,
    program: str | None,
    after: int | None,
    near: tuple[float, float] | None,
    hole: str | None,
    overlap: float | None,
    board: tuple[str, int] | None,
    out: Path,
    job_file: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Resume after a broken cutter.

    Writes a small set with one program. It enters before the break and makes all that is left of
    PROGRAM. Name PROGRAM, a program of SET, by its file or a part of its name.

    Programs number their restart points, where the cutter is up. Give --after the last number
    above the line at which the machine stopped; that cut is made again. With --board and without
    PROGRAM, all cuts of one copy are made again.
    """
    from millprep.at_machine.resume import resume as make
    from millprep.at_machine.resumed_program import Wish

    if hole is not None and (after is not None or near is not None):
        raise click.UsageError("--hole says where to begin; --after and --near do not go with it.")
    if overlap is not None and near is None:
        raise click.UsageError("--overlap is measured from the place of --near: give one.")
    if (after, near, hole, board) == (None, None, None, None):
        raise click.UsageError("say where to go on: --after, --near, --hole or --board.")
    wish = Wish(after, near, hole, overlap, *(board or (None,)))
    with terminal.refusals(as_json=as_json, out=out):
        say = terminal.steps()
        done = make(folder, out, program, wish, job_file, say, replace_begun=replace)
    terminal.say_findings(done.findings)
    if as_json:
        click.echo((out / "report.json").read_text("utf-8"), nl=False)
        return
    _say(done, out)


def _say(done: CutSet, out: Path) -> None:
    """What was written, and what to do with it."""
    click.echo(f"set {done.id} in {out}, made from set {done.derived_from}")
    for resumption, program in zip(done.resumed, done.programs, strict=True):
        assert program.figures is not None, "a set on disk has its figures"
        x, y, z = resumption.entry
        minutes = program.figures.seconds / 60
        click.echo(
            f"{resumption.file}: enters at X{x:.3f} Y{y:.3f}, down to Z{z:.3f}; "
            f"{resumption.cuts} of {resumption.points} cuts, about {minutes:.0f} min"
        )
    click.echo(f"Fit a new cutter, zero Z as before, and read {out / 'sheet.html'}")
