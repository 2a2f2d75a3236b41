"""Where X, Y and Z are zero in a pass, and how to find a lost zero again, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.geometry.path import Point
    from millprep.model.milling_pass import MillingPass, RegistrationHole
    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet

CHECKED = "0.05"
"""A zero found again is good when the second place shows within this, mm: common practice, no
source."""

Mark = tuple[str, "Point"]
"""What it is called and where it is on the machine."""


def zero_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """Where X, Y and Z are zero in this pass, and how to find a lost X and Y again."""
    words = [
        _xy(cut_set, milling_pass),
        f"Z: touch off on the copper at {place(milling_pass.touch)}, where nothing is ever cut. "
        "The copper's surface is Z 0.",
        "Zero Z at this same point before the first program and again after every change of "
        "cutter. X and Y stay as they are.",
    ]
    if milling_pass.levelling is not None:
        words.append(
            "The programs of this pass follow the surface that was probed. Since then the blank, "
            "its clamps and the zero of X and Y must not have moved; if they have, probe again."
        )
    return (*words, *lost(cut_set, milling_pass))


def _xy(cut_set: CutSet, milling_pass: MillingPass) -> str:
    if cut_set.resumed:
        return "X and Y: keep the zero; do not set it again."
    if milling_pass.number > 1:
        return "X and Y: keep the zero of the pass before; do not set it again."
    corner = place(milling_pass.pose.point((0.0, 0.0)))
    return (
        f"X and Y: the blank's lower-left corner is at {corner}. Set the zero so that the display "
        "shows these numbers when the spindle's axis is over that corner."
    )


def lost(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """How to find X and Y again after a power failure, by two pins or holes far apart."""
    pins = on_pins(cut_set)
    used = [(h.id, h.machine) for h in milling_pass.registration if h.role == "locate"]
    drilled = [
        (h.id, milling_pass.pose.point(h.blank))
        for h in drilled_now(cut_set, milling_pass)
        if h.role != "witness"
    ]
    marks = used or drilled
    if len(marks) < 2:
        return ()
    first, second = farthest(marks)
    if pins and used:
        mark, how = "pin", "lift the blank off and touch the pin from outside"
    else:
        mark, how = "hole", "touch the hole from inside"
    words = (
        f"If X and Y are lost, for example after a power failure: {how} on both sides along X, "
        f"then along Y. Over the centre of {mark} {plain(first[0])} set {exact(first[1])}. Check: "
        f"the centre of {mark} {plain(second[0])} must then show {exact(second[1])} within "
        f"{CHECKED} mm."
    )
    if milling_pass.number == 1:
        until = (
            "use the pin holes in the spoilboard; they are where the pins of the later passes are "
            "listed"
            if pins
            else "use the blank's corner"
        )
        words += f" Until {plain(first[0])} is drilled, {until}."
    return (words,)


def farthest(marks: Sequence[Mark]) -> tuple[Mark, Mark]:
    """The two that are farthest apart."""
    pairs = [(a, b) for i, a in enumerate(marks) for b in marks[i + 1 :]]
    return max(pairs, key=lambda pair: round(math.dist(pair[0][1], pair[1][1]), 6))


def exact(at: Point) -> str:
    """A place to the micrometre."""
    return f"X {number(at[0], 3)}  Y {number(at[1], 3)}"


def drilled_now(cut_set: CutSet, milling_pass: MillingPass) -> list[RegistrationHole]:
    """The holes and crosses for later passes that this pass makes."""
    made = {
        hole.id: hole
        for other in cut_set.blank(milling_pass.blank).passes
        for hole in other.registration
        if hole.drilled_in == milling_pass.number
    }
    return list(made.values())


def spoilboard_programs(cut_set: CutSet) -> tuple[Program, ...]:
    """The programs run with the blank off, such as the one that bores the pin holes."""
    return tuple(program for blank in cut_set.blanks for program in blank.spoilboard)


def on_pins(cut_set: CutSet) -> bool:
    """Whether a moved blank drops onto pins; a set that bores the spoilboard means them."""
    if cut_set.locating is None:
        return bool(spoilboard_programs(cut_set))
    return cut_set.locating == "pins"


def touching(milling_pass: MillingPass) -> Program | None:
    """The program that touches the holes of a pass, if it has one."""
    return next((p for p in milling_pass.programs if p.work == "probe"), None)
