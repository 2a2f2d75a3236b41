"""A finding: something the user must know, with its place and its remedy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

Severity = Literal["stop", "warn", "note"]
Frame = Literal["drawing", "blank", "machine"]

SEVERITIES: dict[Severity, str] = {"stop": "stop", "warn": "warning", "note": "note"}
"""The one scale, the worst first, with the words that a person reads."""

NOT_RUN = (
    "Do not run the set: a file was changed after it was written, or this is a fault of millprep. "
    "Prepare it again; if that changes nothing, please report it."
)
"""What to do where no job and no drawing can be the cause."""

MOST_PER_CODE = 5
"""Findings of one kind that are listed one by one; the rest is counted."""
MOST_PLACES = 200
"""Places that one finding lists, its own not counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One fact worth a person's attention.

    Attributes:
        code: stable kebab-case name of the kind of finding.
        severity: `stop` refuses the job, `warn` (a warning) needs a decision, `note` informs.
        message: what is wrong and what to do about it, one or two sentences.
        frame: the frame that `at` is in; given whenever `at` is.
        at: place in mm.
        board, copy: which board and which of its copies.
        blank, mill_pass: numbers from 1.
        file, line: the file at fault and the line in it, from 1.
        more: how many findings of the kind are not listed after this one.
        places: where else the same is wrong, same frame and blank as `at`; at most `MOST_PLACES`.
    """

    code: str
    severity: Severity
    message: str
    frame: Frame | None = None
    at: tuple[float, float] | None = None
    board: str | None = None
    copy: int | None = None
    blank: int | None = None
    mill_pass: int | None = None
    file: str | None = None
    line: int | None = None
    more: int = 0
    places: tuple[tuple[float, float], ...] = ()

    @property
    def rank(self) -> int:
        """0 for the worst severity."""
        return list(SEVERITIES).index(self.severity)

    @property
    def words(self) -> str:
        """The message, and how many more of the kind there are."""
        return f"{self.message} And {self.more} more." if self.more else self.message

    def __post_init__(self) -> None:
        if (self.at is None) != (self.frame is None):
            raise ValueError("a finding's place needs its frame, and its frame a place")
        if self.places and self.at is None:
            raise ValueError("further places need a first")


class Refusal(Exception):  # noqa: N818 - a refusal is a result, the errors are its findings
    """The work cannot go on; `findings` say why, all of them together.

    `exit_code` follows the contract: 1 refused, 2 job or usage, 3 drawing.
    """

    def __init__(self, findings: Iterable[Finding], exit_code: Literal[1, 2, 3] = 1) -> None:
        # all mistakes of a job or a call are mended at once, so each of them is listed
        self.findings = tuple(findings) if exit_code == 2 else limited(findings)
        self.exit_code = exit_code
        super().__init__("; ".join(finding.words for finding in self.findings))

    def __reduce__(self) -> tuple[type[Refusal], tuple[tuple[Finding, ...], int]]:
        return Refusal, (self.findings, self.exit_code)


def limited(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The first `MOST_PER_CODE` of each code and severity.

    The last counts those left out. Their places go to the last listed one on the same ground.
    """
    every = tuple(findings)
    total: Counter[tuple[str, Severity]] = Counter()
    for finding in every:
        total[finding.code, finding.severity] += 1 + finding.more
    seen: Counter[tuple[str, Severity]] = Counter()
    listed: list[Finding] = []
    holder: dict[tuple[object, ...], int] = {}
    for finding in every:
        kind = (finding.code, finding.severity)
        seen[kind] += 1
        if seen[kind] <= MOST_PER_CODE:
            holder[kind + _ground(finding)] = len(listed)
            listed.append(replace(finding, more=0))
        elif finding.at is not None and (n := holder.get(kind + _ground(finding))) is not None:
            places = (*listed[n].places, finding.at, *finding.places)
            listed[n] = replace(listed[n], places=places[:MOST_PLACES])
    last = {(finding.code, finding.severity): n for n, finding in enumerate(listed)}
    for kind, n in last.items():
        listed[n] = replace(listed[n], more=total[kind] - min(seen[kind], MOST_PER_CODE))
    return tuple(listed)


def _ground(finding: Finding) -> tuple[object, ...]:
    """What the place of a finding is a place of: a blank, a drawing's copy, or a pass."""
    if finding.frame == "blank":
        return "blank", finding.blank
    if finding.frame == "drawing":
        return "drawing", finding.board, finding.copy
    return finding.frame, finding.blank, finding.mill_pass


def many(count: int, noun: str, plural: str | None = None) -> str:
    """`1 tab`, `3 tabs`."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def stop(code: str, message: str, file: str | Path | None = None) -> Finding:
    """A finding that refuses the job, with the file at fault."""
    at_fault = None if file is None else str(file)
    return Finding(code=code, severity="stop", message=message, file=at_fault)


def usage(code: str, message: str, file: str | Path | None = None) -> Refusal:
    """A refusal of how a command was called or a job was written: exit code 2."""
    return Refusal([stop(code, message, file)], exit_code=2)
