"""`millprep compare`: what changed between sets, or between drawings."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import words
from millprep.cli.options import json_option

if TYPE_CHECKING:
    from millprep.workflow.compare import Amount, Compared, TaskCompared
    from millprep.workflow.drawing_changes import DrawingsCompared


@click.command()
@click.argument("first", metavar="OLD", type=click.Path(path_type=Path, exists=True))
@click.argument("second", metavar="NEW", type=click.Path(path_type=Path, exists=True))
@click.option(
    "--pictures",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Draw what changed on every board into this folder, as PNG and SVG.",
)
@json_option("Print the same as JSON.")
def compare(first: Path, second: Path, pictures: Path | None, as_json: bool) -> None:
    """List what changed between two sets, two jobs, or a set and a job.

    Two sets are compared by what their programs cut: each board in its own frame, without its
    place on the blank and travel moves.

    A job is compared by its drawings with another job, or with the set of the boards that are
    built: copper, holes and edge, and which copies must be cut again.
    """
    import millprep

    if not (first.is_dir() and second.is_dir()):
        with words.refusals(as_json=as_json):
            changes = millprep.compare_drawings(first, second)
        _say_changes(changes, (first, second), pictures, as_json=as_json)
        return
    if pictures is not None:
        raise click.UsageError(
            "two sets are compared by their cuts; name a job for --pictures, such as the "
            f"one in {second / 'job'}"
        )
    with words.refusals(as_json=as_json):
        comparison = millprep.compare_sets(first, second)
    if as_json:
        click.echo(json.dumps([_row(copy) for copy in comparison], indent=1))
        return
    for line in lines_of(comparison, (str(first), str(second))):
        click.echo(line)
    same = sum(copy.same for copy in comparison)
    click.echo(f"{same} of {len(comparison)} boards are cut alike")


def lines_of(
    comparison: Sequence[Compared], names: tuple[str, str] = ("the set before", "this set")
) -> list[str]:
    """What differs between two sets of these names, a line for each work of a copy."""
    lines: list[str] = []
    for copy in comparison:
        name = f"{copy.board} copy {copy.copy}"
        if copy.only_in is not None:
            lines.append(f"{name}: only in {names[copy.only_in - 1]}")
        lines += [f"{name}: {_work_words(work)}" for work in copy.works]
    return lines


def _say_changes(
    changes: DrawingsCompared, names: tuple[Path, Path], pictures: Path | None, *, as_json: bool
) -> None:
    """Print what changed in drawings, and draw it."""
    from millprep.cli.changes import described, draw, record

    files = {} if pictures is None else draw(changes, pictures)
    if as_json:
        click.echo(json.dumps(record(changes, files), indent=1))
        return
    for line in described(changes, names):
        click.echo(line)
    if pictures is not None:
        for file in files.values():
            click.echo(f"picture: {pictures / file}")
    elif not all(board.same for board in changes.boards):
        click.echo("a picture of every change: --pictures DIR")


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
