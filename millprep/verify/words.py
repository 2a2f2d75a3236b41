"""What a program says: modes, spindle, dwells, and the comments that a person acts on.

A controller follows the words, a person the comments: where Z is zeroed, which cutter is fitted.
Both must be what the job and the report say. Where the wording of a comment is not known, nothing
is required of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import partial

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.dialect import Dialect
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.block import parse, spelt
from millprep.verify.trace import Trace

REQUIRED = (170, 210, 400, 490, 540, 800, 900, 940)
"""Modes that a program sets before it moves, in tenths: what a person left is not known."""
DWELL = 40
"""G4, in tenths."""
LOOK = 4.0
"""The longest wait but that for the spindle, for a person to look, s."""
DIGIT = 0.051
"""Dwells are written with one decimal, s."""
_ZERO = re.compile(r"Z zero with it on the (\w+) at X(\S+) Y([^\s,]+)", re.ASCII)
_FIT = re.compile(r"fit ([A-Za-z0-9-]+), then set Z zero", re.ASCII)
_CUTTER = re.compile(
    r"(?:cutter|(?:MSG, )?change to) ([A-Za-z0-9-]+)(?:, T\d+)?: ([^:]*)", re.ASCII
)
_DEEPEST = re.compile(r"deepest Z(-?[\d.]+)", re.ASCII)
_START = re.compile(r"start the spindle at (\d+) rpm", re.ASCII)
_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e-?\d+)?")


def check_words(trace: Trace, program: Program, machine: Machine) -> Iterator[Finding]:
    """What is wrong with modes, spindle and dwells of one program, its trace alone in its part."""
    finding = partial(_finding, program.file)
    yield from _modes(trace, finding)
    yield from _dwells(trace, machine, finding)
    if program.work in ("dry-run", "probe"):
        for event in trace.spindle:
            if event.on:
                message = "the spindle is switched on in a program that cuts nothing."
                yield finding("spindle-not-off", message, event.line)
    else:
        yield from _speeds(trace, program, machine, finding)
    yield from _off_at_the_end(trace, machine, finding)


def _finding(file: str, code: str, message: str, line: int) -> Finding:
    message += f" {NOT_RUN}"
    return Finding(code=code, severity="stop", message=message, file=file, line=line)


def _modes(trace: Trace, finding: partial[Finding]) -> Iterator[Finding]:
    """All modes are set before the first motion."""
    said = {event.code for event in trace.modes if event.before == 0}
    missing = [spelt(code) for code in REQUIRED if code not in said]
    if missing and trace.moves:
        words = ", ".join(missing)
        message = f"the program moves before it says {words}, so it depends on what ran before it."
        yield finding("mode-missing", message, trace.moves[0].line)


def _dwells(trace: Trace, machine: Machine, finding: partial[Finding]) -> Iterator[Finding]:
    """No wait is longer than the job asks for."""
    own = [_waits(line, machine.dialect) for line in _own_lines(machine.dialect)]
    longest = max([machine.dwell, LOOK, *own]) + DIGIT
    for dwell in trace.dwells:
        if dwell.seconds > longest:
            message = (
                f"the program waits {dwell.seconds:g} s, the job asks for {machine.dwell:g} s "
                "after the spindle starts."
            )
            yield finding("dwell-too-long", message, dwell.line)


def _own_lines(dialect: Dialect) -> Sequence[str]:
    return (*dialect.start_lines, *dialect.end_lines)


def _waits(line: str, dialect: Dialect) -> float:
    """Seconds of a dwell in a person's own line; 0 without."""
    block = parse(line, dialect.comments)
    unit = 0.001 if dialect.dwell_unit == "ms" else 1.0
    return block.words["P"] * unit if DWELL in block.g else 0.0


