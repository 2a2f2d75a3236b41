"""`millprep level`: a set made anew whose programs follow a blank's surface."""

from __future__ import annotations

from pathlib import Path

import click

from millprep.cli import words
from millprep.cli.of_set import blank_option, job_option, new_set_option
from millprep.cli.prepare import finish
from millprep.cli.replacing import replace_option


@click.command()
@click.argument("folder", metavar="OUT", type=click.Path(path_type=Path, file_okay=False))
@click.argument("map_file", metavar="MAP.csv", type=click.Path(path_type=Path))
@click.option(
    "--pass", "number", required=True, metavar="K", type=int, help="The pass that was probed."
)
@blank_option
@new_set_option
@click.option(
    "--repeatability",
    metavar="MM",
    type=click.FloatRange(0.0001, 1.0),
    help="Standard deviation of one touch. Without it the job's value counts, else 0.005 is "
    "assumed.",
)
@job_option(readings=True)
@replace_option
@click.option("--json", "as_json", is_flag=True, help="Print report.json instead of a summary.")
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

    OUT is the set that you are cutting. MAP.csv holds x, y and z of every point: the table that
    millprep probe writes, or, with [machine] probe_log, the log of the machine.
    """
    from millprep.at_machine.level import level as make

    finish(
        lambda: make(
            folder, out, map_file, blank, number, job_file, words.steps(),
            repeatability=repeatability, replace_begun=replace,
        ),
        out,
        as_json,
    )  # fmt: skip
