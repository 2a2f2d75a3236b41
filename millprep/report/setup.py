"""How a pass is set up, in words: clamps, pins, registration holes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.bed import on_pins
from millprep.report.touch_page import touching
from millprep.report.words import number, place, plain
from millprep.report.zero import drilled_now
from millprep.values.overhang import overhangs

if TYPE_CHECKING:
    from millprep.values.blank import Blank, Clamp
    from millprep.values.cut_set import CutSet
    from millprep.values.milling_pass import MillingPass, RegistrationHole

ROLE = {
    "locate": "locates the blank",
    "key": "key hole: fits one way round only",
    "witness": "is looked at",
}


def setup_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """The steps before the first program of a pass, in order."""
    blank = next(b for b in cut_set.layout.blanks if b.number == milling_pass.blank)
    words = ["Spindle off and standing still."]
    words += _taken_off(cut_set, milling_pass)
    words += _below(cut_set, milling_pass, blank)
    words += _lay(cut_set, milling_pass, blank)
    words += _overhang(cut_set, milling_pass, blank)
    words += _held(cut_set, milling_pass)
    return tuple(words)


def hole_rows(
    cut_set: CutSet, milling_pass: MillingPass
) -> tuple[tuple[str, str, str, str, str], ...]:
    """(id, diameter, X, Y, what it is for) of each registration hole that plays a part."""
    rows = [
        (hole, hole.machine, f"{ROLE[hole.role]}; {_made(hole)} in pass {hole.drilled_in}")
        for hole in milling_pass.registration
    ]
    rows += [
        (hole, milling_pass.pose.point(hole.blank), f"is {_made(hole)} now for pass {hole.used_in}")
        for hole in drilled_now(cut_set, milling_pass)
    ]
    return tuple(
        (plain(hole.id), number(hole.diameter, 3), number(at[0], 3), number(at[1], 3), words)
        for hole, at, words in rows
    )


def _made(hole: RegistrationHole) -> str:
    """How it is made: what is looked at is a cross."""
    return "engraved" if hole.role == "witness" else "drilled"


def _taken_off(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    if milling_pass.number == 1:
        return ["Bed flat and swept clean."]
    now, before = milling_pass.number, milling_pass.number - 1
    off = [c for c in cut_set.clamps if c.on_in(before) and not c.on_in(now)]
    words = [f"Take these clamps off the bed: {_clamps(off)}."] if off else []
    return [*words, "Free the blank, lift it off, sweep the bed and the holes clean."]


def _held(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    on = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    if not on:
        return ["No clamp is planned in this pass: hold the blank flat with tape."]
    return [f"Clamp it here and nowhere else: {_clamps(on)}."]


def _below(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    here = (milling_pass.blank, milling_pass.number)
    depths = [p.depth for p in cut_set.programs if (p.blank, p.mill_pass) == here]
    under = max(depths, default=0.0) - blank.thickness
    if under <= 0:
        return []
    return [
        f"A spoilboard lies under the blank: the cutters go {number(under)} mm below the laminate."
    ]


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
        pins = " Pins out of the bed." if on_pins(cut_set) else ""
        return [
            f"Lay blank {blank.number} ({size}) copper side up, as in the picture, "
            f"its low left corner at {corner}.{pins}"
        ]
    first = next(p for p in cut_set.passes if p.blank == blank.number)
    turned = first.pose.inverse().then(milling_pass.pose).a < 0
    way = "turned end for end by half a turn" if turned else "not turned end for end"
    if on_pins(cut_set):
        # sets have numbers where they have crosses, unless a note says otherwise
        marked = any(hole.role == "witness" for hole in used)
        which = f" (the set numbered {milling_pass.number})" if marked else ""
        return [
            f"Put the pins in the bed and lower blank {blank.number} onto them with the holes "
            f"listed below{which}, copper side up, {way}. The pins must end below the copper."
        ]
    words = f"Move blank {blank.number} to its new place, copper side up, {way}. "
    if touching(cut_set, milling_pass) is not None:
        return [
            f"{words}Shift it until the tip, lowered to just above the copper, stands over each of "
            "its registration holes where the list below says; then hold it, and touch the holes "
            "as told below."
        ]
    return [
        f"{words}Measure where its registration holes stand and shift or turn it until they are "
        "where the list below says; or type what you read into a file for millprep refit."
    ]


def _overhang(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    travel = cut_set.machine.travel
    words = []
    for one in overhangs(milling_pass.pose, blank, travel):
        tips = " More than half of it hangs there, and it tips." if one.share > 0.5 else ""
        words.append(
            f"The blank reaches {number(one.by, 0)} mm past the machine's travel on the "
            f"{one.side}: hold it up there, level with the bed, at about {place(one.prop)}.{tips}"
        )
    return words
