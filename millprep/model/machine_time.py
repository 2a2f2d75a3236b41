"""Time at the machine: its keys in the job, what programs take, and how well estimates fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Self

from pydantic.dataclasses import dataclass as table

from millprep.model.job.keys import TABLE, FilePath, JobTable, entry, number
from millprep.model.program import Program

ACCELERATION = 150.0
"""Of a machine whose acceleration is not stated, mm/s²: common practice, no source."""
CHANGE, PLACING, READING = 3.0, 5.0, 1.0
"""Minutes of a person who states none: assumed."""


@table(frozen=True, slots=True, kw_only=True, config=TABLE)
class TimePlan(JobTable):
    """The table [machine.time]: minutes of a person, and what runs really took."""

    change: float | None = number(
        "What a person takes to change a cutter and find Z zero with it",
        "min",
        default=None,
        words=f"{CHANGE:g}, assumed",
        least=0,
        most=600,
    )
    placing: float | None = number(
        "What a person takes to place a blank or move it to its next pass",
        "min",
        default=None,
        words=f"{PLACING:g}, assumed",
        least=0,
        most=600,
    )
    reading: float | None = number(
        "What a person takes for one reading: a hole, a check cross, a vernier, the edge of the "
        "blank, how flat it lies",
        "min",
        default=None,
        words=f"{READING:g}, assumed",
        least=0,
        most=600,
    )
    log: FilePath | None = entry(
        "Where `millprep ran` keeps what runs of this machine really took; estimates follow it",
        "the path of a TOML file",
        default=None,
        words="none: estimates are not fitted",
    )

    @property
    def minutes(self) -> tuple[float, float, float]:
        """Minutes for a change of cutters, a placing and a reading, stated or assumed."""
        stated = (self.change, self.placing, self.reading)
        assumed = (CHANGE, PLACING, READING)
        return tuple(  # type: ignore[return-value]
            usual if mine is None else mine for mine, usual in zip(stated, assumed, strict=True)
        )

    @property
    def assumed(self) -> bool:
        """Whether a person stated none of them."""
        return None in (self.change, self.placing, self.reading)


@dataclass(frozen=True, slots=True)
class RunningTime:
    """What programs take, s.

    Attributes:
        seconds: with acceleration, and as earlier runs of the machine show.
        by_feeds: by lengths and feeds alone.
        least: by lengths and feeds alone, for the same cuts in the best order.
    """

    seconds: float
    by_feeds: float
    least: float

    @classmethod
    def of(cls, programs: Iterable[Program]) -> Self | None:
        """Of programs together; None where one is not written yet, and of none."""
        known = [program.figures for program in programs]
        rows = [figures for figures in known if figures is not None]
        if not rows or len(rows) < len(known):
            return None
        return cls(
            sum(row.seconds for row in rows),
            sum(row.by_feeds_seconds for row in rows),
            sum(row.least_seconds for row in rows),
        )

    @property
    def ratio(self) -> float | None:
        """How many times the least they take by lengths and feeds; None where nothing is cut."""
        return self.by_feeds / self.least if self.least > 0 else None


@dataclass(frozen=True, slots=True)
class LoggedRun:
    """What one run took.

    Attributes:
        machine: its name in the job.
        set: the set's id.
        program: its file, or "blank 1 pass 2" for all of a pass.
        estimate: running time, min, before earlier runs corrected it.
        minutes: what it took.
    """

    machine: str
    set: str
    program: str
    estimate: float
    minutes: float

    def __post_init__(self) -> None:
        texts = (self.machine, self.set, self.program)
        if not all(isinstance(text, str) for text in texts):
            raise TypeError("machine, set and program are texts")
        numbers = (self.estimate, self.minutes)
        if not all(isinstance(number, int | float) for number in numbers):
            raise TypeError("estimate and minutes are numbers")
        if not all(0 < float(number) < float("inf") for number in numbers):
            raise ValueError("estimate and minutes are above 0")


@dataclass(frozen=True, slots=True)
class TimeFit:
    """How estimates of a machine are corrected by what its runs took.

    Attributes:
        factor: the median of what each run took over its estimate.
        runs: how many there were.
        spread: how far the run that fits worst is off the corrected estimate, as a share of it.
    """

    factor: float
    runs: int
    spread: float

    def __post_init__(self) -> None:
        if not self.factor > 0 or self.runs < 1 or self.spread < 0:
            raise ValueError("a fit needs runs that took time")

    @classmethod
    def of(cls, runs: Sequence[tuple[float, float]]) -> Self | None:
        """Of runs, each with its estimate and what it took; None without any."""
        if not runs:
            return None
        factor = median(took / estimate for estimate, took in runs)
        spread = max(abs(took / (factor * estimate) - 1) for estimate, took in runs)
        return cls(factor, len(runs), spread)
