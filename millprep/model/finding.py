"""A finding: something the user must know, with its place and its remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Severity = Literal["stop", "warn", "note"]
Frame = Literal["drawing", "blank", "machine"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One fact worth a person's attention.

    Attributes:
        code: stable kebab-case name of the kind of finding.
        severity: `stop` refuses the job, `warn` asks for a decision, `note` informs.
        message: what is wrong and what to do about it, one or two sentences.
        frame: the frame that `at` is in; given whenever `at` is.
        at: place in mm.
        board, copy: which board and which of its copies.
        blank, mill_pass: numbers from 1.
        file, line: the file at fault and the line in it, from 1.
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

    def __post_init__(self) -> None:
        if (self.at is None) != (self.frame is None):
            raise ValueError("a finding's place needs its frame, and its frame a place")


class Refusal(Exception):  # noqa: N818 - a refusal is a result, the errors are its findings
    """The work cannot go on; `findings` say why, all of them together.

    `exit_code` follows the contract: 1 refused, 2 job or usage, 3 drawing.
    """

    def __init__(self, findings: Iterable[Finding], exit_code: Literal[1, 2, 3] = 1) -> None:
        self.findings = tuple(findings)
        self.exit_code = exit_code
        super().__init__("; ".join(finding.message for finding in self.findings))

    def __reduce__(self) -> tuple[type[Refusal], tuple[tuple[Finding, ...], int]]:
        return Refusal, (self.findings, self.exit_code)


def stop(code: str, message: str, file: str | Path | None = None) -> Finding:
    """A finding that refuses the job, with the file at fault."""
    at_fault = None if file is None else str(file)
    return Finding(code=code, severity="stop", message=message, file=at_fault)


def usage(code: str, message: str, file: str | Path | None = None) -> Refusal:
    """A refusal of how a command was called or a job was written: exit code 2."""
    return Refusal([stop(code, message, file)], exit_code=2)
