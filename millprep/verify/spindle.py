"""The spindle turns, the right way round and settled, before the cutter meets the copper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.verify.trace import Dwell, SpindleEvent, Stop, ToolChange, Trace

_Event = SpindleEvent | Dwell | Stop | ToolChange


def spindle_rules(trace: Trace, machine: Machine, *, file: str) -> Iterator[Finding]:
    """Findings about spindle, stops and the change of cutters, in the order of the file.

    A person who switches the spindle needs a stop (M0) with words before the first contact;
    a program that switches it needs M3, a speed, and G4 for as long as the machine asks.
    """
    finding = partial(_finding, file)
    events: list[_Event] = [*trace.spindle, *trace.dwells, *trace.stops, *trace.tool_changes]
    # A line may change tool, start and stop: the reader files them in this order.
    kinds = (ToolChange, SpindleEvent, Dwell, Stop)
    events.sort(key=lambda event: (event.before, event.line, kinds.index(type(event))))
    dumb = machine.dialect.comments == "none"
    state: SpindleEvent | None = None
    settled = 0.0
    by_hand = False
    contact = False
    told = False
    at = 0
    for i, move in enumerate(trace.moves):
        while at < len(events) and events[at].before <= i:
            event = events[at]
            at += 1
            match event:
                case SpindleEvent():
                    if not event.on or state is None or not state.on:
                        settled = 0.0
                    state, told = event, False
                    yield from _turning(event, machine, file)
                case Dwell():
                    settled += event.seconds
                case Stop():
                    z = trace.moves[i - 1].end[2] if i else math.nan
                    if z < machine.clearance - 1e-6:
                        message = "the program stops with the cutter low. Go up first."
                        yield finding("stop-low", message, event.line)
                    # where no words can stand, the sheet has them
                    if not event.optional and (event.words or dumb):
                        by_hand = True
                case ToolChange():
                    by_hand = False
                    if contact:
                        message = "the cutter is changed after it has cut. One file has one cutter."
                        yield finding("second-cutter", message, event.line)
        z = _lowest(move.start[2], move.end[2])
        if not z < 0 or move.kind == "probe":
            continue
        contact = True
        if told:
            continue
        told = True
        if not machine.spindle_by_program:
            if not by_hand:
                yield finding(
                    "spindle-off",
                    "the cutter reaches the copper before a stop (M0) with a comment that says to "
                    "switch the spindle on.",
                    move.line,
                )
        elif state is None or not state.on or not state.rpm > 0:
            message = "the cutter reaches the copper with the spindle off. M3 and S come first."
            yield finding("spindle-off", message, move.line)
        elif settled < machine.dwell - 1e-9:
            yield finding(
                "spindle-not-settled",
                f"the cutter reaches the copper {settled:g} s after the spindle starts, "
                f"required {machine.dwell:g} s. Dwell with G4.",
                move.line,
            )
    while at < len(events):
        event = events[at]
        at += 1
        if isinstance(event, SpindleEvent):
            state = event
            yield from _turning(event, machine, file)
    if state is not None and state.on and trace.ended == "%":
        message = "the file ends with the spindle on. End it with M5, and M2 or M30."
        yield finding("ends-turning", message, trace.last_line)


def _turning(event: SpindleEvent, machine: Machine, file: str) -> Iterator[Finding]:
    if event.on and not event.clockwise:
        message = "M4 turns the cutter backwards. Use M3."
        yield _finding(file, "spindle-backwards", message, event.line)
    if event.on and event.rpm > machine.max_spindle + 1e-6:
        message = f"S{event.rpm:g} is above the spindle's {machine.max_spindle:g}."
        yield _finding(file, "spindle-too-fast", message, event.line)


def _lowest(one: float, other: float) -> float:
    """The lower of two heights, either of which may be unknown."""
    return min((z for z in (one, other) if not math.isnan(z)), default=math.nan)


def _finding(file: str, code: str, message: str, line: int) -> Finding:
    return Finding(code=code, severity="stop", message=message, file=file, line=line)
