"""`millprep compare`: what changed between sets, or between drawings, in words, as JSON, drawn."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import json_option

if TYPE_CHECKING:
    from millprep.geometry.path import Point
    from millprep.model.board import Hole
    from millprep.report.drawing_pictures import ChangesPicture
    from millprep.workflow.compare import Amount, Compared, TaskCompared
    from millprep.workflow.drawing_changes import (
        BoardChange,
        CopperChange,
        DrawingsCompared,
        HoleChange,
    )


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One change: what it is, how much, what it belongs to, and where, drawing frame, mm."""

    what: str
    amount: str
    words: str
    at: Point | None


def described(compared: DrawingsCompared, names: tuple[Path, Path]) -> list[str]:
    """Every board with its numbered changes, other keys, and what must be cut again."""
    lines: list[str] = []
    for board in compared.boards:
        lines += _board(board, names)
    if compared.keys:
        lines.append("the jobs differ as well, which may change the cuts of every board:")
        lines += [f"  {key.key}: {key.after} (before: {key.before})" for key in compared.keys]
        lines.append("to see by how much, prepare the job and compare the sets")
    return [*lines, _again(compared)]


def _board(board: BoardChange, names: tuple[Path, Path]) -> list[str]:
    if board.before is None or board.after is None:
        return [f"{board.board}: only in {names[0 if board.after is None else 1]}"]
    if board.shift is not None:
        x, y = board.shift
        return [f"{board.board}: the same, {x:.3f}, {y:.3f} mm from where it was drawn before"]
    if board.same:
        return [f"{board.board}: the same"]
    rows = [
        (f"{n:>3}", line.what, line.amount, _place(line.at), line.words)
        for n, line in enumerate(change_lines(board), 1)
    ]
    wide = [max(len(row[k]) for row in rows) for k in range(5)]
    return [
        f"{board.board}: changed",
        *("  ".join(c.ljust(w) for c, w in zip(row, wide, strict=True)).rstrip() for row in rows),
    ]


def _place(at: Point | None) -> str:
    return "" if at is None else f"at {at[0]:.2f}, {at[1]:.2f}"


def change_lines(board: BoardChange) -> list[ChangeLine]:
    """The changes of a board in the order of their numbers."""
    lines = [
        *(_copper(change, "copper added") for change in board.added),
        *(_copper(change, "copper removed") for change in board.removed),
        *(_hole(change) for change in board.holes),
    ]
    if board.edge is not None:
        edge = board.edge
        sizes = [f"{wide:.2f} × {high:.2f}" for wide, high in (edge.before, edge.after)]
        size = f"{sizes[1]} mm" + (f", before {sizes[0]}" if sizes[0] != sizes[1] else "")
        words = f"{edge.added:.2f} mm² added, {edge.removed:.2f} mm² removed"
        lines.append(ChangeLine("edge changed", size, words, None))
    return lines


def _copper(change: CopperChange, what: str) -> ChangeLine:
    pieces = f"on {', '.join(change.pieces)}"
    if change.joins:
        several = " and ".join(change.joins)
        added = what == "copper added"
        pieces += f": joins {several} of before" if added else f": {several} are separate now"
    return ChangeLine(what, f"{change.area:.2f} mm²", pieces, change.at)


def _hole(change: HoleChange) -> ChangeLine:
    before, after = change.before, change.after
    hole = after or before
    assert hole is not None, "a change has a hole"
    words = f"on {hole.piece}" if hole.piece else "on no copper"
    if before is not None and after is not None:
        if change.what == "moved":
            words += f", from {before.at[0]:.2f}, {before.at[1]:.2f}"
        else:
            words += f", {_size(before)} before"
    kind = "hole" if hole.end is None else "slot"
    return ChangeLine(f"{kind} {change.what}", _size(hole), words, hole.at)


def _size(hole: Hole) -> str:
    if hole.end is None:
        return f"{hole.diameter:.2f} mm"
    return f"{hole.spine.length + hole.diameter:.2f} × {hole.diameter:.2f} mm"


def _again(compared: DrawingsCompared) -> str:
    copies: dict[str, list[str]] = {}
    for name, copy in compared.cut_again:
        copies.setdefault(name, []).append(str(copy))
    if not copies:
        return "no board needs to be cut again for its drawing"
    listed = (
        f"{name} {'copy' if len(numbers) == 1 else 'copies'} {', '.join(numbers)}"
        for name, numbers in copies.items()
    )
    return f"cut again: {'; '.join(listed)}"


