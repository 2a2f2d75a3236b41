"""Where X, Y and Z are zero in a pass, and how a lost zero is found again, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from millprep.report.bed import on_pins
from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.values.cut_set import CutSet
    from millprep.values.milling_pass import MillingPass, RegistrationHole
    from millprep.values.path import Point

ZERO_AGAIN = (
    "Zero Z at this same point before the first program and again after every change of cutter. "
    "X and Y stay as they are."
)
CHECKED = 0.05
"""A zero found again is good when the second place shows within this, mm: common practice, no
source."""

Mark = tuple[str, "Point"]
"""What it is called and where it stands on the machine."""


def zero_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """Where X, Y and Z are zero in this pass, and how to find a lost X and Y again."""
    corner = milling_pass.pose.point((0.0, 0.0))
    xy = (
        "X and Y: keep the zero of the pass before; do not set it again."
        if milling_pass.number > 1
        else f"X and Y: the low left corner of the blank stands at {place(corner)} of the "
        "machine. Set the zero so that the display shows these numbers with the spindle's axis "
        "over that corner."
    )
    return (
        xy,
        *lost(cut_set, milling_pass),
        f"Z: touch off on the copper at {place(milling_pass.touch)}. Nothing is ever cut there. "
        "The copper's surface is Z 0.",
        ZERO_AGAIN,
    )


def lost(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """How to find X and Y again after a power failure, by two pins or holes far apart."""
    pins = on_pins(cut_set)
    now = milling_pass.number
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
        what, how = "pin", "lift the blank off, and touch the pin from outside"
    else:
        what, how = "hole", "touch the hole from within"
    words = (
        f"If X and Y were lost, as after a power failure: {how} on both sides along X, then along "
        f"Y. Over the middle of {what} {plain(first[0])} set {exact(first[1])}. Check: the middle "
        f"of {what} {plain(second[0])} must then show {exact(second[1])} within {CHECKED:g} mm."
    )
    if now == 1:
        words += (
            f" Until {plain(first[0])} is drilled, go by the pin holes in the bed, which stand "
            "where the pins of the later passes are listed."
            if pins
            else f" Until {plain(first[0])} is drilled, go by the blank's corner."
        )
    return (words,)


def farthest(marks: Sequence[Mark]) -> tuple[Mark, Mark]:
    """The two that lie farthest apart."""
    pairs = [(a, b) for i, a in enumerate(marks) for b in marks[i + 1 :]]
    return max(pairs, key=lambda pair: round(math.dist(pair[0][1], pair[1][1]), 6))


def exact(at: Point) -> str:
    """A place to the micrometre."""
    return f"X {number(at[0], 3)}  Y {number(at[1], 3)}"


def drilled_now(cut_set: CutSet, milling_pass: MillingPass) -> list[RegistrationHole]:
    """The holes and crosses for later passes that this pass makes."""
    found = {
        hole.id: hole
        for other in cut_set.passes
        if other.blank == milling_pass.blank
        for hole in other.registration
        if hole.drilled_in == milling_pass.number
    }
    return list(found.values())
