"""Zero of a pass and what locates its blank, in words.

Where zero is, how to find it again, what is read at the machine; pins, registration holes, and the
blank's edge in the first pass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.cutter import EndMill
from millprep.model.milling_pass import MillingPass, RegistrationHole, Vernier
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet
from millprep.report.setup_signs import EXAMPLE, vernier_drawing
from millprep.report.words import number, place, plain

CHECKED = "0.05"
"""A zero found again is good when the second place shows within this, mm: common practice, no
source."""

Mark = tuple[str, "Point"]
"""What it is called and where it is on the machine."""


def zero_words(cut_set: CutSet, milling_pass: MillingPass) -> tuple[str, ...]:
    """Where X, Y and Z are zero in this pass."""
    words = [
        _xy(cut_set, milling_pass),
        f"Z: touch off on the copper at {place(milling_pass.touch)}, where nothing is ever cut, "
        "before the first program and again after every change of cutter. X and Y stay as they "
        "are.",
    ]
    if milling_pass.levelling is not None:
        words.append(
            "The programs of this pass follow the surface that was probed. Since then the blank, "
            "its clamps and the zero of X and Y must not have moved; if they have, probe again."
        )
    return tuple(words)


def mark_command(command: str, cut_set: CutSet, milling_pass: MillingPass) -> str:
    """A command that marks a pass; SET is the folder of the set."""
    blank = f" --blank {milling_pass.blank}" if len(cut_set.blanks) > 1 else ""
    return f"millprep {command} SET --pass {milling_pass.number}{blank}"


def _xy(cut_set: CutSet, milling_pass: MillingPass) -> str:
    if cut_set.resumed:
        return "X and Y: keep the zero; do not set it again."
    if milling_pass.read:
        return "X and Y: keep the zero of this pass; do not set it again."
    if milling_pass.number > 1:
        return "X and Y: keep the zero of the pass before; do not set it again."
    corner = place(milling_pass.pose.point((0.0, 0.0)))
    return (
        f"X and Y: set the zero so that the display shows {corner} when the spindle's axis is "
        "over the blank's lower-left corner."
    )


def lost_words(cut_set: CutSet, milling_pass: MillingPass) -> str:
    """How to find X and Y again by two pins or holes far apart; empty where there are none."""
    pins = on_pins(cut_set)
    # touched along X and Y, only a round pin or hole shows its centre
    whole = [
        h
        for h in milling_pass.registration
        if h.role != "witness" and (h.free is None or (pins and h.slot))
    ]
    located = [h for h in whole if h.role == "locate"]
    used = [
        (h.pin if pins and h.pin else h.id, h.machine)
        for h in (located if len(located) > 1 else whole)
    ]
    drilled = [
        (h.id, milling_pass.pose.point(h.blank))
        for h in drilled_now(cut_set, milling_pass)
        if h.role != "witness" and not h.slot
    ]
    marks = used or drilled
    if len(marks) < 2:
        return ""
    first, second = farthest(marks)
    if pins and used:
        mark, how = "pin", "Lift the blank off and touch the pin from outside"
    else:
        mark, how = "hole", "Touch the hole from inside"
    words = (
        f"{how} on both sides along X, then along Y. Over the centre of {mark} "
        f"{plain(first[0])} set {exact(first[1])}. Check: "
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
    return words


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


@dataclass(frozen=True, slots=True)
class TouchPage:
    """What the sheet shows of touching: the program, what to do, the holes to read."""

    file: str
    how: str
    holes: tuple[str, ...]
    readings: str
    command: str


def touch_page(cut_set: CutSet, milling_pass: MillingPass) -> TouchPage | None:
    """What to do with the program that touches; None when the pass has none."""
    program = touching(milling_pass)
    if program is None or not isinstance(program.cutter, EndMill):
        return None
    tip = program.cutter.diameter
    holes = [hole for hole in milling_pass.registration if hole.role != "witness"]
    play = number(min(hole.diameter - tip for hole in holes) / 2, 2)
    lines = "\n".join(
        f"{plain(hole.id)} = {{ left = , right = , low = , high = , probe = {tip:g} }}"
        for hole in holes
    )
    return TouchPage(
        plain(program.file, 160),
        f"lowers the tip ({plain(program.cutter.name, 60)}, {number(tip, 3)} mm) into every hole, "
        "spindle off, and touches the copper around it on four sides. Wire one lead of the probe "
        "input to the tip, the other to the copper of the margin, and check that the input changes "
        "when the tip touches the copper. Each hole needs copper all around: remove burrs. Stop "
        "the machine if the tip, waiting just above a hole, is not over it within "
        f"{play} mm. After each touch write down the coordinate that the display shows. Do not "
        "turn the spindle between touches. Then type the readings into a file and regenerate this "
        "pass:",
        tuple(plain(hole.id) for hole in holes),
        f'set = "{plain(cut_set.id)}"\nunit = "mm"\n[touches]\n{lines}\n',
        _command(cut_set, milling_pass, "--touches"),
    )


def _command(cut_set: CutSet, milling_pass: MillingPass, option: str) -> str:
    blank = f" --blank {milling_pass.blank}" if len(cut_set.blanks) > 1 else ""
    return (
        f"millprep refit SET --pass {milling_pass.number}{blank} {option} READINGS.toml --out NEW"
    )


@dataclass(frozen=True, slots=True)
class VernierPage:
    """What the sheet shows of the verniers of a pass.

    Attributes:
        rows: (id, measured direction, machine place, its lines) for each vernier.
        drawing: SVG of one along x with an example.
        how: how to read them, in words.
        example: what the drawing shows, in words.
        readings: text of a readings file to fill in.
        command: that uses it.
    """

    rows: tuple[tuple[str, str, str, str], ...]
    drawing: str
    how: str
    example: str
    readings: str
    command: str


def vernier_page(cut_set: CutSet, milling_pass: MillingPass) -> VernierPage | None:
    """The verniers of a pass, or None when it has none."""
    mine = milling_pass.verniers
    if not mine:
        return None
    file = next((p.file for p in milling_pass.programs if p.works == ("engrave",)), "")
    lines = "\n".join(f"{plain(vernier.id)} =" for vernier in mine)
    first = mine[0]
    return VernierPage(
        tuple(_row(vernier, milling_pass) for vernier in mine),
        vernier_drawing(first),
        f"After {plain(file.rsplit('/', 1)[-1], 80)} and before anything else is cut, look at each "
        "pair of combs with a lens and write down which line runs straight through both; between "
        "two lines, write 3.5, for example. Lines toward the engraved plus sign count up, the "
        f"others down; the longest is 0. One line is {number(first.step, 3)} mm.",
        f"Enlarged, not to scale. Here line {EXAMPLE} runs straight through: the pass is off by "
        f"{number(EXAMPLE * first.step, 3)} mm toward the plus sign.",
        f'set = "{plain(cut_set.id)}"\n[verniers]\n{lines}\n',
        _command(cut_set, milling_pass, "--vernier"),
    )


def _row(vernier: Vernier, milling_pass: MillingPass) -> tuple[str, str, str, str]:
    return (
        plain(vernier.id),
        f"along {vernier.measures.upper()}",
        place(milling_pass.pose.point(vernier.at)),
        f"−{vernier.reach} to {vernier.reach}",
    )


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
