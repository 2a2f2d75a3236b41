"""The head of a program: comments for the person at the machine, and its first and last moves.

A program begins and ends at the top of the free travel: from an unknown height a move there goes
up, and the cutter can be changed. At the start it goes down to `HOVER` over the place where Z was
zeroed and stops, the spindle off, for a person to look at the gap from near: a Z zero that is wrong
shows there and not in the copper. Down to it the cutter feeds, since Z is not proved yet, and takes
a second for the last millimetres: where it slows down too near to the copper, Z zero is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.machine import Machine
from millprep.model.program import Move, Program

HOVER = 1.0
"""Height above the copper at which a program shows a place, mm."""
LOOK_FEED = 600.0
"""Slow enough for a hand on the stop, mm/min: common practice, no source."""
SLOW_FROM = 5.0
"""Height above the copper from which a cutter comes down slowly for a look, mm."""
SLOW_FEED = 240.0
"""From there to `HOVER` it takes a second, in which a person sees the gap, mm/min."""
WIDTH = 200
"""No line of a program is longer."""


def comment_text(text: str) -> str:
    """Text fit for a comment: no brackets, no control or foreign characters.

    Nor is there any that some controllers obey wherever it is in a line: ! ~ ? and %.
    """
    plain = re.sub(r"[^\x20-\x7e]|[!~?%]", "_", text.replace("(", "[").replace(")", "]"))
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
    if program.lies is not None:
        return f"blank {program.blank}, {program.lies}"
    return f"blank {program.blank}, pass {program.mill_pass}"


def _deepest(program: Program) -> float:
    """The lowest a program goes; above zero where it never meets the copper.

    Without cuts that is the look over the place of Z zero.
    """
    return -program.depth if program.spins else min(HOVER, *(move.z for move in program.moves))


def _lowest_travel(program: Program) -> float:
    """The lowest that a program goes across at rapid."""
    at, low = program.start[:2], program.start[2]
    for move in program.moves:
        if move.motion == "rapid" and (move.x, move.y) != at:
            low = min(low, move.z)
        at = (move.x, move.y)
    return low


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
    yield (
        f"first it comes down over the place of Z zero for a look, the spindle off: quickly to "
        f"{SLOW_FROM:g} mm, then slowly. Keep a hand on the stop"
    )
    yield (
        f"deepest Z{number(_deepest(program))}, rapid moves across at Z{number(program.start[2])}, "
        f"first and last move up to Z{number(machine.top)}"
    )
    low = _lowest_travel(program)
    if low < program.start[2]:
        yield f"from cut to cut, off clamps and pins, rapid moves across at Z{number(low)}"
    yield from program.notes


def first_moves(program: Program, machine: Machine) -> tuple[Move, ...]:
    """Up, over the touch point, down for a look, and to where the program starts."""
    x, y, z = program.start
    words = (
        f"look: the tip must be {HOVER:g} mm above {program.zero_on}. If it is not, stop the "
        "machine, go up and set Z zero again; if it is, go on"
    )
    *quick, last = down_for_a_look((x, y, machine.top), machine)
    return (
        Move("rapid", x, y, machine.top),
        Move("rapid", x, y, machine.top),
        *quick,
        last._replace(stop=words),
        Move("rapid", x, y, z),
    )


def down_for_a_look(at: tuple[float, float, float], machine: Machine) -> Iterator[Move]:
    """Straight down to `HOVER`, slowly from `SLOW_FROM`; the spindle is off."""
    x, y, z = at
    quick = min(LOOK_FEED, machine.max_feed)
    if z > SLOW_FROM:
        yield Move("feed", x, y, SLOW_FROM, feed=quick)
    slow = min(SLOW_FEED, quick, machine.max_plunge)
    yield Move("feed", x, y, HOVER, feed=slow)


def last_move(at: tuple[float, float, float], machine: Machine) -> Move:
    """Straight up, where the cutter can be changed."""
    return Move("rapid", at[0], at[1], machine.top)
