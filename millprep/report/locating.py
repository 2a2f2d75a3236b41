"""What locates the blank, in words: pins, registration holes, and its edge in the first pass."""

from __future__ import annotations

from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.set_of_programs import CutSet
from millprep.report.words import number, place, plain
from millprep.report.zero import drilled_now

LEAST_SEEN = 0.1
"""An edge is not seen to be nearer to its place by eye, mm: common practice, no source."""
ROLE_WORDS = {
    "locate": "locates the blank",
    "key": "key: fits one way only",
    "witness": "check cross: the tip must be over it",
    "turn": "fixes the turn",
}
"""What a registration hole does in the pass that uses it; `turn` is of a slot or a relieved pin."""


def pin_words(cut_set: CutSet) -> list[str]:
    """Where each pin is, and which holes it takes."""
    words = []
    for blank in cut_set.blanks:
        pins: dict[str, tuple[Point, list[str]]] = {}
        for hole in (hole for each in blank.passes for hole in each.registration if hole.pin):
            kind = "key" if hole.role == "key" else "slot" if hole.slot else "hole"
            _, takes = pins.setdefault(hole.pin, (hole.machine, []))
            takes.append(f"{kind} {plain(hole.id)}")
        of = f" of blank {blank.number}" if len(cut_set.blanks) > 1 else ""
        listed = "; ".join(
            f"{plain(pin)} at {place(at)} takes {', '.join(takes)}"
            for pin, (at, takes) in pins.items()
        )
        words += [f"Pins{of}: {listed}."] if pins else []
    return words


@dataclass(frozen=True, slots=True)
class HoleRow:
    """A registration hole as a row of the sheet; `used` if it locates the blank in this pass."""

    id: str
    diameter: str
    x: str
    y: str
    words: str
    used: bool


def hole_rows(cut_set: CutSet, milling_pass: MillingPass) -> tuple[HoleRow, ...]:
    """Each registration hole that a pass uses or makes."""
    used = [(hole, hole.machine, _purpose(hole)) for hole in milling_pass.registration]
    made = []
    for hole in drilled_now(cut_set, milling_pass):
        # the place to check is a cross, not a hole
        how = "engraved" if hole.role == "witness" else "slot milled" if hole.slot else "drilled"
        at = milling_pass.pose.point(hole.blank)
        made.append((hole, at, f"{how} now for pass {hole.used_in}"))
    return tuple(
        HoleRow(
            plain(hole.id),
            size(hole),
            number(at[0], 3),
            number(at[1], 3),
            words,
            k < len(used) and hole.role != "witness",
        )
        for k, (hole, at, words) in enumerate([*used, *made])
    )


def size(hole: RegistrationHole) -> str:
    """The diameter of a hole, or width × length of a slot, mm."""
    wide = number(hole.diameter, 3)
    return f"{wide} × {number(hole.diameter + hole.slot, 3)}" if hole.slot else wide


def _purpose(hole: RegistrationHole) -> str:
    """What a hole of this pass is for, and its pin."""
    words = ROLE_WORDS["turn" if hole.free is not None else hole.role]
    if hole.slot:
        words = f"slot: {words}"
    if not hole.pin:
        return words
    relieved = "relieved pin" if hole.free is not None and not hole.slot else "pin"
    return f"{words}; {relieved} {plain(hole.pin)}"


def drop_on_words(milling_pass: MillingPass) -> list[str]:
    """How surely the blank drops on, and what to do when it does not."""
    share = milling_pass.drop_on
    if share is None:
        return []
    times = "more than 99.9" if share > 0.999 else f"about {number(100 * share, 1)}"
    return [
        f"It should drop on by its own weight; {times} % of blanks do. If it does not, deburr "
        "holes and pins; never use a hammer."
    ]


def edge_words(milling_pass: MillingPass) -> str:
    """How to check the angle of a blank that only its corner and an edge locate; "" for others."""
    edge = milling_pass.edge
    if edge is None:
        return ""
    x, y = (number(v) for v in edge.at)
    across, there = ("Y", y) if edge.axis == 0 else ("X", x)
    if edge.within < LEAST_SEEN:
        return (
            f"Angle: lay the long edge of the blank against a straight stop along {across} "
            f"{there}. There is no room for a blank that lies askew: {plain(edge.limit, 60)} would "
            "come too near an edge."
        )
    return (
        f"Angle: over X {x}  Y {y} the blank's edge must be within {number(edge.within)} mm of "
        "the spindle's axis, or "
        f"{plain(edge.limit, 60)} comes too near an edge. Turn the blank about its lower-left "
        f"corner until it is, or use a straight stop along {across} {there}."
    )
