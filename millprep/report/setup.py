"""How a pass is set up, in words: clamps, pins, registration holes, zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from millprep.report.words import number, place

if TYPE_CHECKING:
    from millprep.values.blank import Blank, Clamp
    from millprep.values.cut_set import CutSet
    from millprep.values.milling_pass import MillingPass, RegistrationHole

ZERO_AGAIN = (
    "Zero Z at this same point before the first program and again after every change of cutter. "
    "X and Y stay as they are."
)


def setup_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """The steps before the first program of a pass, in order."""
    blank = next(b for b in cut_set.layout.blanks if b.number == milling_pass.blank)
    words = ["Spindle off and standing still."]
    words += _clamp_changes(cut_set, milling_pass)
    words += _lay(cut_set, milling_pass, blank)
    words += _overhang(cut_set, milling_pass, blank)
    drilled = _drilled(cut_set, milling_pass)
    if drilled:
        holes = ", ".join(
            f"{hole.id} ({number(hole.diameter, 3)} mm) at "
            f"{place(milling_pass.pose.point(hole.blank))}"
            for hole in drilled
        )
        words.append(
            f"This pass drills the registration {'hole' if len(drilled) == 1 else 'holes'} "
            f"that a later pass is found by: {holes}. Leave their chips out of the way."
        )
    return tuple(words)


def zero_words(milling_pass: MillingPass) -> tuple[str, ...]:
    """Where X, Y and Z are zero in this pass."""
    corner = milling_pass.pose.point((0.0, 0.0))
    same = milling_pass.number > 1
    xy = (
        "X and Y: keep the zero of the pass before; do not set it again. If it was lost, set it "
        "by the registration holes at the places above."
        if same
        else f"X and Y: the low left corner of the blank stands at {place(corner)} of the "
        "machine. Set the zero so that the display shows these numbers with the spindle's axis "
        "over that corner."
    )
    return (
        xy,
        f"Z: touch off on the copper at {place(milling_pass.touch)}. Nothing is ever cut there. "
        "The copper's surface is Z 0.",
        ZERO_AGAIN,
    )


def _clamp_changes(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    number_ = milling_pass.number
    on = [clamp for clamp in cut_set.clamps if clamp.on_in(number_)]
    if not cut_set.clamps:
        return ["No clamps are planned: hold the blank with tape on a flat, clean bed."]
    words = []
    if number_ > 1:
        off = [c for c in cut_set.clamps if c.on_in(number_ - 1) and c not in on]
        if off:
            words.append(f"Take off for good: {_clamps(off)}.")
        words.append("Open the other clamps, move the blank, sweep the bed clean.")
    if on:
        words.append(f"Clamps on in this pass, and nothing else in the way: {_clamps(on)}.")
    else:
        words.append("No clamp is on in this pass: hold the blank with tape.")
    return words


def _clamps(clamps: list[Clamp]) -> str:
    return "; ".join(
        f"X {number(c.box.x0)} to {number(c.box.x1)}, Y {number(c.box.y0)} to "
        f"{number(c.box.y1)}, {number(c.height)} mm above the copper"
        for c in clamps
    )


def _lay(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    used = milling_pass.registration
    size = f"{number(blank.size[0])} × {number(blank.size[1])} mm"
    if not used:
        corner = place(milling_pass.pose.point((0.0, 0.0)))
        pins = " Pins out of the bed." if cut_set.locating == "pins" else ""
        return [
            f"Lay blank {blank.number} ({size}) copper side up, its long edge along X as in the "
            f"picture, its low left corner at {corner}.{pins}"
        ]
    lines = [_hole(hole) for hole in used]
    if cut_set.locating == "pins":
        head = (
            f"Put the pins in the bed and lower blank {blank.number} onto them, copper side up, "
            "without turning it end for end. Pins end below the copper."
        )
    else:
        head = (
            f"Move blank {blank.number} to its new place, copper side up, without turning it end "
            "for end. Measure where its holes stand and shift or turn it until they are where "
            "this list says."
        )
    return [head, *lines]


def _hole(hole: RegistrationHole) -> str:
    role = {
        "locate": "locates the blank",
        "key": "the larger key hole, fits one way round only",
        "witness": "to look at only",
    }[hole.role]
    return (
        f"Hole {hole.id}, {number(hole.diameter, 3)} mm, at {place(hole.machine)}: {role} "
        f"(drilled in pass {hole.drilled_in})."
    )


def _overhang(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    travel = cut_set.machine.travel
    lies = milling_pass.pose.shape(shapely.box(0, 0, *blank.size))
    x0, _, x1, _ = lies.bounds
    words = []
    for by, side in ((travel.x0 - x0, "left"), (x1 - travel.x1, "right")):
        if by > 1:
            words.append(
                f"The blank reaches {number(by, 0)} mm past the machine's travel on the {side}: "
                "support it there at the height of the bed."
            )
    return words


def _drilled(cut_set: CutSet, milling_pass: MillingPass) -> list[RegistrationHole]:
    found = {
        hole.id: hole
        for other in cut_set.passes
        if other.blank == milling_pass.blank
        for hole in other.registration
        if hole.drilled_in == milling_pass.number
    }
    return list(found.values())
