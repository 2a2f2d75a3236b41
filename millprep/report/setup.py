"""What to do before the first program of a pass, in words: clamps, pins, registration holes.

The programs for the spoilboard, which belong to no pass, are here as well, and what to do to resume
programs after a break.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from millprep.model.blank import Blank, Box, Clamp, overhangs
from millprep.model.finding import many
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program, Resumption
from millprep.model.set_of_programs import CutSet
from millprep.report.words import number, place, plain
from millprep.report.zero import (
    edge_words,
    on_pins,
    pin_words,
    spoilboard_programs,
    touching,
)


def need_words(cut_set: CutSet) -> str:
    """What must lie ready in addition to blanks and cutters."""
    if cut_set.resumed:
        return ""
    under = spoilboard_programs(cut_set)
    passes = [each for blank in cut_set.blanks for each in blank.passes]
    things = []
    if under:
        deepest = max(program.depth for program in under)
        things.append(f"a spoilboard thicker than {number(deepest)} mm")
    elif any(_below(each, cut_set.blank(each.blank).laminate) > 0 for each in passes):
        things.append("a spoilboard")
    pins = {(each.blank, h.pin) for each in passes for h in each.registration if h.pin}
    if pins and under:
        things.append(f"{many(len(pins), 'pin')}, listed with the spoilboard")
    if cut_set.tape:
        things.append("double-sided tape")
    if cut_set.clamps:
        things.append(many(len(cut_set.clamps), "clamp"))
    if any(_overhang(cut_set, each, cut_set.blank(each.blank).laminate) for each in passes):
        things.append("supports as high as the spoilboard")
    if any(flat_check(cut_set, each) for each in passes):
        things.append("a dial indicator or a touch probe")
    if any(program.works == ("engrave",) for each in passes for program in each.programs):
        things.append("a lens")
    return (
        f"Also: {', '.join([*things, 'a meter'])}; extraction at the cutter, a respirator and eye "
        "protection."
    )


@dataclass(frozen=True, slots=True)
class FlatCheck:
    """What to check before copper is cut, and the command that makes a surface map."""

    words: str
    command: str


def flat_check(cut_set: CutSet, milling_pass: MillingPass) -> FlatCheck | None:
    """How flat the copper must be; None where nothing is isolated or a surface map is followed."""
    works = {work for program in milling_pass.programs for work in program.works}
    if cut_set.flatness is None or milling_pass.levelling is not None or cut_set.resumed:
        return None
    if not works & {"isolate", "clear"}:
        return None
    blank = f" --blank {milling_pass.blank}" if len(cut_set.blanks) > 1 else ""
    return FlatCheck(
        f"Before isolation: the copper is within ± {number(cut_set.flatness, 3)} mm of Z 0 "
        "wherever this pass cuts, by dial indicator or surface map:",
        f"millprep probe SET --pass {milling_pass.number}{blank}",
    )


def spoilboard_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do before the spoilboard is cut: zero, and what the programs themselves note."""
    words = [
        "X and Y: set the zero as for the first pass and keep it from now on. The pins and every "
        "pass depend on it."
    ]
    for program in spoilboard_programs(cut_set):
        x, y, _ = program.start
        words.append(
            f"Z: touch off on {plain(program.zero_on)} at {place((x, y))}, again after every "
            "change of cutter."
        )
        words += [plain(note[:1].upper() + note[1:], 200) + "." for note in program.notes]
    words += pin_words(cut_set)
    return tuple(dict.fromkeys(words))


def setup_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """The steps before the first program of a pass, in order."""
    blank = cut_set.blank(milling_pass.blank).laminate
    still = "Spindle off and standing still."
    if milling_pass.number == cut_set.blank(milling_pass.blank).lies_in:
        return (still, *_lies(cut_set, milling_pass), *_held(cut_set, milling_pass))
    words = [f"{still} {_taken_off(cut_set, milling_pass)}{_into_spoilboard(milling_pass, blank)}"]
    words += _taped(cut_set, milling_pass)
    words += _lay(cut_set, milling_pass, blank)
    words += [edge_words(milling_pass)] if milling_pass.edge else []
    words += _overhang(cut_set, milling_pass, blank)
    words += _held(cut_set, milling_pass)
    return tuple(words)


