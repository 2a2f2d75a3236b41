"""Where X, Y and Z are zero in a pass, and how a lost zero is found again, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from millprep.report.bed import on_pins
from millprep.report.plan_words import say
from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.geometry.path import Point
    from millprep.model.milling_pass import MillingPass, RegistrationHole
    from millprep.model.set_of_programs import CutSet

CHECKED = 0.05
"""A zero found again is good when the second place shows within this, mm: common practice, no
source."""

Mark = tuple[str, "Point"]
"""What it is called and where it stands on the machine."""


def zero_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """Where X, Y and Z are zero in this pass, and how to find a lost X and Y again."""
    corner = place(milling_pass.pose.point((0.0, 0.0)))
    xy = say("zero.kept") if milling_pass.number > 1 else say("zero.set", place=corner)
    return (
        say("resumed.zero") if cut_set.resumed else xy,
        say("zero.z", place=place(milling_pass.touch)),
        say("zero.again"),
        *([] if milling_pass.levelling is None else [say("zero.map")]),
        *lost(cut_set, milling_pass),
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
    words = say(
        "zero.lost_pins" if pins and used else "zero.lost_holes", first=plain(first[0]),
        at=exact(first[1]), second=plain(second[0]), there=exact(second[1]), mm=f"{CHECKED:g}",
    )  # fmt: skip
    if now == 1:
        until = say("zero.until_pins" if pins else "zero.until_corner", first=plain(first[0]))
        words = f"{words} {until}"
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