def _speeds(
    trace: Trace, program: Program, machine: Machine, finding: partial[Finding]
) -> Iterator[Finding]:
    """The spindle turns as fast as the cutter's table says."""
    required = min(program.cutter.spindle, machine.max_spindle)
    name = program.cutter.name
    if machine.spindle_by_program:
        speeds = [(event.rpm, event.line) for event in trace.spindle if event.on]
    else:
        speeds = [
            (float(match[1]), s.line) for s in trace.stops if (match := _START.search(s.words))
        ]
    for rpm, line in speeds:
        if abs(rpm - required) > 0.51:
            message = f"the spindle turns at {rpm:g} rpm, the job says {required:g} for {name}."
            yield finding("spindle-speed", message, line)


def _off_at_the_end(trace: Trace, machine: Machine, finding: partial[Finding]) -> Iterator[Finding]:
    """After its last cut a program switches the spindle off, or stops for a person to do it."""
    if machine.spindle_by_program:
        if trace.spindle and trace.spindle[-1].on:
            message = "the program ends with the spindle on. M5 comes before the end."
            yield finding("ends-turning", message, trace.last_line)
        return
    low = [i for i, m in enumerate(trace.moves) if min(m.start[2], m.end[2]) < 0]
    turns = any(not s.optional and _START.search(s.words) for s in trace.stops)
    if turns and low and not any(s.before > low[-1] and not s.optional for s in trace.stops):
        message = "the program ends without a stop (M0) for a person to switch the spindle off."
        yield finding("ends-turning", message, trace.last_line)


def check_comments(
    trace: Trace, programs: Sequence[Program], cutters: Sequence[Cutter]
) -> Iterator[Finding]:
    """Where the comments of a file say other things than set and job.

    Args:
        trace: the whole file.
        programs: those that it holds, in order.
        cutters: all of the job's.
    """
    first, named = programs[0], {cutter.name: cutter for cutter in cutters}
    on = "spoilboard" if first.mill_pass == 0 else "copper"
    differs = partial(_finding, first.file, "comment-differs")
    for remark in trace.remarks:
        if (zero := _ZERO.search(remark.words)) is not None:
            x, y, _ = first.start
            if zero[1] != on or not _near(zero[2], x) or not _near(zero[3], y):
                message = (
                    f"a comment says to zero Z on the {zero[1]} at X{zero[2]} Y{zero[3]}; the "
                    f"place is X{x:.4f} Y{y:.4f} on the {on}."
                )
                yield differs(message, remark.line)
        if (deepest := _DEEPEST.match(remark.words)) is not None:
            part = [m for m in trace.moves if m.line > remark.line]
            later = [
                r.line for r in trace.remarks if r.line > remark.line and _DEEPEST.match(r.words)
            ]
            low = min((m.end[2] for m in part if not later or m.line < later[0]), default=0.0)
            if not _near(deepest[1], low):
                message = (
                    f"a comment says that the deepest place is Z{deepest[1]}; it is Z{low:.4f}."
                )
                yield differs(message, remark.line)
        if (fit := _FIT.match(remark.words)) is not None and fit[1] != first.cutter.name:
            message = f"a comment says to fit {fit[1]}; the cutter is {first.cutter.name}."
            yield differs(message, remark.line)
        if (match := _CUTTER.match(remark.words)) is not None and match[1] in named:
            cutter = named[match[1]]
            said = [float(word) for word in _NUMBER.findall(match[2].partition(".  ")[0])]
            sizes = _sizes(cutter)
            if not all(any(abs(size - s) <= 1e-5 * max(size, 1) for s in said) for size in sizes):
                words = " and ".join(f"{size:g}" for size in sizes)
                message = f"a comment gives {cutter.name} another size than the job, {words}."
                yield differs(message, remark.line)


def _sizes(cutter: Cutter) -> tuple[float, ...]:
    """The numbers by which a person knows a cutter."""
    if isinstance(cutter, Vee):
        return (cutter.tip, cutter.angle)
    assert isinstance(cutter, EndMill | Drill)
    return (cutter.diameter,)


def _near(text: str, place: float) -> bool:
    """Whether a place is written so, with two decimals at least."""
    try:
        return abs(float(text) - place) <= 0.0051
    except ValueError:
        return False
