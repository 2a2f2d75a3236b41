"""Several jobs prepared at the same time: what is said of each, in the order they were named."""

from __future__ import annotations

import json
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import chosen
from millprep.model.finding import Finding, Refusal
from millprep.workflow import set_on_disk

OURS = 70
"""Exit code of a fault of millprep."""


@dataclass(frozen=True, slots=True)
class JobWish:
    """A job to prepare, the folder of its set, and how."""

    job_file: Path
    out: Path
    repair: bool
    effort: str
    replace: bool
    fresh: bool


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
    import millprep
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
            click.echo(outcome.fault, err=True)
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
    import millprep
    from millprep import cache
    from millprep.cli.prepare import summary
    from millprep.report.words import minutes_words
    from millprep.workflow.identity import WishedSet

    kept = None if wish.fresh else cache.user_cache()
    wished_set: WishedSet | None = None
    try:
        if kept is not None:
            wished_set = WishedSet(
                kept, wish.job_file, wish.out, None, wish.repair, wish.effort, (), ()
            )
            same = wished_set.unchanged()
            if same is not None:
                line = f"nothing has changed: set {same.id} in {wish.out}, {same.lines[0]}"
                return Outcome(0, line, same.findings, same.id)
        with cache.using(kept):
            made = millprep.prepare(
                wish.job_file,
                wish.out,
                say,
                repair=wish.repair,
                choice=chosen(wish.effort, None),
                replace_begun=wish.replace,
            )
    except Refusal as refusal:
        seen = refusal.exit_code in (1, 3)
        where = f"; see {set_on_disk.refused_folder(wish.out)}" if seen else ""
        return Outcome(refusal.exit_code, f"refused{where}", tuple(refusal.findings))
    except Exception:
        return Outcome(OURS, "a fault of millprep, not of your files", fault=traceback.format_exc())
    if wished_set is not None:
        wished_set.keep(made.id, made.findings, summary(made))
    line = (
        f"set {made.id} in {wish.out}, {len(made.copies)} board(s) on {len(made.blanks)} blank(s), "
        f"{len(made.passes)} pass(es), {len(made.programs)} programs"
    )
    if made.running is not None:
        line += f", about {minutes_words(made.running.seconds / 60)} running"
    return Outcome(0, line, tuple(made.findings), made.id)
