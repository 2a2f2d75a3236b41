"""`millprep times`: ways to isolate a job, with the minutes that each takes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import json_option

if TYPE_CHECKING:
    from millprep.workflow.times import WayRow

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
    not have and that would be faster still, or would fit where none of the job does. Nothing is
    written.

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
    fits = own[0].way.fits
    if fits and not own[0].as_written:
        click.echo(f"For the first way write in [isolation]:\n  {own[0].lines}")
    more = [row for row in rows if row.preset]
    if more:
        better = "Faster" if fits else "Ways that fit,"
        click.echo(f"{better} with a cutter that the job does not have:")
        for line in _table(more):
            click.echo(line)


def _cells(row: WayRow) -> tuple[str, ...]:
    way = row.way
    remarks = ["the job"] if row.as_written else []
    remarks += [] if way.fits else ["does not fit everywhere"]
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
        + (f"   <- {', '.join(remarks)}" if remarks else ""),
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
        "fits": way.fits,
        "preset": row.preset or None,
        "as_written": row.as_written,
        "job_line": row.lines,
    }
