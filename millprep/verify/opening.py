"""What a program does before it cuts: its path mode, a look at Z zero, and a spindle that turns.

Z is set by hand with every cutter. Before anything is near the copper at speed, the program must
feed down over the place where Z was set, to `HOVER`, and stop there with the spindle off. A person
has a hand on the stop, so it comes down no faster than that allows, and slowly near the copper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

import numpy as np

from millprep.model.finding import NOT_RUN, Finding
from millprep.model.machine import Machine
from millprep.verify.block import spelt
from millprep.verify.motion_context import SLACK, Setting
from millprep.verify.trace import (
    HOVER,
    Dwell,
    PathEvent,
    SpindleEvent,
    Stop,
    ToolChange,
    Trace,
    TraceMove,
    ZeroLook,
    look_at_zero,
)

_Event = SpindleEvent | Dwell | Stop | ToolChange


def spindle_rules(trace: Trace, machine: Machine, *, file: str) -> Iterator[Finding]:
    """Findings about spindle, stops and the change of cutters, in the order of the file.

    A person who switches the spindle needs a stop (M0) with words before the first contact;
    a program that switches it needs M3, a speed, and G4 for as long as the machine requires.
    """
    events: list[_Event] = [*trace.spindle, *trace.dwells, *trace.stops, *trace.tool_changes]
    # A line may change tool, start and stop: the reader files them in this order.
    kinds = (ToolChange, SpindleEvent, Dwell, Stop)
    events.sort(key=lambda event: (event.before, event.line, kinds.index(type(event))))
    run = _Run(machine, file, look_at_zero(trace))
    at = 0
    for i, move in enumerate(trace.moves):
        while at < len(events) and events[at].before <= i:
            yield from run.event(events[at], trace.moves[i - 1].end[2] if i else math.nan)
            at += 1
        yield from run.move(move)
    for event in events[at:]:
        if isinstance(event, SpindleEvent):
            yield from run.event(event, math.nan)
    if run.spindle is not None and run.spindle.on and trace.ended == "%":
        message = "the file ends with the spindle on. End it with M5, and M2 or M30."
        yield run.finding("ends-turning", message, trace.last_line)


class _Run:
    """What is known of spindle and contact while a program runs."""

    def __init__(self, machine: Machine, file: str, look: ZeroLook | None) -> None:
        self.machine = machine
        self.look = look
        self.finding = partial(_finding, file)
        self.spindle: SpindleEvent | None = None
        self.settled = 0.0
        self.switched_by_hand = False
        self.contact = False
        self.checked = False
        """Whether the contact since the spindle was last switched has been checked."""

    def event(self, event: _Event, z: float) -> Iterator[Finding]:
        """An event between two moves, the cutter at a height `z`, mm."""
        match event:
            case SpindleEvent():
                if not event.on or self.spindle is None or not self.spindle.on:
                    self.settled = 0.0
                self.spindle, self.checked = event, False
                yield from self._switched(event)
            case Dwell():
                self.settled += event.seconds
            case Stop() if self.look is not None and event == self.look.stop:
                pass  # low, to be seen, and the spindle is off
            case Stop():
                if z < self.machine.clearance - 1e-6:
                    message = "the program stops with the cutter low. Go up first."
                    yield self.finding("stop-low", message, event.line)
                # Where a program can hold no words, the sheet has them.
                silent = self.machine.dialect.comments == "none"
                if not event.optional and (event.words or silent):
                    self.switched_by_hand = True
            case _:
                # another cutter comes in
                self.switched_by_hand = False
                if self.contact:
                    message = "the cutter is changed after it has cut. One file has one cutter."
                    yield self.finding("second-cutter", message, event.line)

    def move(self, move: TraceMove) -> Iterator[Finding]:
        """A move, which may reach the copper."""
        # a height may be unknown
        if not (move.start[2] < 0 or move.end[2] < 0) or move.kind == "probe":
            return
        self.contact = True
        if self.checked:
            return
        self.checked = True
        if not self.machine.spindle_by_program:
            if not self.switched_by_hand:
                message = (
                    "the cutter reaches the copper before a stop (M0) with a comment that says to "
                    "switch the spindle on."
                )
                yield self.finding("spindle-off", message, move.line)
        elif self.spindle is None or not self.spindle.on or not self.spindle.rpm > 0:
            message = "the cutter reaches the copper with the spindle off. M3 and S come first."
            yield self.finding("spindle-off", message, move.line)
        elif self.settled < self.machine.dwell - 1e-9:
            message = (
                f"the cutter reaches the copper {self.settled:g} s after the spindle starts, "
                f"required {self.machine.dwell:g} s. Dwell with G4."
            )
            yield self.finding("spindle-not-settled", message, move.line)

    def _switched(self, event: SpindleEvent) -> Iterator[Finding]:
        if event.on and not event.clockwise:
            message = "M4 turns the cutter backwards. Use M3."
            yield self.finding("spindle-backwards", message, event.line)
        if event.on and event.rpm > self.machine.max_spindle + 1e-6:
            message = f"S{event.rpm:g} is above the spindle's {self.machine.max_spindle:g}."
            yield self.finding("spindle-too-fast", message, event.line)


def _finding(file: str, code: str, message: str, line: int) -> Finding:
    return Finding(code=code, severity="stop", message=message, file=file, line=line)


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
