"""What a run really took, kept in a log, so that later estimates of the machine follow it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from millprep import job
from millprep.model.begun import LOG
from millprep.model.finding import usage
from millprep.model.machine_time import LoggedRun, TimeFit
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.report.set_rows import ProgramRow
from millprep.workflow import time_log
from millprep.workflow.source_set import find_job

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


def log_run(
    folder: Path,
    place: tuple[int, int],
    minutes: float,
    program: int | None = None,
    job_file: Path | None = None,
) -> Logged:
    """Keep what a pass, or one of its programs, took.

    The log is the one that the set's job names, else a file in the set's folder.

    Args:
        folder: of the set.
        place: blank and pass.
        minutes: that programs ran, without a person's changes of cutters.
        program: its place in the pass, from 1; None for all of them together.
        job_file: the set's job; None looks for it in the working folder and next to the set.

    Raises:
        Refusal: exit code 2, for a pass or a program that there is not, for minutes that cannot be
            right, and for a log that cannot be read or written.
    """
    source = report_file.read(folder)
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
    name = f"blank {place[0]} pass {place[1]}" if program is None else programs[0].file
    run = LoggedRun(source.machine, source.set, name, round(estimate, 4), minutes)
    time_log.add(file, run)
    runs = [r for r in time_log.load(file) if r.machine == run.machine]
    fit = TimeFit.of([(r.estimate, r.minutes) for r in runs])
    assert fit is not None, "a run was added"
    return Logged(run, file, named, fit)


def _programs(
    source: Report, place: tuple[int, int], program: int | None
) -> tuple[ProgramRow, ...]:
    """The rows of a pass, or of one of its programs."""
    rows = {row.pass_id: row.programs for row in source.passes}
    if place not in rows:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(rows))
        message = f"The set has no blank {place[0]} pass {place[1]}. It has {known}."
        raise usage("no-such-pass", message)
    programs = rows[place]
    if program is None:
        return programs
    if not 1 <= program <= len(programs):
        message = f"The pass has programs 1 to {len(programs)}, and no program {program}."
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
