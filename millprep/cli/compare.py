"""`millprep compare`: the boards that two sets cut otherwise."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.cli.options import json_option

if TYPE_CHECKING:
    from millprep.workflow.compare import Amount, Compared, TaskCompared


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
        click.echo(json.dumps([_row(copy) for copy in comparison], indent=1))
        return
    for copy in comparison:
        name = f"{copy.board} copy {copy.copy}"
        if copy.only_in is not None:
            click.echo(f"{name}: only in {(first, second)[copy.only_in - 1]}")
        for work in copy.works:
            click.echo(f"{name}: {_work_words(work)}")
    same = sum(copy.same for copy in comparison)
    click.echo(f"{same} of {len(comparison)} boards are cut alike")


def _row(copy: Compared) -> dict[str, object]:
    """A copy as JSON."""
    facts = {"same": copy.same, "differs": copy.differs, "at": copy.at, "cutters": copy.cutters}
    return {**asdict(copy), **facts}


def _work_words(work: TaskCompared) -> str:
    """What differs in the work of one cutter, on one line."""
    from millprep.report.words import WORK_WORDS

    kinds = " and ".join(WORK_WORDS[kind] for kind in work.works)
    return f"{kinds} with {work.cutter}: {'; '.join(_changes(work))}"


def _changes(work: TaskCompared) -> Iterator[str]:
    parts = [
        f"{_amount(amount)} {what}"
        for amount, what in ((work.removed, "removed"), (work.added, "added"))
        if amount.moves
    ]
    if parts:
        yield f"{', '.join(parts)}, at {work.at[0]:.2f}, {work.at[1]:.2f} mm in the drawing"
    if work.depth is not None:
        depth = work.depth
        yield f"{_amount(depth.amount)} at Z{depth.after:.3f} instead of Z{depth.before:.3f}"
    if work.feed is not None:
        feed = work.feed
        yield f"{_amount(feed.amount)} at {feed.after:g} mm/min instead of {feed.before:g}"


def _amount(amount: Amount) -> str:
    """Holes, or moves with the length of their path."""
    from millprep.report.words import many

    if amount.holes:
        return many(amount.holes, "hole")
    return f"{many(amount.moves, 'move')} ({amount.length:.1f} mm)"
