"""`millprep level`: a set made anew whose programs follow a blank's surface."""

from __future__ import annotations

from pathlib import Path

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
