"""The spindle turns, the right way round and settled, before the cutter reaches the copper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.verify.trace import (
    Dwell,
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
        if not _lowest(move.start[2], move.end[2]) < 0 or move.kind == "probe":
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


def _lowest(*heights: float) -> float:
    """The lowest of heights, any of which may be unknown."""
    return min((z for z in heights if not math.isnan(z)), default=math.nan)


def _finding(file: str, code: str, message: str, line: int) -> Finding:
    return Finding(code=code, severity="stop", message=message, file=file, line=line)
