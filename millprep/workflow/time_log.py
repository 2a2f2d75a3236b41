"""The log of what runs really took: a TOML file in a set's folder, or where its job says."""

from __future__ import annotations

import hashlib

from millprep.files.row_file import RowFile
from millprep.model.job.keys import InputFile
from millprep.model.machine import Machine
from millprep.model.machine_time import LoggedRun, TimeFit

HEAD = """\
# What runs of programs took, by `millprep ran`; minutes. Delete a run that was written by mistake.
"""
TIME_LOG = RowFile(
    head=HEAD,
    table="run",
    row=LoggedRun,
    keys=("machine", "set", "program", "estimate", "minutes"),
    code="time-log-unreadable",
    words="log",
    remedy="Correct it, or take it away; estimates are not fitted without it.",
)


def fit_of(machine: Machine) -> tuple[tuple[InputFile, ...], TimeFit | None]:
    """The log that a machine names, as an input of a set, and what its runs of the machine show.

    A log that is not there yet is no input.

    Raises:
        Refusal: exit code 2, when the log is there and cannot be read.
    """
    log = machine.time.log
    if log is None or not log.file.exists():
        return (), None
    raw = TIME_LOG.raw(log.file)
    runs = [run for run in TIME_LOG.rows(raw, log.file) if run.machine == machine.name]
    fit = TimeFit.of([(run.estimate, run.minutes) for run in runs])
    return (InputFile(log.name, hashlib.sha256(raw).hexdigest(), "named", log.file),), fit
