"""Commands that look ahead and write no set: `millprep check`, `times` and `layout`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import chosen, fresh_option, json_option, layout_options

if TYPE_CHECKING:
    from millprep.workflow.times import WayRow


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@click.option(
    "--pictures",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Draw copper, findings, and the potential and current of every solved net into this "
    "folder.",
)
@click.option("--repair", is_flag=True, help="Mend damaged drawings, as prepare --repair does.")
@fresh_option
@json_option("Print the same as JSON.")
def check(job_file: Path, pictures: Path | None, repair: bool, fresh: bool, as_json: bool) -> None:
    """Check a job against all rules, and write no set.

    The rules are those of spacing, current, voltage drop and holes. Millprep plans the job, cuts
    the programs in simulation and throws them away. It then judges the copper that would be left
    by what the job says of its nets. The exit code is 1 when prepare would refuse the job.
    """
    import millprep
    from millprep import cache

    kept = None if fresh else cache.user_cache()
    with terminal.refusals(as_json=as_json), cache.using(kept):
        cut_set = millprep.check(job_file, terminal.steps(terminal.PREPARE), repair=repair)
    terminal.say_findings(cut_set.findings)
    if as_json:
        from millprep.report.report_model import check_row

        click.echo(json.dumps(check_row(cut_set), indent=1))
    else:
        from millprep.report.rules_words import rule_lines

        for line in rule_lines(cut_set):
            click.echo(line)
    if pictures is not None:
        from millprep.report.pictures import draw

        drawn = draw(cut_set, pictures)
        if not as_json:
            click.echo(f"{len(drawn)} pictures in {pictures}")
    if any(finding.severity == "stop" for finding in cut_set.findings):
        raise SystemExit(1)


HEADS = (
    "running", "by hand", "laps", "groove, mm", "gap", "worst", "flatness", "changes",
    "cutters and depths",
)  # fmt: skip


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@click.option("--repair", is_flag=True, help="Mend damaged drawings, as prepare --repair does.")
@json_option("Print the same as JSON.")
def times(job_file: Path, repair: bool, as_json: bool) -> None:
    """Compare ways to isolate a job by the minutes that they take.

    Every cutter of the job is tried at every depth that it bears, alone and with a narrower groove
    where the wide one does not fit. The fastest comes first. Below are cutters that the job does
    not have and that would be faster still. Nothing is written.

    With depth = "least time" in [isolation], prepare takes the first way.
    """
    from millprep.workflow.times import times as all_times

    with terminal.refusals(as_json=as_json):
        rows = all_times(job_file, repair=repair)
    if as_json:
        click.echo(json.dumps([_json(row) for row in rows], indent=1))
        return
    own = [row for row in rows if not row.preset]
    for line in _table(own):
        click.echo(line)
    click.echo(
        "running: isolation alone, with acceleration. by hand: changes of its cutters.\n"
        "gap: opened at the foot of the copper; worst: where the surface is low.\n"
        "flatness: how far the surface may be off."
    )
    if not own[0].as_written:
        click.echo(f"For the first way write in [isolation]:\n  {own[0].lines}")
    more = [row for row in rows if row.preset]
    if more:
        click.echo("Faster with a cutter that the job does not have:")
        for line in _table(more):
            click.echo(line)


def _cells(row: WayRow) -> tuple[str, ...]:
    way = row.way
    return (
        f"{row.running:.0f} min",
        f"{way.by_hand:.0f} min",
        " + ".join(map(str, way.laps)),
        " + ".join(f"{use.surface:.3f}" for use in way.uses),
        f"{row.gap:.3f}",
        f"{row.worst_gap:.3f}",
        f"{row.flatness:.2f}",
        str(row.changes),
        ", ".join(
            f"{use.cutter.name} {use.depth:g} deep, {length / 1000:.1f} m"
            for use, length in zip(way.uses, way.lengths, strict=True)
        )
        + ("   <- the job" if row.as_written else ""),
    )


def _table(rows: list[WayRow]) -> list[str]:
    """The rows in columns."""
    lines = [HEADS, *map(_cells, rows)]
    widths = [max(len(line[k]) for line in lines) for k in range(len(HEADS))]
    return [
        "  ".join(
            cell.ljust(width) if k == len(HEADS) - 1 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    ]


def _json(row: WayRow) -> dict[str, object]:
    way = row.way
    return {
        "minutes": round(row.running, 2),
        "by_hand": round(way.by_hand, 2),
        "uses": [
            {
                "cutter": use.cutter.name,
                "depth": use.depth,
                "laps": laps,
                "groove": round(use.surface, 4),
                "length": round(length, 1),
            }
            for use, laps, length in zip(way.uses, way.laps, way.lengths, strict=True)
        ],
        "gap": round(row.gap, 4),
        "worst_gap": round(row.worst_gap, 4),
        "flatness": round(row.flatness, 4),
        "changes": row.changes,
        "preset": row.preset or None,
        "as_written": row.as_written,
        "job_line": row.lines,
    }


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "-o",
    metavar="FILE.toml",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the layout to this file, with a picture and the offcut of every blank next to it.",
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
    from millprep.model.finding import limited
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
            click.echo(
                f"blank {blank.number}: {len(blank.boards)} boards fill "
                f"{100 * blank.covered:.1f} % of the usable area ({best}); "
                f"{used:.1f} mm of the length is used"
            )
        click.echo(f"{len(done.blanks)} blank(s); the minimum is {done.least}")
        for name in written:
            click.echo(f"wrote {name}")
    if done.laid.findings:
        raise SystemExit(1)
