"""The comments at the head of a program, for the person at the machine."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.machine import Machine
from millprep.model.program import Program

WIDTH = 200
"""No line of a program is longer."""


def comment_text(text: str) -> str:
    """Text fit for a comment: no brackets, no control or foreign characters."""
    plain = re.sub(r"[^\x20-\x7e]", "?", text.replace("(", "[").replace(")", "]"))
    return plain[: WIDTH - 10]


def describe(cutter: Cutter) -> str:
    """The cutter in words, for the person who fits it."""
    if isinstance(cutter, Vee):
        return f"vee, tip {cutter.tip:g} mm, {cutter.angle:g} degrees included"
    if isinstance(cutter, EndMill):
        return f"end mill, {cutter.diameter:g} mm"
    assert isinstance(cutter, Drill)
    return f"drill, {cutter.diameter:g} mm"


def _position(program: Program) -> str:
    """Where the blank lies when the program runs."""
    if program.mill_pass == 0:
        return f"the spoilboard, pins for blank {program.blank}"
    return f"blank {program.blank}, pass {program.mill_pass}"


def _deepest(program: Program) -> float:
    """The lowest a program goes; above zero where it never meets the copper."""
    return -program.depth if program.spins else min(move.z for move in program.moves)


def head(
    program: Program, machine: Machine, place: tuple[int, int], number: Callable[[float], str]
) -> Iterator[str]:
    """Which program this is, its cutter, where to zero Z, how deep it goes.

    Args:
        program: what follows.
        machine: its heights, and whether it changes cutters by itself.
        place: which part of its file it is, and of how many.
        number: how numbers are spelt.
    """
    part, parts = place
    x, y, _ = program.start
    which = f", part {part} of {parts}" if parts > 1 else ""
    yield f"{_position(program)}{which}, {' and '.join(program.works)}"
    yield f"cutter {program.cutter.name}: {describe(program.cutter)}"
    if part == 1 and machine.tool_change != "changer":
        # others have a stop of their own
        yield (
            f"fit {program.cutter.name}, then set Z zero with it on {program.zero_on} at "
            f"X{number(x)} Y{number(y)}"
        )
    yield "X and Y zero stay as they were set for this pass"
    yield f"deepest Z{number(_deepest(program))}, rapid moves at Z{number(program.start[2])}"
    yield from program.notes
