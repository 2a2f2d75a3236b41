"""A stop at which another cutter comes in, and what must hold there."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.verify.trace import Remark, Stop, ToolChange, Trace

_CHANGE = re.compile(r"(?:MSG, *)?change to ([A-Za-z0-9-]+)(?:, T\d+)?:", re.ASCII)
_CUTTER = re.compile(r"cutter ([A-Za-z0-9-]+):", re.ASCII)
SLACK = 1e-6


def asked_for(stop_words: str) -> str | None:
    """The cutter that the words at a stop ask for, by its name; None when they ask for none.

    >>> asked_for("MSG, change to mill-2, T3: end mill, 2 mm. Set Z zero with it")
    'mill-2'
    """
    found = _CHANGE.match(stop_words)
    return found[1] if found else None


def named(remarks: Sequence[Remark]) -> str | None:
    """The cutter that a head names; None when no comment does."""
    found = (_CUTTER.match(remark.words) for remark in remarks)
    return next((match[1] for match in found if match), None)


def change_rules(
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
        yield unsafe("the cutter is changed before a stop (M0) that asks to stop the spindle.")
    x, y, z = before.moves[-1].end
    if not z >= machine.clearance - SLACK:
        yield unsafe("the cutter is changed below clearance. Go up first.")
    # the file has the place with as many decimals as the machine takes
    if not max(abs(x - at[0]), abs(y - at[1])) <= machine.dialect.digit:
        yield unsafe("the cutter is changed elsewhere than where Z is zeroed with the next one.")


def tool_rules(
    change: ToolChange | None, number: int, machine: Machine, *, file: str, line: int
) -> Iterator[Finding]:
    """What is wrong with T and M6 before a cutter whose number is known."""
    if machine.tool_change != "changer":
        if change is not None:
            message = "M6 changes the cutter, and [machine] tool_change says otherwise."
            yield Finding(
                code="change-unasked", severity="stop", message=message, file=file, line=change.line
            )
        return
    told = 0 if change is None else change.tool
    if told != number:
        found = f"T{told}" if change is not None else "no M6"
        yield Finding(
            code="cutter-differs",
            severity="stop",
            message=f"{found} stands before the program of cutter T{number}. Write the set again.",
            file=file,
            line=line,
        )
