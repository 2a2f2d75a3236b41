"""`millprep prepare`: a job file in, a set of programs out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import (
    chosen,
    copies_options,
    fresh_option,
    layout_options,
    out_option,
    replace_option,
    summary_option,
)

if TYPE_CHECKING:
    from millprep.model.finding import Finding
    from millprep.model.set_of_programs import CutSet
    from millprep.workflow.identity import WishedSet


@click.command()
@click.argument(
    "job_files", metavar="JOB.toml...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@out_option(
    "Folder of the set. An older set there is replaced as a whole. Without it, the folder "
    "next to the job that has the job's name. Of several jobs, the folder that their sets lie in."
)
@click.option(
    "--repair",
    is_flag=True,
    help="Mend damaged drawings. Every change is listed. A change to a shape in use must be "
    "accepted in the job.",
)
@layout_options
@copies_options
@replace_option
@fresh_option
@summary_option
def prepare(
    job_files: tuple[Path, ...],
    out: Path | None,
    repair: bool,
    effort: str,
    layout_file: Path | None,
    skip: tuple[tuple[str, int], ...],
    only: tuple[tuple[str, int], ...],
    replace: bool,
    fresh: bool,
    as_json: bool,
) -> None:
    """Make the programs, pictures, sheet and report of a job, or of several.

    Several jobs are prepared at the same time, as many as the computer has cores. One that fails
    does not stop the others. The exit code is the highest of all.
    """
    from millprep.cli.side_by_side import JobWish, prepare_all

    if out is None and (bare := [file for file in job_files if not file.suffix]):
        raise click.UsageError(f"{bare[0]} has no ending such as .toml; name a folder with --out")
    if len(job_files) > 1:
        given = {"--layout": layout_file, "--skip": skip, "--only": only}
        single = [name for name, value in given.items() if value]
        if single:
            raise click.UsageError(f"{single[0]} is of one job; prepare that job by itself")
        wishes = [
            JobWish(
                file,
                file.with_suffix("") if out is None else out / file.stem,
                repair,
                effort,
                replace,
                fresh,
            )
            for file in job_files
        ]
        prepare_all(wishes, as_json)
        return
    (job_file,) = job_files
    run(
        job_file,
        job_file.with_suffix("") if out is None else out,
        as_json,
        repair=repair,
        replace=replace,
        fresh=fresh,
        effort=effort,
        layout_file=layout_file,
        skip=skip,
        only=only,
    )


def run(
    job_file: Path,
    out: Path,
    as_json: bool,
    *,
    repair: bool = False,
    replace: bool = False,
    fresh: bool = False,
    effort: str = "default",
    layout_file: Path | None = None,
    skip: tuple[tuple[str, int], ...] = (),
    only: tuple[tuple[str, int], ...] = (),
) -> None:
    """Prepare a job and say what came of it; where nothing has changed its set stays as it is."""
    import millprep
    from millprep import cache

    kept = None if fresh else cache.user_cache()
    wished_set: WishedSet | None = None
    if kept is not None:
        from millprep.workflow.identity import WishedSet

        wished_set = WishedSet(kept, job_file, out, layout_file, repair, effort, skip, only)
        same = wished_set.unchanged()
        if same is not None:
            click.echo("nothing has changed: the set stays as it is", err=True)
            _say(same.id, same.findings, same.lines, out, as_json)
            return

    def made() -> CutSet:
        wished = chosen(effort, layout_file, skip, only)
        say = terminal.steps(terminal.PREPARE)
        with cache.using(kept):
            return millprep.prepare(
                job_file, out, say, repair=repair, choice=wished, replace_begun=replace
            )

    finish(made, out, as_json, wished_set)


def finish(
    make: Callable[[], CutSet], out: Path, as_json: bool, wished_set: WishedSet | None = None
) -> None:
    """Make a set and say what came of it."""
    with terminal.refusals(as_json=as_json, out=out, explained=True):
        cut_set = make()
    lines = summary(cut_set)
    if wished_set is not None:
        wished_set.keep(cut_set.id, cut_set.findings, lines)
    _say(cut_set.id, cut_set.findings, lines, out, as_json)


def _say(
    id: str,  # noqa: A002
    findings: Sequence[Finding],
    lines: Sequence[str],
    out: Path,
    as_json: bool,
) -> None:
    """Say what a set is."""
    terminal.say_findings(findings)
    if as_json:
        click.echo((out / "report.json").read_text("utf-8"), nl=False)
        return
    click.echo(f"set {id} in {out}")
    for line in lines:
        click.echo(line)
    click.echo(f"look at {out / 'sheet.html'} and {out / 'previews'} before you cut")


def summary(cut_set: CutSet) -> list[str]:
    """What a set holds, how long it takes, and what was read back."""
    # loaded when there is a set, so that helps are quick
    from millprep.model.by_hand import by_hand
    from millprep.report.words import by_hand_words, running_words

    pieces, running = sum(p.pieces for p in cut_set.proofs), cut_set.running
    return [
        f"{len(cut_set.copies)} board(s) on {len(cut_set.blanks)} blank(s), "
        f"{len(cut_set.passes)} pass(es), {len(cut_set.programs)} programs",
        *([] if running is None else [running_words(running, cut_set.machine, cut_set.time_fit)]),
        by_hand_words(by_hand(cut_set)),
        f"read back: {pieces} copper pieces, {sum(p.shorts for p in cut_set.proofs)} shorts, "
        f"{sum(p.opens for p in cut_set.proofs)} opens, "
        f"{sum(1 for j in cut_set.joins if j.piece is not None)} joins",
    ]
