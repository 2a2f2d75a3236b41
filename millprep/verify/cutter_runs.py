"""Which cutter runs which motion: what a file itself tells, held against what a set says of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.change import change_rules, tool_rules
from millprep.verify.parts import Part, parts
from millprep.verify.trace import Trace


@dataclass(frozen=True, slots=True)
class Told:
    """The programs of one file as the file has them, one trace each, and what is wrong."""

    programs: tuple[Program, ...]
    traces: tuple[Trace, ...]
    findings: tuple[Finding, ...]


def as_told(
    trace: Trace, programs: Sequence[Program], cutters: Sequence[Cutter], machine: Machine
) -> Told:
    """A file taken apart, each part with the cutter that the file names for it.

    Args:
        trace: the whole file.
        programs: those that a set says it holds, in order.
        cutters: all of the job's; T of a cutter is its place among them, from 1.
        machine: how it changes cutters.
    """
    file = programs[0].file
    found = parts(trace)
    findings: list[Finding] = []
    if len(found) != len(programs):
        message = (
            f"the file has {len(found)} cutters, the set says {len(programs)}. Write the set again."
        )
        findings.append(_differs(message, file, found[-1].first))
        # what is missing does nothing
        found = [*found, *[_nothing(found[-1])] * len(programs)][: len(programs)]
    named = {cutter.name: cutter for cutter in cutters}
    runs: list[Program] = []
    for n, (part, program) in enumerate(zip(found, programs, strict=True)):
        findings += _identity(part, program, machine)
        number = 1 + next((i for i, c in enumerate(cutters) if c.name == program.cutter.name), -1)
        line = part.stop.line if part.stop else part.first
        findings += tool_rules(part.change, number, machine, file=file, line=line)
        if n and part.stop is not None and found[n - 1].trace.moves:
            before = found[n - 1].trace
            findings += change_rules(before, part.stop, program.start[:2], machine, file=file)
        runs.append(replace(program, cutter=named.get(part.cutter or "", program.cutter)))
    return Told(tuple(runs), tuple(part.trace for part in found), tuple(findings))


def _nothing(like: Part) -> Part:
    """A part without motion, where there should be one."""
    trace = replace(
        like.trace, moves=(), spindle=(), dwells=(), stops=(), tool_changes=(), remarks=(),
        cycles=(), deletable=(),
    )  # fmt: skip
    return Part(trace, None, like.stop, None, like.first)


def _identity(part: Part, program: Program, machine: Machine) -> Iterator[Finding]:
    """What the file says of its cutter and the set does not."""
    if machine.dialect.comments == "none" and part.cutter is None:
        return  # the file cannot say it
    if part.cutter != program.cutter.name:
        found = "no cutter" if part.cutter is None else f"cutter {part.cutter}"
        message = (
            f"the file names {found}, the set says {program.cutter.name}. Write the set again; do "
            "not run this file."
        )
        yield _differs(message, program.file, part.stop.line if part.stop else part.first)


def _differs(message: str, file: str, line: int) -> Finding:
    return Finding(code="cutter-differs", severity="stop", message=message, file=file, line=line)
