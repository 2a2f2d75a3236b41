"""`millprep resume`: a program taken up again after its cutter broke."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import (
    job_option,
    new_set_option,
    replace_option,
    set_argument,
    summary_option,
)

if TYPE_CHECKING:
    from millprep.model.set_of_programs import CutSet


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
