"""`millprep prepare`: a job file in, a set of programs out; or several jobs at the same time."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
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
from millprep.model.finding import Finding, Refusal
from millprep.workflow import set_on_disk
from millprep.workflow.set_on_disk import WishedSet

if TYPE_CHECKING:
    from millprep.model.set_of_programs import CutSet

OURS = 70
"""Exit code of a fault of millprep."""


@dataclass(frozen=True, slots=True)
class JobWish:
    """A job to prepare, the folder of its set, and how, as the options have it."""

    job_file: Path
    out: Path
    repair: bool = False
    effort: str = "default"
    replace: bool = False
    fresh: bool = False
    layout_file: Path | None = None
    skip: tuple[tuple[str, int], ...] = ()
    only: tuple[tuple[str, int], ...] = ()


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
    if out is None and (bare := [file for file in job_files if not file.suffix]):
        raise click.UsageError(f"{bare[0]} has no ending such as .toml; name a folder with --out")
    if len(job_files) > 1:
        given = {"--layout": layout_file, "--skip": skip, "--only": only}
        single = [name for name, value in given.items() if value]
        if single:
            raise click.UsageError(f"{single[0]} is of one job; prepare that job by itself")

    def folder_of(file: Path) -> Path:
        if out is None:
            return file.with_suffix("")
        return out / file.stem if len(job_files) > 1 else out

    wishes = [
        JobWish(file, folder_of(file), repair, effort, replace, fresh, layout_file, skip, only)
        for file in job_files
    ]
    if len(wishes) > 1:
        prepare_all(wishes, as_json)
    else:
        run(wishes[0], as_json)


def run(wish: JobWish, as_json: bool) -> None:
    """Prepare a job and say what came of it; where nothing has changed its set stays as it is."""
    wished_set = _wished_set(wish)
    # mistakes in the job come before all that is loaded to make a set
    with terminal.refusals(as_json=as_json, out=wish.out, explained=True):
        same = None if wished_set is None else wished_set.unchanged()
    if same is not None:
        click.echo("nothing has changed: the set stays as it is", err=True)
        _say(same.id, same.findings, same.lines, wish.out, as_json)
        return
    finish(
        lambda: _made(wish, wished_set, terminal.steps(terminal.PREPARE)),
        wish.out,
        as_json,
        wished_set,
    )


def _wished_set(wish: JobWish) -> WishedSet | None:
    """What decides the set, to be looked for among what is kept; None where nothing is kept."""
    from millprep import cache

    kept = None if wish.fresh else cache.user_cache()
    if kept is None:
        return None
    return WishedSet(
        kept, wish.job_file, wish.out, wish.layout_file,
        wish.repair, wish.effort, wish.skip, wish.only,
    )  # fmt: skip


def _made(wish: JobWish, wished_set: WishedSet | None, say: Callable[[str], None]) -> CutSet:
    import millprep
    from millprep import cache

    choice = chosen(wish.effort, wish.layout_file, wish.skip, wish.only)
    with cache.using(None if wished_set is None else wished_set.cache):
        return millprep.prepare(
            wish.job_file,
            wish.out,
            say,
            repair=wish.repair,
            choice=choice,
            replace_begun=wish.replace,
        )


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
    from millprep.model.finding import many
    from millprep.report.words import by_hand_words, running_words

    running, proofs = cut_set.running, cut_set.proofs
    pieces = many(sum(proof.pieces for proof in proofs), "copper piece")
    shorts = many(sum(proof.shorts for proof in proofs), "short")
    opens = many(sum(proof.opens for proof in proofs), "open")
    joins = many(sum(join.piece is not None for join in cut_set.joins), "join")
    return [
        f"{many(len(cut_set.copies), 'board')} on {many(len(cut_set.blanks), 'blank')}, "
        f"{many(len(cut_set.passes), 'pass', 'passes')}, "
        f"{many(len(cut_set.programs), 'program')}",
        *([] if running is None else [running_words(running, cut_set.machine, cut_set.time_fit)]),
        by_hand_words(by_hand(cut_set)),
        f"read back: {pieces}, {shorts}, {opens}, {joins}",
    ]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a job.

    Attributes:
        code: the exit code that it would have alone.
        line: the summary.
        set: the id of the set; None where there is none.
        fault: the trace of a fault of millprep.
    """

    code: int
    line: str
    findings: tuple[Finding, ...] = ()
    set: str | None = None
    fault: str = ""


def prepare_all(wishes: Sequence[JobWish], as_json: bool) -> None:
    """Prepare all, say what came of each, and end with the highest exit code.

    Raises:
        UsageError: when two sets would lie in one folder.
    """
    # loaded once for all processes
    import millprep.report.sheet
    import millprep.workflow.prepare  # noqa: F401
    from millprep.workflow.second_core import side_by_side

    (folder, count), *_ = Counter(wish.out.resolve() for wish in wishes).most_common()
    if count > 1:
        raise click.UsageError(
            f"the sets of {count} jobs would lie in {folder}; prepare them apart"
        )
    view = terminal.SideBySide([wish.job_file.stem for wish in wishes])
    results = side_by_side([partial(_outcome, wish) for wish in wishes], view.step, view.done)
    view.clear()
    outcomes = [
        result if isinstance(result, Outcome) else Outcome(OURS, "ended without a result")
        for result in results
    ]
    rows = []
    for wish, outcome in zip(wishes, outcomes, strict=True):
        if outcome.findings or outcome.fault:
            click.echo(f"{wish.job_file}:", err=True)
        terminal.say_findings(outcome.findings)
        if outcome.fault:
            click.echo(outcome.fault, err=True, nl=False)
        rows.append(
            {
                "job": str(wish.job_file), "out": str(wish.out), "exit_code": outcome.code,
                "set": outcome.set, "findings": [terminal.as_row(f) for f in outcome.findings],
            }
        )  # fmt: skip
    if as_json:
        click.echo(json.dumps(rows, indent=1))
    else:
        for wish, outcome in zip(wishes, outcomes, strict=True):
            click.echo(f"{wish.job_file}: {outcome.line}")
    worst = max(outcome.code for outcome in outcomes)
    if worst:
        raise SystemExit(worst)


def _outcome(wish: JobWish, say: Callable[[str], None]) -> Outcome:
    """Prepare one job; a fault is an outcome too."""
    import traceback  # loads slowly

    from millprep.report.words import minutes_words

    try:
        wished_set = _wished_set(wish)
        same = None if wished_set is None else wished_set.unchanged()
        if same is not None:
            line = f"nothing has changed: set {same.id} in {wish.out}, {same.lines[0]}"
            return Outcome(0, line, same.findings, same.id)
        made = _made(wish, wished_set, say)
    except Refusal as refusal:
        seen = refusal.exit_code in (1, 3)
        where = f"; see {set_on_disk.refused_folder(wish.out)}" if seen else ""
        return Outcome(refusal.exit_code, f"refused{where}", tuple(refusal.findings))
    except Exception:
        return Outcome(OURS, "a fault of millprep, not of your files", fault=traceback.format_exc())
    lines = summary(made)
    if wished_set is not None:
        wished_set.keep(made.id, made.findings, lines)
    assert made.running is not None, "programs on disk have their figures"
    minutes = minutes_words(made.running.seconds / 60)
    line = f"set {made.id} in {wish.out}, {lines[0]}, about {minutes} running"
    return Outcome(0, line, tuple(made.findings), made.id)
