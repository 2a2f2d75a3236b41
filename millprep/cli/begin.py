"""`millprep begin`: a set marked as begun."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import blank_option, json_option, pass_option, set_argument


@click.command()
@set_argument
@pass_option("The pass that is cut now.")
@blank_option
@json_option("Print the mark as JSON.")
def begin(folder: Path, number: int, blank: int, as_json: bool) -> None:
    """Mark a set as begun, before its first cut.

    From then on a command replaces the set in its folder only with --replace, because a new
    set may not fit what is cut already. The mark is a file, begun.toml. It changes nothing in
    the set.
    """
    from millprep.at_machine.begin import begin as mark

    with terminal.refusals(as_json=as_json):
        done, new = mark(folder, blank, number)
    if as_json:
        click.echo(json.dumps({"set": done.set, "begun": terminal.begun_rows(done), "new": new}))
        return
    before = "" if new else f"pass {number} of blank {blank} was marked already; "
    click.echo(f"{before}set {done.set} in {folder} is begun: {done.words}")
