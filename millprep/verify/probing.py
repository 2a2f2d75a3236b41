"""Motion rules of programs that probe: holes from within, or copper from above."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.cutter import EndMill
from millprep.model.finding import Finding
from millprep.model.surface_map import LEAST_NODES
from millprep.verify.motion_context import SLACK, Mask, Setting
from millprep.verify.trace import Trace, look_at_zero

FASTEST = 100.0
"""Feed of a touch, at most, mm/min: common practice, no source."""
FARTHEST_PAST = 1.5
"""How far past a hole's rim the tip may be aimed, mm: a blank lies no farther off, and where
contact fails a tip is not driven deep into the laminate."""
SLOWEST = 50.0
"""Feed of the touch that counts, at most, mm/min: common practice, no source."""
RAISED = 2.0
"""Between two touches of a place the tip goes up this far at most, mm."""
DEEPER = 1.0
"""The second touch is aimed this far below the first at most, mm."""
DIGIT = 1e-3
DEEPEST = 3.0
"""Where contact fails a tip is not driven deeper, mm: common practice, no source."""


def no_probe_rule(s: Setting) -> Iterator[Finding]:
    """A program that cuts touches nothing: its spindle turns."""
    yield from s.each(
        s.moves.probe, "probe-while-cutting", "a probe move (G38.2) in a program that cuts."
    )


def probe_rule(s: Setting) -> Iterator[Finding]:
    """Below the surface the tip moves within one hole, slowly, and touches its copper rim."""
    m = s.moves
    yield from tip_rule(s)
    if not isinstance(s.cutter, EndMill):
        yield at_line(s, "probe-tip", f"{s.cutter.name} is not a cylinder: it cannot probe.", 1)
        return
    level = np.abs(m.end[:, 2] - m.start[:, 2]) <= SLACK
    in_copper = m.end[:, 2] < -s.blank.copper - SLACK
    yield from s.each(
        m.probe & ~(level & in_copper),
        "probe-height",
        "a probe move must run level with the tip below the copper, or it does not touch the hole.",
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
        "the tip is below the copper and not within a registration hole of this pass.",
    )
    yield from s.each(
        below & m.probe & ~_within(s, FARTHEST_PAST),
        "probe-outside-hole",
        f"a probe move does not start within a hole, or is aimed more than {FARTHEST_PAST:g} mm "
        "beyond its edge.",
    )


def tip_rule(s: Setting) -> Iterator[Finding]:
    """However a tip touches, it does not turn, stays the same and moves slowly."""
    for event in s.trace.spindle:
        if event.on:
            yield at_line(s, "probe-spindle-on", "the spindle is on while probing.", event.line)
    for change in s.trace.tool_changes:
        yield at_line(s, "second-cutter", "the tip is changed between probe moves.", change.line)
    yield from s.each(
        s.moves.probe & ~(s.moves.feed <= FASTEST + SLACK),
        "probe-too-fast",
        f"a probe move is faster than {FASTEST:g} mm/min.",
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
        mill_pass=s.mill_pass.number or None,
        file=s.file,
        line=line,
    )


def surface_probe_rule(s: Setting) -> Iterator[Finding]:
    """The tip goes down on copper that may be touched, and feels for it all the way down."""
    m = s.moves
    yield from tip_rule(s)
    still = m.across <= SLACK
    clearance = s.machine.clearance
    raised, again = _repeated(s)
    first = m.probe & ~again
    yield from s.each(
        first & ~(still & (m.start[:, 2] >= clearance - SLACK) & (m.end[:, 2] < 0)),
        "probe-height",
        f"a probe move must go straight down from the clearance of {clearance:g} mm to below zero.",
    )
    floor = min(DEEPEST, s.blank.thickness)
    yield from s.each(
        first & ~(m.end[:, 2] >= -floor - SLACK),
        "probe-too-deep",
        f"a probe move is aimed more than {floor:g} mm below zero.",
    )
    counts = np.concatenate((~again[2:], [True, True]))[: len(m)]
    yield from s.each(
        m.probe & counts & ~(m.feed <= SLOWEST + SLACK),
        "probe-too-fast",
        f"the last touch of a place is faster than {SLOWEST:g} mm/min.",
    )
    after = np.concatenate(([False], m.probe[:-1]))
    look = look_at_zero(s.trace)
    if look is not None:
        # down for a look at Z zero, and up from it
        raised[look.first : look.last + 2] = True
    rising = after & still & (m.end[:, 2] >= clearance - SLACK)
    yield from s.each(
        ~m.probe & ~rising & ~raised & (m.bottom < clearance - SLACK),
        "probe-low",
        f"the tip goes below the clearance of {clearance:g} mm without probing.",
    )
    probes = np.flatnonzero(m.probe & ~np.isnan(m.end[:, :2]).any(axis=1))
    on = shapely.intersects_xy(s.touching, m.end[probes, 0], m.end[probes, 1])
    off_copper = m.probe.copy()
    off_copper[probes] = ~on
    yield from s.each(
        off_copper,
        "probe-off-copper",
        "a probe move is aimed where there is no copper to touch.",
    )


def _repeated(s: Setting) -> tuple[Mask, Mask]:
    """The moves up from a touch, counted from it, and the touches that follow them."""
    raised, again = (np.zeros(len(s.moves), dtype=bool) for _ in "ab")
    moves = s.trace.moves
    for i in range(1, len(moves) - 1):
        up, down = moves[i].by, moves[i + 1].by
        if moves[i - 1].kind != "probe" or moves[i].kind != "rapid" or up is None:
            continue
        if not 0 < up[2] <= RAISED or moves[i + 1].kind != "probe" or down is None:
            continue
        raised[i] = again[i + 1] = 0 < -down[2] <= up[2] + DEEPER
    return raised, again


def grid_fault(trace: Trace, cuts: BaseGeometry, zero: Point, file: str) -> Finding | None:
    """Whether the touches of a program form a whole grid around all that a pass cuts.

    `cuts` is what the pass cuts, `zero` where Z is zeroed, which may be touched besides; machine
    frame.
    """
    nodes = {m.end[:2] for m in trace.moves if m.kind == "probe"}
    nodes = {at for at in nodes if math.dist(at, zero) > DIGIT}
    x, y = (sorted({at[axis] for at in nodes}) for axis in (0, 1))
    x0, y0, x1, y1 = cuts.bounds
    words = None
    if min(len(x), len(y)) < LEAST_NODES or len(nodes) != len(x) * len(y):
        words = "the probed points form no whole grid"
    elif x[0] > x0 or x[-1] < x1 or y[0] > y0 or y[-1] < y1:
        words = "the probed points do not enclose what the pass cuts"
    if words is None:
        return None
    return Finding(
        code="probe-grid", severity="stop", message=f"{words}. Write the program again.", file=file
    )
