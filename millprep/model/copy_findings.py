"""Findings on a copy of a board, worded alike and kept to a readable number."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from millprep.geometry.path import Point
from millprep.model.finding import Finding, Severity
from millprep.model.layout import Placement

MOST_PER_CODE = 20


def on_blank(
    placement: Placement,
    code: str,
    severity: Severity,
    message: str,
    at: Point,
    *,
    mill_pass: int | None = None,
) -> Finding:
    """A finding about one copy at a place on its blank, in a pass where it is one's own."""
    return Finding(
        code=code,
        severity=severity,
        message=message,
        frame="blank",
        at=(float(at[0]), float(at[1])),
        board=placement.board.name,
        copy=placement.copy,
        blank=placement.blank,
        mill_pass=mill_pass,
    )


def on_drawing(
    placement: Placement, code: str, severity: Severity, message: str, at: Point
) -> Finding:
    """A finding about one copy at a place of its drawing."""
    return replace(on_blank(placement, code, severity, message, at), frame="drawing")


def limited(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The first `MOST_PER_CODE` of each code; the last of them says how many more there are."""
    total = Counter(finding.code for finding in findings)
    seen: Counter[str] = Counter()
    out: list[Finding] = []
    for finding in findings:
        seen[finding.code] += 1
        more = total[finding.code] - MOST_PER_CODE
        if seen[finding.code] < MOST_PER_CODE or (seen[finding.code] == MOST_PER_CODE and not more):
            out.append(finding)
        elif seen[finding.code] == MOST_PER_CODE:
            out.append(replace(finding, message=f"{finding.message} There are {more} more."))
    return tuple(out)
