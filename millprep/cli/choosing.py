"""Options about where boards lie, shared by the commands that lay out."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from millprep.workflow.laying import Choice

COPIES = re.compile(r"(.+):([1-9][0-9]*)")

Command = Callable[..., Any]


def _copies(ctx: click.Context, param: click.Parameter, value: Sequence[str]) -> Any:
    """Every BOARD:COPY as a name and a number."""
    copies = []
    for text in value:
        match = COPIES.fullmatch(text)
        if match is None:
            words = f"{text!r} is no BOARD:COPY, such as lamp:2."
            raise click.BadParameter(words, ctx=ctx, param=param)
        copies.append((match[1], int(match[2])))
    return tuple(copies)


def layout_options(command: Command) -> Command:
    """Effort and stored layout."""
    command = click.option(
        "--layout",
        "layout_file",
        metavar="FILE",
        type=click.Path(path_type=Path, exists=True, dir_okay=False),
        help="Keep the places of a layout that `millprep layout` wrote. New copies are added.",
    )(command)
    return click.option(
        "--effort",
        type=click.Choice(["low", "default", "high"]),
        default="default",
        show_default=True,
        help="How long to search for a tight layout. The same effort finds the same layout.",
    )(command)


def copies_options(command: Command) -> Command:
    """Which copies are cut."""
    command = click.option(
        "--only",
        multiple=True,
        callback=_copies,
        metavar="BOARD:COPY",
        help="Make only this copy. Can be repeated.",
    )(command)
    return click.option(
        "--skip",
        multiple=True,
        callback=_copies,
        metavar="BOARD:COPY",
        help="Leave this copy out. The cuts of all others stay as they are. Can be repeated.",
    )(command)


def chosen(
    effort: Any,
    layout_file: Path | None,
    skip: Sequence[tuple[str, int]] = (),
    only: Sequence[tuple[str, int]] = (),
) -> Choice:
    """The choice that the options make."""
    from millprep.workflow.inputs import stored
    from millprep.workflow.laying import Choice

    return Choice(
        effort,
        None if layout_file is None else stored(layout_file, layout_file.name),
        tuple(skip),
        tuple(only),
        os.cpu_count() or 1 if effort == "high" else 1,
    )
