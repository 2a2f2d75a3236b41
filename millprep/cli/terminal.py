"""What a person at a terminal sees: findings and results, and the step that a command is at."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from types import MappingProxyType

import click

from millprep.files import writing
from millprep.model.begun import Begun
from millprep.model.finding import SEVERITIES, Finding, Refusal
from millprep.workflow import set_on_disk


def say_findings(findings: Sequence[Finding]) -> None:
    """All findings on stderr, the worst first, notes of one kind counted."""
    for finding in sorted(findings, key=lambda f: f.rank):
        click.echo(f"{SEVERITIES[finding.severity]}: {line_of(finding)}", err=True)


def line_of(finding: Finding) -> str:
    """A finding with its code and its place."""
    where = []
    if finding.board:
        where.append(finding.board + (f" copy {finding.copy}" if finding.copy else ""))
    if finding.blank:
        where.append(f"blank {finding.blank}")
    if finding.mill_pass:
        where.append(f"pass {finding.mill_pass}")
    if finding.file:
        where.append(finding.file + (f" line {finding.line}" if finding.line else ""))
    if finding.at and finding.frame:
        where.append(f"at {finding.at[0]:.3f}, {finding.at[1]:.3f} mm, {finding.frame} frame")
    place = f" ({', '.join(where)})" if where else ""
    return f"{finding.words} [{finding.code}]{place}"


@contextmanager
def refusals(
    *, as_json: bool = False, out: Path | None = None, explained: bool = False, **facts: object
) -> Iterator[None]:
    """Say a refusal of what is done within, and end with its exit code.

    Args:
        as_json: print its findings as JSON too.
        out: the folder to which nothing was written then.
        explained: whether a folder next to `out` explains a refused job.
        **facts: keys of that JSON before the findings.
    """
    try:
        if out is not None:
            put_back(out)
        yield
    except Refusal as refusal:
        if as_json:
            rows = [as_row(finding) for finding in refusal.findings]
            click.echo(json.dumps({**facts, "findings": rows}))
        say_findings(refusal.findings)
        if out is not None:
            seen = explained and refusal.exit_code in (1, 3)
            where = f"; see {set_on_disk.refused_folder(out)}" if seen else ""
            click.echo(f"refused, nothing was written to {out}{where}", err=True)
        raise SystemExit(refusal.exit_code) from None


def put_back(folder: Path) -> None:
    """Put back a set that a run which broke off had put aside, and say so.

    Raises:
        Refusal: exit code 1, when it cannot be put back.
    """
    if writing.restored(folder):
        words = f"{folder} was put back. A run that broke off had put it aside."
        click.echo(words, err=True)


def as_row(finding: Finding) -> dict[str, object]:
    """A finding as the report holds it."""
    row = asdict(replace(finding, message=finding.words))
    row["pass"] = row.pop("mill_pass")
    del row["more"]
    return row


def begun_rows(mark: Begun | None) -> list[dict[str, int]]:
    """The passes that a mark names, as JSON holds them."""
    passes = () if mark is None else mark.passes
    return [{"blank": blank, "pass": number} for blank, number in passes]


def somebody_answers() -> bool:
    """Whether a person at a terminal can answer questions."""
    return sys.stdin.isatty() and sys.stderr.isatty()


QUIET = 2.0
"""Nothing is said of what is left before this, s."""
PREPARE = MappingProxyType(
    {
        "reading the job": 0.01,
        "reading the drawings": 0.10,
        "laying the boards out": 0.04,
        "making paths and passes": 0.12,
        "writing the programs": 0.08,
        "reading them back and cutting the blanks in simulation": 0.38,
        "judging spacing, current and holes": 0.02,
        "drawing pictures, writing sheet and report": 0.25,
    }
)
"""Share of the time that each step of `prepare` takes, measured on the examples."""
VERIFY = MappingProxyType(
    {
        "reading the set": 0.01,
        "reading the job and the drawings": 0.18,
        "comparing the files with their hashes": 0.01,
        "reading the programs and cutting the blanks in simulation": 0.80,
    }
)
"""The same of `verify`."""

Clock = Callable[[], float]


def left_words(elapsed: float, done: float) -> str:
    """About how long it still takes, by the share that is done; empty where that is too early."""
    if elapsed < QUIET or not 0 < done < 1:
        return ""
    left = elapsed * (1 - done) / done
    return f"about {left:.0f} s left" if left < 90 else f"about {left / 60:.0f} min left"


def done_before(step: str, shares: Mapping[str, float]) -> float:
    """The share of the time that has passed when a step begins; 0 for a step of no known share."""
    done = 0.0
    for name, share in shares.items():
        if name == step:
            return done
        done += share
    return 0.0


def steps(
    shares: Mapping[str, float] = MappingProxyType({}), clock: Clock = time.monotonic
) -> Callable[[str], None]:
    """What takes the name of every step: said on a terminal, kept quiet elsewhere.

    The first step starts the clock, each time that a watched job comes to it again.
    """
    if not sys.stderr.isatty():
        return lambda _: None
    start, first = clock(), next(iter(shares), None)

    def say(step: str) -> None:
        nonlocal start
        now = clock()
        if step == first:
            start = now
        left = left_words(now - start, done_before(step, shares))
        click.echo(f"{step} …" + (f" {left}" if left else ""), err=True)

    return say


class SideBySide:
    """One line for several jobs, written anew with every step; nothing where nobody watches.

    Args:
        names: of the jobs.
        clock: seconds.
    """

    def __init__(self, names: list[str], clock: Clock = time.monotonic) -> None:
        self._names = names
        self._shares = [0.0] * len(names)
        self._at: dict[int, str] = {}
        self._clock, self._start = clock, clock()
        self._shown = sys.stderr.isatty()

    def step(self, job: int, step: str) -> None:
        """A job has begun a step."""
        self._shares[job] = max(self._shares[job], done_before(step, PREPARE))
        self._at[job] = step
        self._show()

    def done(self, job: int) -> None:
        """A job has ended."""
        self._shares[job] = 1.0
        self._at.pop(job, None)
        self._show()

    def clear(self) -> None:
        """Leave an empty line."""
        if self._shown:
            click.echo("\r\x1b[K", nl=False, err=True)

    def line(self) -> str:
        """What the line says."""
        ended = sum(share == 1.0 for share in self._shares)
        working = [f"{self._names[job]}: {step}" for job, step in sorted(self._at.items())]
        share = sum(self._shares) / len(self._shares)
        left = left_words(self._clock() - self._start, share)
        parts = [f"{ended} of {len(self._names)} done", *([left] if left else []), *working]
        return "; ".join(parts)

    def _show(self) -> None:
        if not self._shown:
            return
        import shutil  # loads slowly

        width = shutil.get_terminal_size().columns
        click.echo(f"\r\x1b[K{self.line()[: width - 1]}", nl=False, err=True)
