"""The log of a bench: what its cutters have cut, and the boards they made, whatever set comes next.

It lies next to the bench file and is no input of a set: no cut depends on it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from millprep.files.row_file import RowFile


@dataclass(frozen=True, slots=True)
class BenchRun:
    """A program that ran on the bench, or a cutter that was replaced.

    Attributes:
        when: when it was marked.
        cutter: the cutter that was used.
        what: "replaced" for a new cutter of that name; None for a program.
        set, job, file: the program, its set, and the set's job.
        metres: length of all moves with a feed.
        minutes: what it took, where that was measured.
        boards: copies that were finished with it.
    """

    when: datetime
    cutter: str
    what: Literal["replaced"] | None = None
    set: str | None = None
    job: str | None = None
    file: str | None = None
    metres: float = 0.0
    minutes: float | None = None
    boards: int = 0

    def __post_init__(self) -> None:
        texts = (self.cutter, self.set or "", self.job or "", self.file or "")
        if not isinstance(self.when, datetime) or not all(isinstance(t, str) for t in texts):
            raise TypeError("when is a time; cutter, set, job and file are texts")
        numbers = (self.metres, self.minutes or 0, self.boards)
        if not all(isinstance(number, int | float) for number in numbers):
            raise TypeError("metres, minutes and boards are numbers")
        if self.what not in (None, "replaced"):
            raise ValueError('what can only be "replaced"')
        if not all(0 <= float(number) < float("inf") for number in numbers):
            raise ValueError("metres, minutes and boards are 0 or more")


BENCH_LOG = RowFile(
    head="# What cutters of this bench have cut, by `millprep ran`. Delete a mistaken row.\n",
    table="run",
    row=BenchRun,
    keys=("when", "cutter", "what", "set", "job", "file", "metres", "minutes", "boards"),
    code="bench-log-unreadable",
    words="log of the bench",
    remedy="Correct it, or take it away; it then begins anew.",
)


@dataclass(frozen=True, slots=True)
class CutterMetres:
    """What one cutter has done since it was new.

    Attributes:
        cutter: its name.
        metres: that it has cut.
        runs: programs that it ran.
        since: its first run, or when it replaced another.
        last: its last run.
        life: metres after which it is to be replaced; None where nobody says.
    """

    cutter: str
    metres: float
    runs: int
    since: datetime
    last: datetime
    life: float | None

    @property
    def worn(self) -> bool:
        """Whether it has cut more than its life."""
        return self.life is not None and self.metres > self.life


@dataclass(frozen=True, slots=True)
class BenchUse:
    """All that a log holds: every cutter, and the minutes and boards of all runs."""

    cutters: tuple[CutterMetres, ...]
    minutes: float
    boards: int
    runs: int


def log_of(bench: Path) -> Path:
    """Where the log of a bench file lies."""
    return bench.with_name(f"{bench.stem}-log.toml")


def use_of(runs: Sequence[BenchRun], lives: Mapping[str, float | None]) -> BenchUse:
    """What a log adds up to; `lives` are metres by the names of cutters."""
    uses: dict[str, CutterMetres] = {}
    for run in runs:
        use = uses.get(run.cutter)
        if use is None or run.what == "replaced":
            life = lives.get(run.cutter)
            use = CutterMetres(run.cutter, 0.0, 0, run.when, run.when, life)
        if run.what is None:
            more = (use.metres + float(run.metres), use.runs + 1)
            use = CutterMetres(run.cutter, *more, use.since, run.when, use.life)
        uses[run.cutter] = use
    programs = [run for run in runs if run.what is None]
    minutes = sum(float(run.minutes or 0) for run in programs)
    boards = sum(int(run.boards) for run in programs)
    return BenchUse(tuple(uses.values()), minutes, boards, len(programs))


def replace_cutter(bench: Path, cutter: str) -> None:
    """Write down that a cutter was replaced by a new one of its name.

    Raises:
        Refusal: exit code 2, when the log cannot be read or written.
    """
    BENCH_LOG.add(log_of(bench), [BenchRun(now(), cutter, "replaced")])


def now() -> datetime:
    """The time in whole seconds, UTC; that of SOURCE_DATE_EPOCH where it is set."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = int(epoch) if epoch.isdecimal() else int(time.time())
    return datetime.fromtimestamp(seconds, UTC)
