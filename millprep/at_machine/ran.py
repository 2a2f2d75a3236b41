"""Programs that ran: marked in their set, added to the log of the bench, and followed by estimates.

The marks and both logs are no part of a set; no cut depends on them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from millprep import job
from millprep.at_machine.begin import begin_up_to, known_pass, own_mark
from millprep.at_machine.bench_log import BENCH_LOG, BenchRun, CutterMetres, log_of, now, use_of
from millprep.job import copies
from millprep.model.begun import DONE, LOG, ProgramRun
from millprep.model.finding import Refusal, usage
from millprep.model.job.job import JobPlan
from millprep.model.machine_time import LoggedRun, TimeFit
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.report.set_rows import ProgramRow
from millprep.workflow.set_on_disk import RUNS
from millprep.workflow.source_set import find_job
from millprep.workflow.time_log import TIME_LOG

MOST = 4.0
"""A run that takes so many times its estimate, or so little of it, is taken for a mistake."""


@dataclass(frozen=True, slots=True)
class Logged:
    """A run with the log that it went to.

    Attributes:
        run: what was added.
        file: the log.
        named: whether the job names it, so that later estimates follow it.
        fit: what all runs of the machine in the log show.
    """

    run: LoggedRun
    file: Path
    named: bool
    fit: TimeFit


@dataclass(frozen=True, slots=True)
class BenchLogged:
    """What went into the log of the bench: the log, and the use of the cutters that ran."""

    file: Path
    cutters: tuple[CutterMetres, ...]


@dataclass(frozen=True, slots=True)
class RunsMarked:
    """What was marked.

    Attributes:
        runs: programs that are marked now and were not before.
        already: programs that were marked before.
        time: the log of the machine's time; None without minutes.
        bench: the log of the bench; None where the job has none, or was not found.
        job_missing: whether the job has a bench and was not found, so that its log was left out.
    """

    runs: tuple[ProgramRun, ...]
    already: tuple[ProgramRow, ...]
    time: Logged | None
    bench: BenchLogged | None
    job_missing: bool


def mark_run(
    folder: Path,
    place: tuple[int, int] | None,
    program: int | None = None,
    *,
    cutter: str | None = None,
    minutes: float | None = None,
    again: bool = False,
    job_file: Path | None = None,
) -> RunsMarked:
    """Mark a pass or the spoilboard, or one program of it, as run, and keep what it took.

    Args:
        folder: of the set.
        place: blank and pass; None for the spoilboard.
        program: its place there, from 1; None for all of them together.
        cutter: the cutter that was used, where it is not called as in the job.
        minutes: that programs ran, without a person's changes of cutters.
        again: whether programs ran once more that are marked already.
        job_file: the set's job; None looks for it in the working folder and next to the set.

    Raises:
        Refusal: exit code 2, for a pass or a program that there is not, for minutes that cannot be
            right, and for a mark or log that cannot be read or written.
    """
    source = report_file.read(folder)
    own_mark(folder, source)
    rows = _programs(source, place, program)
    if cutter is not None and program is None and len({row.cutter for row in rows}) > 1:
        message = "That takes several cutters. Name the program with --program as well."
        raise usage("ran-which-program", message)
    known = {run.program for run in RUNS.load(folder / DONE)}
    new = [row for row in rows if again or (row.file, row.cutter) not in known]
    time = None if minutes is None else _log_time(source, folder, place, program, minutes, job_file)
    when = now()
    measured = minutes if len(rows) == 1 else None
    fitted = cutter if cutter != rows[0].cutter else None
    runs = tuple(
        ProgramRun(source.set, row.file, row.cutter, when, fitted, measured) for row in new
    )
    whole = sum(row.seconds or 0.0 for row in rows)
    shares = {
        (row.file, row.cutter): minutes * (row.seconds or 0.0) / whole
        for row in rows
        if minutes is not None and whole > 0
    }
    bench, missing = _mark(source, folder, runs, shares, job_file)
    return RunsMarked(runs, tuple(row for row in rows if row not in new), time, bench, missing)


def mark_from(folder: Path, file: Path, job_file: Path | None = None) -> RunsMarked:
    """Mark what a file says has run, such as one that the sheet saved.

    Raises:
        Refusal: exit code 2, for a file of another set, and as `mark_run`.
    """
    source = report_file.read(folder)
    own_mark(folder, source)
    rows = [*source.spoilboard, *(row for each in source.passes for row in each.programs)]
    by_program = {(row.file, row.cutter): row for row in rows}
    given = [run for run in RUNS.rows(RUNS.raw(file), file) if run.set == source.set]
    strangers = [run for run in given if run.program not in by_program]
    if not given or strangers:
        words = f"names {strangers[0].file}, which is no program of" if given else "marks none of"
        message = f"{file.name} {words} set {source.set}. Take the file that its sheet saved."
        raise usage("ran-another-set", message, file)
    known = {run.program for run in RUNS.load(folder / DONE)}
    runs = tuple(run for run in given if run.program not in known)
    already = tuple(by_program[run.program] for run in given if run.program in known)
    minutes = {run.program: run.minutes for run in runs if run.minutes is not None}
    bench, missing = _mark(source, folder, runs, minutes, job_file)
    return RunsMarked(runs, already, None, bench, missing)


ProgramKey = tuple[str, str]
"""A program by its file and its cutter."""


def _mark(
    source: Report,
    folder: Path,
    runs: Sequence[ProgramRun],
    minutes: Mapping[ProgramKey, float],
    job_file: Path | None,
) -> tuple[BenchLogged | None, bool]:
    """Write marks, and what cutters have cut into the log of the bench; whether that is missing.

    `minutes` are what programs took; of a whole pass, each its share by its estimate.
    """
    if not runs:
        return None, False
    plan = _plan(source, folder, job_file)
    bench = None if plan is None or plan.bench is None else log_of(plan.bench.file)
    if bench is not None:
        # so that nothing is marked where the log cannot follow
        BENCH_LOG.load(bench)
    before = {run.program for run in RUNS.load(folder / DONE)}
    RUNS.add(folder / DONE, runs)
    for each in source.passes:
        if any(run.program == (row.file, row.cutter) for run in runs for row in each.programs):
            begin_up_to(folder, source, *each.pass_id)
    if plan is None or bench is None:
        return None, plan is None and _has_bench(folder)
    BENCH_LOG.add(bench, _bench_runs(source, before, runs, minutes))
    lives = {cutter.name: cutter.life for cutter in plan.cutters}
    used = {run.by for run in runs}
    use = use_of(BENCH_LOG.load(bench), lives)
    return BenchLogged(bench, tuple(c for c in use.cutters if c.cutter in used)), False


def _bench_runs(
    source: Report,
    before: Collection[ProgramKey],
    runs: Sequence[ProgramRun],
    minutes: Mapping[ProgramKey, float],
) -> Iterator[BenchRun]:
    """Rows for the log of the bench; the run that finishes a blank makes its boards."""
    cutting = {
        (row.file, row.cutter): (each.blank, row)
        for each in source.passes
        for row in each.programs
        if row.work not in ("dry-run", "probe")
    }
    ran = set(before)
    for run in runs:
        if run.program not in cutting:
            continue
        blank, row = cutting[run.program]
        of_blank = {program for program, (number, _) in cutting.items() if number == blank}
        finished = not of_blank <= ran and of_blank <= ran | {run.program}
        ran.add(run.program)
        yield BenchRun(
            when=run.when,
            cutter=run.by,
            set=source.set,
            job=source.job,
            file=run.file,
            metres=round((row.cut_length or 0.0) / 1000, 4),
            minutes=minutes.get(run.program),
            # a set that only resumes makes no board; the set that it resumes does
            boards=sum(board.blank == blank for board in source.boards)
            if finished and not source.resumed
            else 0,
        )


def _has_bench(folder: Path) -> bool:
    """Whether a set was made on a bench."""
    return any(row.role == "bench" for row in copies.kept(folder / copies.FOLDER))


def _plan(source: Report, folder: Path, job_file: Path | None) -> JobPlan | None:
    """The job as it is now, not the set's copy, which knows no folder of the bench."""
    if job_file is not None:
        return job.load(job_file)
    near = find_job(source, (Path(), folder.resolve().parent))
    try:
        return None if near is None else job.load(near)
    except Refusal:
        # it may have become another job since; what ran is marked all the same
        return None


