"""Options that commands on a finished set share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

Command = Callable[..., Any]


def job_option(*, readings: bool = False) -> Callable[[Command], Command]:
    """The job of a set; with `readings` it is looked for next to those too."""
    where = " nor next to the readings" if readings else ""
    return click.option(
        "--job",
        "job_file",
        metavar="JOB.toml",
        type=click.Path(path_type=Path),
        help=f"The job of the set, if it is neither in this folder nor next to the set{where}.",
    )


blank_option = click.option(
    "--blank", default=1, show_default=True, metavar="N", help="The blank's number."
)

new_set_option = click.option(
    "--out",
    required=True,
    metavar="NEW",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the new set. The old set stays.",
)
