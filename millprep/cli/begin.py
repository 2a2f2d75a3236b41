"""`millprep begin`: a set marked as begun."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import words
from millprep.cli.of_set import blank_option
from millprep.model.finding import Refusal


@click.command()
@click.argument("folder", metavar="OUT", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--pass", "number", required=True, metavar="K", type=int, help="The pass that is cut now."
)
@blank_option
@click.option("--json", "as_json", is_flag=True, help="Print the mark as JSON.")
def begin(folder: Path, number: int, blank: int, as_json: bool) -> None:
    """Mark a set as begun, before its first cut.

    From then on a command replaces the set in its folder only with --replace, because a new
    set may not fit what is cut already. The mark is a file, begun.toml. It changes nothing in
    the set.
    """
    from millprep.at_machine.begin import begin as mark

    try:
        done, new = mark(folder, blank, number)
    except Refusal as refusal:
        if as_json:
            click.echo(json.dumps({"findings": [words.as_row(f) for f in refusal.findings]}))
        words.say_findings(refusal.findings)
        raise SystemExit(refusal.exit_code) from None
    if as_json:
        click.echo(json.dumps({"set": done.set, "begun": words.begun_rows(done), "new": new}))
        return
    before = "" if new else f"pass {number} of blank {blank} was marked already; "
    click.echo(f"{before}set {done.set} in {folder} is begun: {done.words}")
