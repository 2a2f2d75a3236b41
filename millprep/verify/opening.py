"""What a program must say and do before it cuts: its path mode, and a look at Z zero.

Z is set by hand with every cutter. Before anything is near the copper at speed, the program must
feed down over the place where Z was set, to `HOVER`, and stop there with the spindle off. A person
has a hand on the stop, so it comes down no faster than that allows, and slowly near the copper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from millprep.model.finding import NOT_RUN, Finding
from millprep.verify.block import spelt
from millprep.verify.motion_context import SLACK, Setting
from millprep.verify.trace import HOVER, PathEvent, ZeroLook, look_at_zero

LOOK_FEED = 600.0
"""No faster goes what a hand on the stop watches, mm/min."""
SLOW_FROM = 5.0
"""Height above the copper below which a look is slow, mm."""
SLOW_FEED = 240.0
"""How fast it may be there: a second for 4 mm, mm/min."""

NEAR = 0.01
"""A program may look this far from where Z is zeroed, mm: few decimals are rounded."""


def look_rule(s: Setting) -> Iterator[Finding]:
    """Up, over the touch point, down for a look with the spindle off, and up again."""
    moves = s.trace.moves
    if not moves:
        return
    look = look_at_zero(s.trace)
    fault = "does not" if look is None else _fault(s, look)
    if fault is not None:
        at = "" if s.at is None else f", X{s.at[0]:g} Y{s.at[1]:g}"
        yield s.finding(
            "zero-not-shown",
            f"before anything else a program feeds down to {HOVER:g} mm over the place where Z is "
            f"zeroed{at}, slowly from {SLOW_FROM:g} mm, and stops there for a look, the spindle "
            f"off; this one {fault}.",
            0 if look is None else look.last,
        )


def _fault(s: Setting, look: ZeroLook) -> str | None:
    """What is wrong with a look; None for nothing."""
    moves = s.trace.moves
    # the very first move is another rule's
    if any(not move.end[2] >= s.machine.top - SLACK for move in moves[1 : look.first]):
        return "goes down at rapid before it"
    for move in moves[look.first : look.last + 1]:
        most = LOOK_FEED if move.end[2] >= SLOW_FROM - SLACK else SLOW_FEED
        if not (move.feed or math.inf) <= most + SLACK:
            return f"comes down to Z{move.end[2]:g} faster than {most:g} mm/min"
    x, y, _ = moves[look.last].end
    if s.at is not None and not max(abs(x - s.at[0]), abs(y - s.at[1])) <= NEAR:
        return f"looks at X{x:g} Y{y:g}"
    if not (look.stop.words or s.machine.dialect.comments == "none"):
        return "says nothing there"
    if s.machine.spindle_by_program:
        before = [event for event in s.trace.spindle if event.before <= look.last + 1]
        if not before or any(event.on for event in before if event.line < look.stop.line):
            return "does not switch the spindle off before"
    after = moves[look.last + 1 : look.last + 2]
    if after and (after[0].end[:2] != (x, y) or not after[0].end[2] >= s.machine.clearance - SLACK):
        return "does not go straight up after it"
    return None


def path_rule(s: Setting) -> Iterator[Finding]:
    """All that is fed is run in the path mode that the machine's table states."""
    machine = s.machine
    if machine.path_mode == "unstated" or s.moves.rapid.all():
        return
    feeds = np.flatnonzero(~s.moves.rapid)
    required = (610 if machine.path_mode == "exact path" else 640, machine.path_tolerance)
    before = [event for event in s.trace.paths if event.before <= feeds[0]]
    after = [event for event in s.trace.paths if feeds[0] < event.before <= feeds[-1]]
    in_force: PathEvent | None = before[-1] if before else None
    for event in (in_force, *after):
        digit = machine.dialect.digit
        if event is not None and _same_path((event.code, event.tolerance), required, digit):
            continue
        said = "says nothing of its path" if event is None else f"says {spelt(event.code)}"
        if event is not None and event.tolerance is not None:
            said += f" P{event.tolerance:g}"
        yield Finding(
            code="path-mode-differs",
            severity="stop",
            message=f"the program {said}, [machine] path_mode asks for {machine.path_words}. "
            f"{NOT_RUN}",
            file=s.file,
            line=1 if event is None else event.line,
        )


def _same_path(
    some: tuple[int, float | None], other: tuple[int, float | None], digit: float
) -> bool:
    if some[1] is None or other[1] is None:
        return some == other
    return some[0] == other[0] and abs(some[1] - other[1]) < digit / 2