def record(compared: DrawingsCompared, pictures: dict[str, str]) -> dict[str, object]:
    """The same as plain data; `pictures` are the files by board."""
    return {
        "boards": [_record(board, pictures.get(board.board)) for board in compared.boards],
        "keys": [
            {"key": key.key, "before": key.before, "after": key.after} for key in compared.keys
        ],
        "cut_again": [{"board": name, "copy": copy} for name, copy in compared.cut_again],
    }


def _record(board: BoardChange, picture: str | None) -> dict[str, object]:
    only = 1 if board.after is None else 2 if board.before is None else None
    edge = board.edge
    return {
        "board": board.board,
        "only_in": only,
        "same": board.same,
        "shift": board.shift,
        "copper_added": [_copper_record(change) for change in board.added],
        "copper_removed": [_copper_record(change) for change in board.removed],
        "holes": [
            {
                "what": change.what,
                "before": _hole_record(change.before),
                "after": _hole_record(change.after),
            }
            for change in board.holes
        ],
        "edge": None
        if edge is None
        else {
            "before": edge.before, "after": edge.after, "added": edge.added,
            "removed": edge.removed,
        },
        "picture": picture,
    }  # fmt: skip


def _copper_record(change: CopperChange) -> dict[str, object]:
    return {
        "area": change.area, "at": change.at, "pieces": change.pieces, "joins": change.joins,
    }  # fmt: skip


def _hole_record(hole: Hole | None) -> dict[str, object] | None:
    if hole is None:
        return None
    at, end = (place and tuple(round(value, 4) for value in place) for place in (hole.at, hole.end))
    return {"at": at, "end": end, "diameter": round(hole.diameter, 4), "piece": hole.piece}


def draw(compared: DrawingsCompared, folder: Path) -> dict[str, str]:
    """Draw every board that changed; the names of the PNG files by board."""
    from millprep.report.drawing_pictures import draw_drawing, stem

    changed = [b for b in compared.boards if not b.same and b.before and b.after]
    pictures = [
        _picture(board, stem(n, board.board, "changes").replace("layer", "board", 1))
        for n, board in enumerate(changed, 1)
    ]
    files = draw_drawing(pictures, folder)
    return {board.board: file for board, file in zip(changed, files, strict=True)}


def _picture(board: BoardChange, name: str) -> ChangesPicture:
    import numpy as np
    import shapely

    from millprep.report.drawing_pictures import ChangesPicture
    from millprep.report.words import plain

    assert board.before is not None
    assert board.after is not None
    old, new = (
        shapely.union_all([piece.shape for piece in drawn.pieces])
        for drawn in (board.before, board.after)
    )
    gone = [change.before for change in board.holes if change.before is not None]
    come = [change.after for change in board.holes if change.after is not None]
    lines = change_lines(board)
    return ChangesPicture(
        name,
        f"{plain(board.board, 60)} · what changed",
        _counts(lines),
        kept=(shapely.intersection(old, new),),
        added=tuple(change.shape for change in board.added),
        removed=tuple(change.shape for change in board.removed),
        outlines=(board.before.outline, board.after.outline)
        if board.edge
        else (board.after.outline,),
        holes=tuple(hole for hole in board.after.holes if hole not in come),
        new_holes=tuple(come),
        old_holes=tuple(gone),
        shifts=tuple(
            np.array([change.before.at, change.after.at])
            for change in board.holes
            if change.before and change.after and change.what == "moved"
        ),
        numbers=tuple((str(n), line.at) for n, line in enumerate(lines, 1) if line.at),
    )


def _counts(lines: Sequence[ChangeLine]) -> str:
    """How many changes of each kind there are."""
    counts = Counter(line.what for line in lines)
    return ", ".join(f"{count} × {what}" for what, count in counts.items())


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
        with terminal.refusals(as_json=as_json):
            changes = millprep.compare_drawings(first, second)
        _say_changes(changes, (first, second), pictures, as_json=as_json)
        return
    if pictures is not None:
        raise click.UsageError(
            "two sets are compared by their cuts; name a job for --pictures, such as the "
            f"one in {second / 'job'}"
        )
    with terminal.refusals(as_json=as_json):
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
    from millprep.model.finding import many

    if amount.holes:
        return many(amount.holes, "hole")
    return f"{many(amount.moves, 'move')} ({amount.length:.1f} mm)"
