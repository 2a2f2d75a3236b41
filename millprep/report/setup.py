"""How a pass is set up, in words: clamps, pins, registration holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.model.overhang import overhangs
from millprep.report.bed import on_pins
from millprep.report.plan_words import say
from millprep.report.touch_page import touching
from millprep.report.words import number, place, plain
from millprep.report.zero import drilled_now

if TYPE_CHECKING:
    from millprep.model.blank import Blank, Clamp
    from millprep.model.milling_pass import MillingPass, RegistrationHole
    from millprep.model.set_of_programs import CutSet


def setup_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """The steps before the first program of a pass, in order."""
    blank = next(b for b in cut_set.layout.blanks if b.number == milling_pass.blank)
    words = [say("setup.still")]
    words += _taken_off(cut_set, milling_pass)
    words += _below(cut_set, milling_pass, blank)
    words += _lay(cut_set, milling_pass, blank)
    words += _overhang(cut_set, milling_pass, blank)
    words += _held(cut_set, milling_pass)
    return tuple(words)


@dataclass(frozen=True, slots=True)
class HoleRow:
    """A registration hole as a row of the sheet; `used` says that this pass is found by it."""

    id: str
    diameter: str
    x: str
    y: str
    words: str
    used: bool


def hole_rows(cut_set: CutSet, milling_pass: MillingPass) -> tuple[HoleRow, ...]:
    """Each registration hole that plays a part in a pass."""
    used = [
        (hole, hole.machine, say(f"role.{hole.role}")) for hole in milling_pass.registration
    ]
    now = [
        (hole, milling_pass.pose.point(hole.blank), say(f"made.{_made(hole)}", nth=hole.used_in))
        for hole in drilled_now(cut_set, milling_pass)
    ]
    return tuple(
        HoleRow(
            plain(hole.id), number(hole.diameter, 3), number(at[0], 3), number(at[1], 3), words,
            k < len(used) and hole.role != "witness",
        )
        for k, (hole, at, words) in enumerate([*used, *now])
    )  # fmt: skip


def _made(hole: RegistrationHole) -> str:
    """How it is made: what is looked at is a cross."""
    return "engraved" if hole.role == "witness" else "drilled"


def _taken_off(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    if milling_pass.number == 1:
        return [say("setup.swept")]
    now, before = milling_pass.number, milling_pass.number - 1
    off = [c for c in cut_set.clamps if c.on_in(before) and not c.on_in(now)]
    words = [say("setup.clamps_off", clamps=_clamps(off))] if off else []
    return [*words, say("setup.lift")]


def _held(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    on = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    return [say("setup.clamp", clamps=_clamps(on)) if on else say("setup.tape")]


def _below(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    here = (milling_pass.blank, milling_pass.number)
    depths = [p.depth for p in cut_set.programs if (p.blank, p.mill_pass) == here]
    under = max(depths, default=0.0) - blank.thickness
    return [say("setup.under", mm=number(under))] if under > 0 else []


def _clamps(clamps: list[Clamp]) -> str:
    """Where clamps stand; those of one height one after the other."""
    by_height: dict[str, list[str]] = {}
    for c in clamps:
        x0, y0, x1, y1 = (number(v) for v in (c.box.x0, c.box.y0, c.box.x1, c.box.y1))
        where = say("setup.one_clamp", x0=x0, y0=y0, x1=x1, y1=y1)
        by_height.setdefault(number(c.height), []).append(where)
    return "; ".join(
        say("setup.height", clamps="; ".join(some), height=height)
        for height, some in by_height.items()
    )


def _lay(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    used = milling_pass.registration
    if not used:
        pins = on_pins(cut_set) and any(p.registration for p in cut_set.passes)
        key = "setup.lay_no_pins" if pins else "setup.lay"
        size = say("need.size.of", x=number(blank.size[0]), y=number(blank.size[1]))
        corner = place(milling_pass.pose.point((0.0, 0.0)))
        return [say(key, blank=blank.number, size=size, place=corner)]
    first = next(p for p in cut_set.passes if p.blank == blank.number)
    turned = first.pose.inverse().then(milling_pass.pose).a < 0
    way = say("setup.turned" if turned else "setup.not_turned")
    if on_pins(cut_set):
        # sets have numbers where they have crosses, unless a note says otherwise
        marked = any(hole.role == "witness" for hole in used)
        key = "setup.pins_numbered" if marked else "setup.pins"
        return [say(key, blank=blank.number, way=way, nth=milling_pass.number)]
    how = say("setup.measure" if touching(cut_set, milling_pass) is None else "setup.touch")
    return [f"{say('setup.move', blank=blank.number, way=way)} {how}"]


def _overhang(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    words = []
    for one in overhangs(milling_pass.pose, blank, cut_set.machine.travel):
        told = say(
            "setup.overhang", mm=number(one.by, 0), side=say(f"side.{one.side}"),
            place=place(one.prop),
        )  # fmt: skip
        words.append(f"{told} {say('setup.tips')}" if one.share > 0.5 else told)
    return words
