"""`millprep show`: a set's sheet in the browser."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import json_option
from millprep.model.finding import usage
from millprep.workflow.set_on_disk import load_mark


@click.command()
@click.argument("folder", metavar="SET", type=click.Path(path_type=Path))
@json_option("Print the path of the sheet and open nothing.")
def show(folder: Path, as_json: bool) -> None:
    """Open the sheet of a set: the review, and the plan to print.

    Without a display only its path is printed. The sheet is a single file that needs only a
    browser. You can copy it anywhere.
    """
    sheet = folder / "sheet.html"
    if not (folder / "report.json").is_file() or not sheet.is_file():
        message = f"{folder} holds no set. Name the folder that a set was prepared in."
        with terminal.refusals():
            raise usage("no-set", message)
    with terminal.refusals():
        mark = load_mark(folder)
    if as_json:
        shown = {"sheet": str(sheet.resolve()), "begun": terminal.begun_rows(mark)}
        click.echo(json.dumps(shown))
        return
    click.echo(str(sheet))
    if has_display():
        if mark is not None:
            click.echo(f"begun: {mark.words} of set {mark.set}", err=True)
        click.launch(str(sheet))


def has_display() -> bool:
    """Whether a browser can show itself; only Linux and its kin may lack a display."""
    if sys.platform in ("darwin", "win32", "cygwin"):
        return True
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
