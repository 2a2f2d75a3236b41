"""The log of what runs really took: a TOML file in a set's folder, or where its job says."""

from __future__ import annotations

import hashlib
from pathlib import Path

from millprep.files import reading, writing
from millprep.model.finding import Refusal, usage
from millprep.model.machine import Machine
from millprep.model.machine_time import LoggedRun, TimeFit
from millprep.model.set_of_programs import InputFile

HEAD = """\
# What runs of programs took, by `millprep ran`; minutes. Delete a run that was written by mistake.
"""
KEYS = ("machine", "set", "program", "estimate", "minutes")


def fit_of(machine: Machine) -> tuple[tuple[InputFile, ...], TimeFit | None]:
    """The log that a machine names, as an input of a set, and what its runs of the machine show.

    A log that is not there yet is no input.

    Raises:
        Refusal: exit code 2, when the log is there and cannot be read.
    """
    log = machine.time.log
    if log is None or not log.file.exists():
        return (), None
    raw = _bytes(log.file)
    runs = [run for run in _runs(raw, log.file) if run.machine == machine.name]
    fit = TimeFit.of([(run.estimate, run.minutes) for run in runs])
    return (InputFile(log.name, hashlib.sha256(raw).hexdigest(), "named", log.file),), fit


def load(file: Path) -> tuple[LoggedRun, ...]:
    """All runs of a log, none where it is not there yet.

    Raises:
        Refusal: exit code 2, when it cannot be read.
    """
    return _runs(_bytes(file), file) if file.exists() else ()


def add(file: Path, run: LoggedRun) -> None:
    """Add a run to a log, wholly or not at all.

    Raises:
        Refusal: exit code 2, when the log cannot be read or written.
    """
    load(file)
    before = _bytes(file) if file.exists() else HEAD.encode()
    row = "\n[[run]]\n" + "".join(f"{key} = {_toml(getattr(run, key))}\n" for key in KEYS)
    writing.replace_file(file, before + row.encode())


def _toml(value: str | float) -> str:
    """A text or a number; control characters of a text are escaped."""
    if not isinstance(value, str):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    plain = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in plain) + '"'


def _bytes(file: Path) -> bytes:
    try:
        return reading.contents(file, reading.MOST_TEXT)
    except OSError as fault:
        raise _unreadable(file, f"cannot be read ({fault.strerror})") from None


def _runs(raw: bytes, file: Path) -> tuple[LoggedRun, ...]:
    """The runs in the bytes of a log."""
    try:
        log = reading.toml(raw.decode("utf-8"))
        rows = log.get("run", [])
        if set(log) <= {"run"} and all(set(row) == set(KEYS) for row in rows):
            return tuple(LoggedRun(**row) for row in rows)
        words = f"must hold [[run]] with {', '.join(KEYS)}, and nothing else"
    except (ValueError, TypeError, AttributeError) as fault:
        words = f"is no log of runs ({fault})"
    raise _unreadable(file, words)


def _unreadable(file: Path, words: str) -> Refusal:
    remedy = "Correct it, or take it away; estimates are not fitted without it."
    return usage("time-log-unreadable", f"The log {file.name} {words}. {remedy}", file)
