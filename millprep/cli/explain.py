"""`millprep explain`: what a finding means."""

from __future__ import annotations

import difflib
import json
from dataclasses import asdict

import click

from millprep.cli import words
from millprep.model.finding import Finding, Refusal


@click.command()
@click.argument("code", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
def explain(code: str | None, as_json: bool) -> None:
    """Tell what a finding means, why it matters, what to do, and the rule's source.

    CODE stands in brackets behind every finding. Without one, all codes are listed.
    """
    from millprep.report.explain import explanations

    known = explanations()
    if code is None:
        if as_json:
            click.echo(json.dumps([asdict(one) for one in known.values()], indent=1))
            return
        width = max(map(len, known))
        for one in known.values():
            click.echo(f"{one.code.ljust(width)}  {one.means}")
        return
    found = known.get(code.strip("[]").lower())
    if found is None:
        near = difflib.get_close_matches(code, known, n=3, cutoff=0.5)
        hint = f" Near to it: {', '.join(near)}." if near else ""
        message = f"There is no finding {code!r}.{hint} millprep explain lists all."
        words.refuse(
            Refusal([Finding(code="code-unknown", severity="stop", message=message)], exit_code=2)
        )
        return
    if as_json:
        click.echo(json.dumps(asdict(found), indent=1))
        return
    click.echo(found.code)
    click.echo(f"  what it means:   {found.means}")
    click.echo(f"  why it matters:  {found.matters}")
    click.echo(f"  what to do:      {found.do}")
    click.echo(f"  source:          {found.source}")
