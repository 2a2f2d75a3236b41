"""`millprep refit`: a set made anew for a blank as it lies."""

from __future__ import annotations

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
