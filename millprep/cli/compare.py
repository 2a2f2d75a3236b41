"""`millprep compare`: the boards that two sets cut otherwise."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from millprep.cli import words
from millprep.cli.options import json_option


@click.command()
@click.argument("first", metavar="SET1", type=click.Path(path_type=Path, file_okay=False))
@click.argument("second", metavar="SET2", type=click.Path(path_type=Path, file_okay=False))
@json_option("Print every board as JSON.")
def compare(first: Path, second: Path, as_json: bool) -> None:
    """List the boards that two sets cut differently.

    Each board is compared in its own frame: its place on the blank and the travel moves do not
    count. After a change in a drawing, cut only the boards listed here again.
    """
    import millprep

    with words.refusals(as_json=as_json):
        comparison = millprep.compare_sets(first, second)
    if as_json:
        click.echo(
            json.dumps([{**asdict(board), "same": board.same} for board in comparison], indent=1)
        )
        return
    for board in comparison:
        name = f"{board.board} copy {board.copy}"
        if board.only_in is not None:
            click.echo(f"{name}: only in {(first, second)[board.only_in - 1]}")
        elif board.at is not None:
            x, y = board.at
            click.echo(
                f"{name}: {board.differs} cuts differ ({', '.join(board.cutters)}), one at "
                f"{x:.3f}, {y:.3f} mm in its drawing"
            )
    same = sum(board.same for board in comparison)
    click.echo(f"{same} of {len(comparison)} boards are cut alike")
