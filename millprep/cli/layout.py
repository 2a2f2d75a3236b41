"""`millprep layout`: where the boards of a job lie, and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import chosen, json_option, layout_options, out_option


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@out_option(
    "Write the layout to this file, with a picture and the offcut of every blank next to it.",
    "FILE.toml",
    file=True,
)
@layout_options
@click.option("--repair", is_flag=True, help="Mend damaged drawings, as prepare --repair does.")
@json_option("Print places and figures as JSON.")
def layout(
    job_file: Path,
    out: Path | None,
    effort: str,
    layout_file: Path | None,
    repair: bool,
    as_json: bool,
) -> None:
    """Place the boards of a job on its blanks.

    You can edit the file and name it in the job as [layout] file, or with --layout. Millprep
    checks its places and keeps them. The exit code is 1 when a board has no place.
    """
    import millprep
    from millprep.model.finding import limited, many
    from millprep.workflow.lay_out import row, write

    with terminal.refusals(as_json=as_json):
        choice = chosen(effort, layout_file)
        done = millprep.lay_out(job_file, terminal.steps(), choice=choice, repair=repair)
        stored = done.plan.layout.file
        kept = {layout_file, stored.file if stored is not None else None}
        written: tuple[str, ...] = ()
        if out is not None:
            same = out.resolve() in {path.resolve() for path in kept if path is not None}
            written = tuple(map(str, write(done, out, replace=same)))
    findings = limited((*done.laid.findings, *done.laid.notes))
    terminal.say_findings(findings)
    if as_json:
        result = {**row(done), "findings": [terminal.as_row(f) for f in findings]}
        click.echo(json.dumps({**result, "files": list(written)}, indent=1))
    else:
        for blank, used, most in zip(done.blanks, done.used, done.most, strict=True):
            best = (
                "the best possible"
                if blank.covered >= most - 0.0005
                else f"no layout fills more than {100 * most:.1f} %"
            )
            count = len(blank.boards)
            click.echo(
                f"blank {blank.number}: {many(count, 'board')} fill{'s' if count == 1 else ''} "
                f"{100 * blank.covered:.1f} % of the usable area ({best}); "
                f"{used:.1f} mm of the length is used"
            )
        click.echo(f"{many(len(done.blanks), 'blank')}; the minimum is {done.least}")
        for name in written:
            click.echo(f"wrote {name}")
    if done.laid.findings:
        raise SystemExit(1)
