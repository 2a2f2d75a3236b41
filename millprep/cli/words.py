"""How findings and results are said in a terminal."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path

import click

from millprep.files import writing
from millprep.model.begun import Begun
from millprep.model.finding import SEVERITIES, Finding, Refusal
from millprep.workflow import set_on_disk


def say_findings(findings: Sequence[Finding]) -> None:
    """All findings on stderr, the worst first, notes of one kind counted."""
    for finding in sorted(findings, key=lambda f: f.rank):
        click.echo(f"{SEVERITIES[finding.severity]}: {line_of(finding)}", err=True)


def line_of(finding: Finding) -> str:
    """A finding with its code and its place."""
    where = []
    if finding.board:
        where.append(finding.board + (f" copy {finding.copy}" if finding.copy else ""))
    if finding.blank:
        where.append(f"blank {finding.blank}")
    if finding.mill_pass:
        where.append(f"pass {finding.mill_pass}")
    if finding.file:
        where.append(finding.file + (f" line {finding.line}" if finding.line else ""))
    if finding.at and finding.frame:
        where.append(f"at {finding.at[0]:.3f}, {finding.at[1]:.3f} mm, {finding.frame} frame")
    place = f" ({', '.join(where)})" if where else ""
    return f"{finding.words} [{finding.code}]{place}"


@contextmanager
def refusals(
    *, as_json: bool = False, out: Path | None = None, explained: bool = False, **facts: object
) -> Iterator[None]:
    """Say a refusal of what is done within, and end with its exit code.

    Args:
        as_json: print its findings as JSON too.
        out: the folder to which nothing was written then.
        explained: whether a folder next to `out` explains a refused job.
        **facts: keys of that JSON before the findings.
    """
    try:
        if out is not None:
            put_back(out)
        yield
    except Refusal as refusal:
        if as_json:
            rows = [as_row(finding) for finding in refusal.findings]
            click.echo(json.dumps({**facts, "findings": rows}))
        say_findings(refusal.findings)
        if out is not None:
            seen = explained and refusal.exit_code in (1, 3)
            where = f"; see {set_on_disk.refused_folder(out)}" if seen else ""
            click.echo(f"refused, nothing was written to {out}{where}", err=True)
        raise SystemExit(refusal.exit_code) from None


def put_back(folder: Path) -> None:
    """Put back a set that a run which broke off had put aside, and say so.

    Raises:
        Refusal: exit code 1, when it cannot be put back.
    """
    if writing.restored(folder):
        words = f"{folder} was put back. A run that broke off had put it aside."
        click.echo(words, err=True)


def as_row(finding: Finding) -> dict[str, object]:
    """A finding as the report holds it."""
    row = asdict(replace(finding, message=finding.words))
    row["pass"] = row.pop("mill_pass")
    del row["more"]
    return row


def begun_rows(mark: Begun | None) -> list[dict[str, int]]:
    """The passes that a mark names, as JSON holds them."""
    passes = () if mark is None else mark.passes
    return [{"blank": blank, "pass": number} for blank, number in passes]


def somebody_answers() -> bool:
    """Whether a person at a terminal can answer questions."""
    return sys.stdin.isatty() and sys.stderr.isatty()
