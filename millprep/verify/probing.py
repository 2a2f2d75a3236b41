"""Touching holes from within: the tip stays in a hole that is there, and the spindle stands."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from millprep.model.cutter import EndMill
from millprep.model.finding import Finding
from millprep.verify.setting import SLACK, Setting
from millprep.verify.table import Mask

FASTEST = 100.0
"""Feed of a touch, at most, mm/min: common practice, no source."""
FARTHEST_PAST = 1.5
"""How far past a hole's rim the tip may be aimed, mm: a blank lies no farther off, and where
contact fails a tip is not driven deep into the laminate."""


def no_probe_rule(s: Setting) -> Iterator[Finding]:
    """A program that cuts touches nothing: its spindle turns."""
    yield from s.each(
        s.moves.probe, "probe-while-cutting", "a probe (G38.2) stands in a program that cuts."
    )


def probe_rule(s: Setting) -> Iterator[Finding]:
    """Below the surface the tip moves within one hole, slowly, and touches its copper rim."""
    m = s.moves
    yield from tip_rule(s)
    if not isinstance(s.cutter, EndMill):
        yield at_line(s, "probe-tip", f"{s.cutter.name} is no cylinder: it cannot touch.", 1)
        return
    level = np.abs(m.end[:, 2] - m.start[:, 2]) <= SLACK
    in_copper = m.end[:, 2] < -s.blank.copper - SLACK
    yield from s.each(
        m.probe & ~(level & in_copper),
        "probe-height",
        "a touch must run level, its tip below the copper: else it meets no rim.",
    )
    below = m.bottom < -SLACK
    yield from s.each(
        below & ~(m.bottom > -s.blank.thickness + SLACK),
        "probe-too-deep",
        "the tip goes below the laminate.",
    )
    yield from s.each(
        below & ~m.probe & ~_within(s, 0.0),
        "probe-outside-hole",
        "the tip is below the copper and not within a hole that finds this pass.",
    )
    yield from s.each(
        below & m.probe & ~_within(s, FARTHEST_PAST),
        "probe-outside-hole",
        f"a touch does not start within a hole, or is aimed more than {FARTHEST_PAST:g} mm past "
        "its rim.",
    )


def tip_rule(s: Setting) -> Iterator[Finding]:
    """However a tip touches, it stands still, stays the same and moves slowly."""
    for event in s.trace.spindle:
        if event.on:
            yield at_line(s, "probe-spindle-on", "the spindle turns at a touch.", event.line)
    for change in s.trace.tool_changes:
        yield at_line(s, "second-cutter", "the tip is changed between touches.", change.line)
    yield from s.each(
        s.moves.probe & ~(s.moves.feed <= FASTEST + SLACK),
        "probe-too-fast",
        f"a touch is faster than {FASTEST:g} mm/min.",
    )


def _within(s: Setting, past: float) -> Mask:
    """Which moves start where the tip is free in a hole, and end there or little past its rim.

    A move that follows a touch starts on the rim, wherever that is.
    """
    m = s.moves
    inside = np.zeros(len(m), dtype=bool)
    after = np.concatenate(([False], m.probe[:-1]))
    for hole in s.mill_pass.registration:
        if hole.role == "witness" or not hole.drilled_in < s.mill_pass.number:
            continue
        free = (hole.diameter - s.cutter.width(0.0)) / 2 - SLACK
        if free <= 0:
            continue
        from_middle = np.hypot(*(m.start[:, :2] - hole.machine).T)
        to_middle = np.hypot(*(m.end[:, :2] - hole.machine).T)
        starts = np.where(after, from_middle <= free + FARTHEST_PAST, from_middle <= free)
        inside |= starts & (to_middle <= free + past) & ~m.arc
    return inside


def at_line(s: Setting, code: str, message: str, line: int) -> Finding:
    """A stop at a line of the program."""
    return Finding(
        code=code,
        severity="stop",
        message=message,
        blank=s.blank.number,
        mill_pass=s.mill_pass.number,
        file=s.file,
        line=line,
    )
