"""`millprep verify`: a finished set proved again."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import job_option, json_option, set_argument


@click.command()
@set_argument
@job_option
@json_option("Print the results as JSON.")
def verify(folder: Path, job_file: Path | None, as_json: bool) -> None:
    """Prove a finished set again, before you cut it.

    Every file of SET is checked against its hash. Then millprep reads the programs, checks their
    motion and cuts the blanks in simulation. The exit code is 1 when anything differs from what
    was written, or would do harm.
    """
    import millprep

    with terminal.refusals(as_json=as_json, good=False):
        done = millprep.verify_set(folder, job_file, terminal.steps(terminal.VERIFY))
    terminal.say_findings(done.findings)
    if as_json:
        boards = [
            {
                "name": placement.board.name,
                "copy": placement.copy,
                "pieces": proof.pieces,
                "shorts": proof.shorts,
                "opens": proof.opens,
                "narrowest_gap": proof.narrowest_gap,
                "narrowest_copper": proof.narrowest_copper,
            }
            for placement, proof in zip(done.layout.placements, done.proofs, strict=False)
        ]
        rows = [terminal.as_row(f) for f in done.findings]
        result = {"set": done.id, "good": done.good, "files": done.files, "boards": boards}
        result |= {"begun": terminal.begun_rows(done.begun)}
        click.echo(json.dumps(result | {"findings": rows}))
    elif done.good:
        click.echo(f"set {done.id} in {folder}: {done.files} files as they were written")
        if done.resumed:
            click.echo("it goes on where a cutter broke, and moves by the rules")
        else:
            pieces = sum(proof.pieces for proof in done.proofs)
            click.echo(f"{pieces} copper pieces, 0 shorts, 0 opens")
    if not done.good:
        click.echo(f"refused: do not cut {folder}", err=True)
        raise SystemExit(1)
