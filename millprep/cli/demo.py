"""`millprep demo`: the main job on the example that comes with the package."""

from __future__ import annotations

from pathlib import Path

import click

from millprep.cli.options import replace_option, summary_option
from millprep.cli.prepare import JobWish, run


def example() -> Path:
    """The lighthouse example: in an installed package next to the code, in a clone above it."""
    from importlib.resources import files  # loads slowly

    packaged = Path(str(files("millprep"))) / "lighthouse"
    return packaged if packaged.is_dir() else packaged.parents[1] / "examples" / "lighthouse"


@click.command()
@click.argument("out", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@replace_option
@summary_option
def demo(out: Path, replace: bool, as_json: bool) -> None:
    """Prepare the example, an invented memory board of 480 mm."""
    run(JobWish(example() / "memory-board.toml", out, replace=replace), as_json)