def _log_time(
    source: Report,
    folder: Path,
    place: tuple[int, int] | None,
    program: int | None,
    minutes: float,
    job_file: Path | None,
) -> Logged:
    """Keep what programs took in the log that the set's job names, else in the set's folder."""
    if source.machine is None:
        message = f"Set {source.set} was made by an older version. Prepare its job again."
        raise usage("ran-older-set", message)
    programs = _programs(source, place, program)
    # before earlier runs corrected it
    factor = 1.0 if source.time_fit is None else source.time_fit.factor
    estimate = sum(row.seconds or 0.0 for row in programs) / 60 / factor
    if not estimate / MOST <= minutes <= estimate * MOST:
        message = (
            f"{minutes:g} min is far from the estimate of {estimate:.1f} min. Give the minutes "
            "that programs ran, without changes of cutters; with --program those of that program "
            "alone."
        )
        raise usage("ran-minutes", message)
    file, named = _log_of(source, folder, job_file)
    name = programs[0].file
    if program is None:
        name = "spoilboard" if place is None else f"blank {place[0]} pass {place[1]}"
    run = LoggedRun(source.machine, source.set, name, round(estimate, 4), minutes)
    TIME_LOG.add(file, [run])
    runs = [r for r in TIME_LOG.load(file) if r.machine == run.machine]
    fit = TimeFit.of([(r.estimate, r.minutes) for r in runs])
    assert fit is not None, "a run was added"
    return Logged(run, file, named, fit)


def _programs(
    source: Report, place: tuple[int, int] | None, program: int | None
) -> tuple[ProgramRow, ...]:
    """The rows of a pass or of the spoilboard, or of one program there."""
    if place is None:
        programs, where = source.spoilboard, "The spoilboard"
        if not programs:
            message = "The set has no programs for the spoilboard. Give --pass for what ran."
            raise usage("ran-no-such-program", message)
    else:
        known_pass(source, *place)
        programs = next(row.programs for row in source.passes if row.pass_id == place)
        where = "The pass"
    if program is None:
        return programs
    if not 1 <= program <= len(programs):
        message = f"{where} has programs 1 to {len(programs)}, and no program {program}."
        raise usage("ran-no-such-program", message)
    return programs[program - 1 : program]


def _log_of(source: Report, folder: Path, job_file: Path | None) -> tuple[Path, bool]:
    """The log that the set's job names, else one in the set's folder; whether it is named."""
    if source.time_log is None:
        return folder / LOG, False
    if job_file is None:
        # what the set keeps is a copy, and later jobs read the log itself
        job_file = find_job(source, (Path(), folder.resolve().parent))
    if job_file is None:
        raise usage(
            "job-not-found",
            f"The job of set {source.set} names the log {source.time_log}, and the job is neither "
            "here nor next to the set. Give its place with --job.",
        )
    log = job.load(job_file).machine.time.log
    return (folder / LOG, False) if log is None else (log.file, True)
