"""A file with the programs of several cutters, split where the cutter changes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from millprep.model.cutter import Cutter
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.trace import (
    Dwell,
    ModeEvent,
    PathEvent,
    Remark,
    SpindleEvent,
    Stop,
    ToolChange,
    Trace,
)

_CHANGE = re.compile(r"(?:MSG, *)?change to ([A-Za-z0-9-]+)(?:, T\d+)?:", re.ASCII)
_CUTTER = re.compile(r"cutter ([A-Za-z0-9-]+):", re.ASCII)
_SLACK = 1e-6
REPORTED = 1e-4
"""The last digit of a place in the report, mm."""
Event = TypeVar("Event", SpindleEvent, Dwell, Stop, ToolChange, Remark, PathEvent, ModeEvent)


def requested_cutter(stop_words: str) -> str | None:
    """The cutter that the words at a stop ask for, by its name; None when they ask for none.

    >>> requested_cutter("MSG, change to mill-2, T3: end mill, 2 mm. Set Z zero with it")
    'mill-2'
    """
    match = _CHANGE.match(stop_words)
    return match[1] if match else None


def named_cutter(remarks: Sequence[Remark]) -> str | None:
    """The cutter that a head names; None when no comment does."""
    matches = (_CUTTER.match(remark.words) for remark in remarks)
    return next((match[1] for match in matches if match), None)


def check_cutter_change(
    before: Trace, stop: Stop, at: tuple[float, float], machine: Machine, *, file: str
) -> Iterator[Finding]:
    """What is wrong with how a cutter that has cut is left at the stop for the next one.

    `before` is all since it came in; `at` is where Z is zeroed.
    """

    def unsafe(message: str) -> Finding:
        return Finding(
            code="change-unsafe", severity="stop", message=message, file=file, line=stop.line
        )

    low = [i for i, m in enumerate(before.moves) if min(m.start[2], m.end[2]) < 0]
    if machine.spindle_by_program:
        if before.spindle and before.spindle[-1].on:
            yield unsafe("the cutter is changed with the spindle on. M5 comes first.")
    elif low and not any(s.before > low[-1] and not s.optional for s in before.stops):
        yield unsafe("the cutter is changed before a stop (M0) for switching the spindle off.")
    x, y, z = before.moves[-1].end
    if not z >= machine.top - _SLACK:
        yield unsafe(f"the cutter is changed below Z{machine.top:g}. Go up first.")
    # the file has the place with as many decimals as the machine takes, the report with four
    if not max(abs(x - at[0]), abs(y - at[1])) <= max(machine.dialect.digit, REPORTED):
        yield unsafe(
            "the cutter is changed away from the place where Z is zeroed with the next one."
        )


def check_tool_number(
    change: ToolChange | None, number: int, machine: Machine, *, file: str, line: int
) -> Iterator[Finding]:
    """What is wrong with T and M6 before a cutter whose number is known."""
    if machine.tool_change != "changer":
        if change is not None:
            message = "M6 changes the cutter, but [machine] tool_change does not allow it."
            yield Finding(
                code="change-unexpected",
                severity="stop",
                message=message,
                file=file,
                line=change.line,
            )
        return
    number_read = 0 if change is None else change.tool
    if number_read != number:
        words = f"T{number_read}" if change is not None else "no M6"
        yield Finding(
            code="cutter-differs",
            severity="stop",
            message=f"{words} before the program of cutter T{number}. {NOT_RUN}",
            file=file,
            line=line,
        )


@dataclass(frozen=True, slots=True)
class Part:
    """All that one cutter does.

    Attributes:
        trace: its motion and events, as if they were a file; lines are those of the file.
        cutter: its name as the file gives it; None when it gives none.
        stop: at which it was put in; None for the first, which is there when the file starts.
        change: M6 just before that stop, or before all motion.
        first: line in which it begins.
    """

    trace: Trace
    cutter: str | None
    stop: Stop | None
    change: ToolChange | None
    first: int


def split_by_cutter(trace: Trace) -> list[Part]:
    """The parts of a file, one at least."""
    stops = [s for s in trace.stops if not s.optional and requested_cutter(s.words)]
    parts: list[Part] = []
    last = 0
    entry: Stop | None = None
    for stop in [*stops, None]:
        end = stop.line if stop is not None else trace.last_line
        change = None if entry is None else _change(trace, entry)
        piece = _between(trace, last, end, stop, goes_on=stop is not None)
        # of two stops with nothing between the second asks for a cutter that never cut
        if piece.moves or stop is None or entry is not None:
            cutter = requested_cutter(entry.words) if entry else named_cutter(piece.remarks)
            parts.append(Part(piece, cutter, entry, change, last + 1))
        last, entry = end, stop
    return parts


def _change(trace: Trace, stop: Stop) -> ToolChange | None:
    """M6 just before a stop, no motion between."""
    near = [c for c in trace.tool_changes if c.line <= stop.line and c.before == stop.before]
    return near[-1] if near else None


def _between(trace: Trace, after: int, end: int, stop: Stop | None, *, goes_on: bool) -> Trace:
    """What is in the lines after one and up to another, without the stop that ends it."""
    moves = [i for i, m in enumerate(trace.moves) if after < m.line <= end]
    first = moves[0] if moves else 0
    change = None if stop is None else _change(trace, stop)
    # M6 stops the spindle by itself, which is no reason not to say M5
    left_out = {event.line for event in (stop, change) if event is not None}

    def here(events: Sequence[Event]) -> tuple[Event, ...]:
        return tuple(
            event._replace(before=max(event.before - first, 0))
            for event in events
            if after < event.line <= end and event.line not in left_out
        )

    return replace(
        trace,
        moves=tuple(trace.moves[i] for i in moves),
        spindle=here(trace.spindle),
        dwells=here(trace.dwells),
        stops=here(trace.stops),
        tool_changes=here(trace.tool_changes),
        ended="M2" if goes_on else trace.ended,
        last_line=end,
        deletable=tuple(line for line in trace.deletable if after < line <= end),
        cycles=tuple(line for line in trace.cycles if after < line <= end),
        remarks=here(trace.remarks),
        paths=here(trace.paths),
        modes=here(trace.modes),
    )


@dataclass(frozen=True, slots=True)
class FilePrograms:
    """The programs of one file as the file has them, one trace each, and what is wrong."""

    programs: tuple[Program, ...]
    traces: tuple[Trace, ...]
    findings: tuple[Finding, ...]


def programs_of_file(
    trace: Trace, programs: Sequence[Program], cutters: Sequence[Cutter], machine: Machine
) -> FilePrograms:
    """A file taken apart, each part with the cutter that the file names for it.

    Args:
        trace: the whole file.
        programs: those that a set says it holds, in order.
        cutters: all of the job's; T of a cutter is its place among them, from 1.
        machine: how it changes cutters.
    """
    file = programs[0].file
    parts = split_by_cutter(trace)
    findings: list[Finding] = []
    if len(parts) != len(programs):
        message = f"the file has {len(parts)} cutters, the set says {len(programs)}. {NOT_RUN}"
        findings.append(_differs(message, file, parts[-1].first))
        # what is missing does nothing
        parts = [*parts, *[_nothing(parts[-1])] * len(programs)][: len(programs)]
    named = {cutter.name: cutter for cutter in cutters}
    runs: list[Program] = []
    for n, (part, program) in enumerate(zip(parts, programs, strict=True)):
        findings += _identity(part, program, machine)
        number = 1 + next((i for i, c in enumerate(cutters) if c.name == program.cutter.name), -1)
        line = part.stop.line if part.stop else part.first
        findings += check_tool_number(part.change, number, machine, file=file, line=line)
        if n and part.stop is not None and parts[n - 1].trace.moves:
            before = parts[n - 1].trace
            findings += check_cutter_change(
                before, part.stop, program.start[:2], machine, file=file
            )
        runs.append(replace(program, cutter=named.get(part.cutter or "", program.cutter)))
    return FilePrograms(tuple(runs), tuple(part.trace for part in parts), tuple(findings))


def _nothing(like: Part) -> Part:
    """A part without motion, where there should be one."""
    trace = replace(
        like.trace, moves=(), spindle=(), dwells=(), stops=(), tool_changes=(), remarks=(),
        paths=(), modes=(),
        cycles=(), deletable=(),
    )  # fmt: skip
    return Part(trace, None, like.stop, None, like.first)


def _identity(part: Part, program: Program, machine: Machine) -> Iterator[Finding]:
    """What the file says of its cutter and the set does not."""
    if machine.dialect.comments == "none" and part.cutter is None:
        return  # the file cannot say it
    if part.cutter != program.cutter.name:
        named = "no cutter" if part.cutter is None else f"cutter {part.cutter}"
        message = f"the file names {named}, the set says {program.cutter.name}. {NOT_RUN}"
        yield _differs(message, program.file, part.stop.line if part.stop else part.first)


def _differs(message: str, file: str, line: int) -> Finding:
    return Finding(code="cutter-differs", severity="stop", message=message, file=file, line=line)
