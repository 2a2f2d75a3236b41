"""Findings on a copy of a board, at a place on its blank."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from millprep.values.finding import Finding, Severity
from millprep.values.layout import Placement
from millprep.values.path import Point

MOST_PER_CODE = 20


def on_copy(
    placement: Placement, code: str, severity: Severity, message: str, at: Point
) -> Finding:
    """A finding of this copy, `at` in the blank frame."""
    return Finding(
        code=code,
        severity=severity,
        message=message,
        frame="blank",
        at=at,
        board=placement.board.name,
        copy=placement.copy,
        blank=placement.blank,
    )


def limited(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The first `MOST_PER_CODE` of each code; the last of them says how many more there are."""
    total = Counter(finding.code for finding in findings)
    seen: Counter[str] = Counter()
    kept: list[Finding] = []
    for finding in findings:
        seen[finding.code] += 1
        more = total[finding.code] - MOST_PER_CODE
        if seen[finding.code] < MOST_PER_CODE or (seen[finding.code] == MOST_PER_CODE and not more):
            kept.append(finding)
        elif seen[finding.code] == MOST_PER_CODE:
            kept.append(replace(finding, message=f"{finding.message} And {more} more like it."))
    return tuple(kept)
