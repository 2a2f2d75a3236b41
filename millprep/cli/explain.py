"""`millprep explain`: what a finding means."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from millprep.cli import terminal
from millprep.cli.options import json_option
from millprep.model.finding import usage


@click.command()
@click.argument("code", required=False)
@json_option("Print the same as JSON.")
def explain(code: str | None, as_json: bool) -> None:
    """Explain a finding by its code.

    You read what it means, why it matters, what to do, the source of the rule, and the page of
    the guide that says more. CODE is the word in brackets after every finding. Without it, all
    codes are listed.
    """
    import difflib  # loads slowly

    from millprep.report.guide import explanations, renamed

    known = explanations()
    if code is None:
        if as_json:
            click.echo(json.dumps([asdict(each) for each in known.values()], indent=1))
            return
        width = max(map(len, known))
        for each in known.values():
            click.echo(f"{each.code.ljust(width)}  {each.means}")
        return
    wanted = code.strip("[]").lower()
    explanation = known.get(renamed().get(wanted, wanted))
    if explanation is None:
        near = difflib.get_close_matches(code, known, n=3, cutoff=0.5)
        hint = f" Near to it: {', '.join(near)}." if near else ""
        message = f"There is no finding {code!r}.{hint} millprep explain lists all."
        with terminal.refusals():
            raise usage("code-unknown", message)
    if as_json:
        click.echo(json.dumps(asdict(explanation), indent=1))
        return
    click.echo(explanation.code)
    if explanation.was == wanted:
        click.echo(f"  renamed:         this finding was called {wanted} in earlier versions")
    click.echo(f"  what it means:   {explanation.means}")
    click.echo(f"  why it matters:  {explanation.matters}")
    click.echo(f"  what to do:      {explanation.do}")
    click.echo(f"  source:          {explanation.source}")
    if explanation.guide is not None:
        click.echo(f"  read on:         millprep guide {explanation.guide}")
