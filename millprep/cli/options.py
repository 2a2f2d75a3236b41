"""Options that commands share: those on a finished set, and those about where boards lie."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from millprep.cli import terminal

if TYPE_CHECKING:
    from millprep.workflow.laying import Choice

Command = Callable[..., Any]
Option = Callable[[Command], Command]


job_option = click.option(
    "--job",
    "job_file",
    metavar="JOB.toml",
    type=click.Path(path_type=Path),
    help="Take this job instead of the one that the set keeps.",
)


def _there(ctx: click.Context, param: click.Parameter, value: Any) -> Any:  # noqa: ARG001
    """The folder of a set, put back where a run that broke off had put it aside."""
    with terminal.refusals():
        terminal.put_back(value)
    return value


set_argument = click.argument(
    "folder",
    metavar="SET",
    type=click.Path(path_type=Path, file_okay=False),
    callback=_there,
)


def pass_option(words: str) -> Option:
    """The number of a pass; `words` say which."""
    return click.option("--pass", "number", required=True, metavar="K", type=int, help=words)


def json_option(words: str) -> Option:
    """Whether the results are printed as JSON; `words` say what."""
    return click.option("--json", "as_json", is_flag=True, help=words)


summary_option = json_option("Print report.json instead of a summary.")

blank_option = click.option(
    "--blank", default=1, show_default=True, metavar="N", help="The blank's number."
)


def out_option(
    words: str, metavar: str = "DIR", *, file: bool = False, required: bool = False
) -> Option:
    """The folder, or the file, that is written; `words` say what it holds."""
    kind = click.Path(path_type=Path, file_okay=file, dir_okay=not file)
    return click.option("--out", "-o", required=required, metavar=metavar, type=kind, help=words)


new_set_option = out_option("Folder of the new set. The old set stays.", "NEW", required=True)


replace_option = click.option(
    "--replace",
    is_flag=True,
    help="Replace a set that is marked as begun. What is cut already may not fit the new one.",
)


fresh_option = click.option(
    "--fresh",
    is_flag=True,
    help="Compute everything anew, and keep nothing for later runs.",
)


COPIES = re.compile(r"(.+):([1-9][0-9]*)")


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
    from millprep.workflow import second_core
    from millprep.workflow.inputs import stored
    from millprep.workflow.laying import Choice

    return Choice(
        effort,
        None if layout_file is None else stored(layout_file, layout_file.name),
        tuple(skip),
        tuple(only),
        second_core.workers() if effort == "high" else 1,
    )