def _lies(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    """That the blank must stay where it was read, and what has run there."""
    words = [
        f"Blank {milling_pass.blank} lies in this pass already, as it was read with set "
        f"{plain(cut_set.derived_from or '')}. Do not move it, its clamps or the zero of X and Y. "
        "If anything has moved, read it again."
    ]
    if milling_pass.ran:
        words.append(
            "The programs that are ticked below have run with that set. Do not run them again."
        )
    return words


def _taken_off(cut_set: CutSet, milling_pass: MillingPass) -> str:
    if milling_pass.number == 1:
        return "Spoilboard flat and swept clean."
    now, passes = milling_pass.number, cut_set.blank(milling_pass.blank).passes
    before = max(each.number for each in passes if each.number < now)
    off = [c for c in cut_set.clamps if c.on_in(before) and not c.on_in(now)]
    words = f"Take these clamps off: {_clamps(off)}. " if off else ""
    return f"{words}Release the blank, lift it off, sweep the spoilboard and the holes clean."


def _held(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    """What holds the blank, how well, and where more may go."""
    on = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    lies = milling_pass.number == cut_set.blank(milling_pass.blank).lies_in
    press = "Press the blank onto the tape all over." if cut_set.tape and not lies else ""
    clamp = f"{'Clamps are' if lies else 'Put clamps'} at {_clamps(on)}." if on else ""
    words = [f"{press} {clamp}".strip()] if press or clamp else []
    if cut_set.vacuum is True:
        words.append("Switch the vacuum on; it must hold all of the blank.")
    if not isinstance(cut_set.vacuum, bool):
        words.append(f"Switch the vacuum on at {_areas(cut_set.vacuum)}.")
    if not words and not cut_set.tape:
        return ["Nothing is planned to hold the blank in this pass: hold it flat with tape."]
    holding = milling_pass.holding
    if holding is not None and holding.share > 0:
        loose = "Held like this the blank lifts too much; see finding blank-not-held."
        if holding.room:
            loose += (
                f" More clamps do no harm anywhere at {_areas(holding.room)}. Elsewhere a cutter "
                "or the spindle may hit them."
            )
        words.append(loose)
    return words


def lift_words(milling_pass: MillingPass) -> str:
    """How well a blank is held that is held well enough; else empty."""
    holding = milling_pass.holding
    if holding is None or holding.share > 0:
        return ""
    more = " More clamps do no harm where the drawing has room for them." if holding.room else ""
    return (
        f"Held as planned the worst place lifts {number(holding.lift, 3)} mm under a pull of "
        f"{number(holding.force)} N; {number(holding.allowed, 3)} mm is allowed there.{more}"
    )


def _areas(boxes: Sequence[Box]) -> str:
    """Areas of the machine in words."""
    return "; ".join(
        f"X {number(b.x0)} to {number(b.x1)}, Y {number(b.y0)} to {number(b.y1)}" for b in boxes
    )


def _taped(cut_set: CutSet, milling_pass: MillingPass) -> list[str]:
    """What is stuck onto the spoilboard before the blank is laid down."""
    if cut_set.tape is False:
        return []
    if milling_pass.number > 1:
        return ["The tape stays where it is. Renew what no longer sticks."]
    if cut_set.tape is True:
        words = "Cover the spoilboard with double-sided tape, all of one thickness."
    else:
        words = (
            "Stick strips of double-sided tape, all of one thickness, on the spoilboard at "
            f"{_areas(cut_set.tape)}."
        )
    return [f"{words} Cut it free over holes for pins." if on_pins(cut_set) else words]


def _below(milling_pass: MillingPass, blank: Blank) -> float:
    """How far the cutters go below the laminate, mm; not above 0 where they stay in it."""
    depths = [program.depth for program in milling_pass.programs]
    return max(depths, default=0.0) - blank.thickness


def _into_spoilboard(milling_pass: MillingPass, blank: Blank) -> str:
    under = _below(milling_pass, blank)
    return f" The cutters go {number(under)} mm into the spoilboard." if under > 0 else ""


def _clamps(clamps: list[Clamp]) -> str:
    """Where clamps are; those of one height one after the other."""
    by_height: dict[str, list[str]] = {}
    for c in clamps:
        by_height.setdefault(number(c.height), []).append(_areas([c.box]))
    return "; ".join(
        f"{'; '.join(boxes)}, {height} mm above the copper" for height, boxes in by_height.items()
    )


def _lay(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    used = milling_pass.registration
    if not used:
        size = f"{number(blank.size[0])} × {number(blank.size[1])} mm"
        corner = place(milling_pass.pose.point((0.0, 0.0)))
        words = (
            f"Lay blank {blank.number} ({size}) copper side up, as in the picture, its lower-left "
            f"corner at {corner}."
        )
        pins = on_pins(cut_set) and any(p.registration for p in cut_set.passes)
        return [f"{words} Remove the pins." if pins else words]
    first = cut_set.blank(blank.number).passes[0]
    turned = first.pose.inverse().then(milling_pass.pose).a < 0
    way = "turned end for end by half a turn" if turned else "not turned end for end"
    if on_pins(cut_set):
        # sets of holes have numbers where they have crosses, unless a note says otherwise
        marked = any(hole.role == "witness" for hole in used)
        numbered = f" (the number {milling_pass.number} is engraved next to them)" if marked else ""
        names = ", ".join(plain(hole.pin) for hole in used if hole.pin)
        where = f"holes {names} of the spoilboard and no others" if names else "the spoilboard"
        words = (
            f"Put the pins in {where} and lower blank {blank.number} onto them with the "
            f"holes listed below{numbered}, copper side up, {way}. The pins must end below the "
            "copper."
        )
        return [words, *drop_on_words(milling_pass)]
    if touching(milling_pass) is None:
        how = (
            "Measure where its registration holes are, and shift or turn it until they are where "
            "the list below says; or type what you read into a file for millprep refit."
        )
    else:
        how = (
            "Shift it until the tip, lowered to just above the copper, is over each of its "
            "registration holes where the list below says. Hold the blank there, then touch the "
            "holes as described below."
        )
    return [f"Move blank {blank.number} to its new place, copper side up, {way}. {how}"]


def _overhang(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[str]:
    over = overhangs(milling_pass.pose, blank, cut_set.machine.travel)
    if not over:
        return []
    by = " and ".join(f"{number(each.by, 0)} mm on the {each.side}" for each in over)
    at = " and ".join(f"at about {place(each.prop)}" for each in over)
    words = (
        f"The blank overhangs the travel by {by}. Support it there, level with the spoilboard, "
        f"{at}."
    )
    if any(each.share > 0.5 for each in over):
        words += " More than half of it overhangs: without support it tips."
    return [words]


def resumed_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do at the mill, step by step; empty for a whole set."""
    if not cut_set.resumed:
        return ()
    by_file = {program.file: program for program in cut_set.programs}
    known = plain(cut_set.derived_from or "")
    steps = [
        (
            "Spindle off and standing still. Find every piece of the broken cutter: one "
            "that sticks in the copper breaks the next. Pull it out without moving the "
            "blank."
        ),
        (
            "The blank must lie and be held as before. X and Y zero must be unchanged since the "
            "pass began: go to a place you know, such as the Z touch point, and check. If they "
            f'were lost, find them again as "If X and Y are lost" says on the sheet of set {known}.'
        ),
    ]
    for resumption in cut_set.resumed:
        steps += _program_words(resumption, by_file[resumption.file], known)
    steps.append(
        f"Then continue with set {known}: run the programs after the broken one, "
        "in the order of its own sheet."
    )
    return tuple(steps)


def _program_words(resumption: Resumption, program: Program, known: str) -> list[str]:
    """What to do for one program."""
    x, y, z = resumption.entry
    at, point, points = place((x, y)), resumption.point, resumption.points
    run = (
        f"Run {plain(resumption.file, 160)}, a hand on the stop. It resumes "
        f"{plain(resumption.of, 160)} of set {known}."
    )
    where = (
        (
            f"It plunges at {at}, at restart point {point} of {points}, and repeats that cut "
            "from its beginning."
        )
        if resumption.overlap is None
        else (
            f"It plunges at {at} to Z {number(z, 3)}, {number(resumption.overlap)} mm along the "
            f"path before the place you named, in the cut of restart point {point} of "
            f"{points}. That far it moves in a groove that is already cut. If it meets "
            "full copper there, stop, and take an earlier restart point."
        )
    )
    words = [run, where]
    if resumption.board is not None:
        words.append(
            f"It makes only the cuts on {plain(resumption.board, 60)}, copy {resumption.copy}."
        )
    touch = place(program.start[:2])
    return [
        (
            f"Fit a new cutter {plain(program.cutter.name, 60)} and zero Z with it on the "
            f"copper at {touch}: it sticks out by another length."
        ),
        " ".join(words),
    ]


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
