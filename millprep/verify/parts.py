"""A file that holds the programs of several cutters, taken apart at the stops between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from millprep.verify.change import asked_for, named
from millprep.verify.trace import Dwell, Remark, SpindleEvent, Stop, ToolChange, Trace

Event = TypeVar("Event", SpindleEvent, Dwell, Stop, ToolChange, Remark)


@dataclass(frozen=True, slots=True)
class Part:
    """All that one cutter does.

    Attributes:
        trace: its motion and events, as if they were a file; lines are those of the file.
        cutter: its name as the file tells it; None when it does not.
        stop: at which it was put in; None for the first, which is there when the file starts.
        change: M6 just before that stop, or before all motion.
        first: line in which it begins.
    """

    trace: Trace
    cutter: str | None
    stop: Stop | None
    change: ToolChange | None
    first: int


def parts(trace: Trace) -> list[Part]:
    """The parts of a file, one at least."""
    stops = [s for s in trace.stops if not s.optional and asked_for(s.words)]
    found: list[Part] = []
    last = 0
    entry: Stop | None = None
    for stop in [*stops, None]:
        end = stop.line if stop is not None else trace.last_line
        change = None if entry is None else _change(trace, entry)
        piece = _between(trace, last, end, stop, goes_on=stop is not None)
        if piece.moves or stop is None:
            cutter = asked_for(entry.words) if entry else named(piece.remarks)
            found.append(Part(piece, cutter, entry, change, last + 1))
        elif entry is not None:
            # two stops with nothing between: the second asks for a cutter that never cut
            found.append(Part(piece, asked_for(entry.words), entry, change, last + 1))
        last, entry = end, stop
    return found


def _change(trace: Trace, stop: Stop) -> ToolChange | None:
    """M6 just before a stop, no motion between."""
    near = [c for c in trace.tool_changes if c.line <= stop.line and c.before == stop.before]
    return near[-1] if near else None


def _between(trace: Trace, after: int, end: int, stop: Stop | None, *, goes_on: bool) -> Trace:
    """What stands in the lines after one and up to another, without the stop that ends it."""
    moves = [i for i, m in enumerate(trace.moves) if after < m.line <= end]
    first = moves[0] if moves else 0
    change = None if stop is None else _change(trace, stop)
    # M6 stops the spindle by itself, which is no reason not to say M5
    left_out = {one.line for one in (stop, change) if one is not None}

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
    )
