"""Zero of a pass in words: where it is, how to find it again, what is read at the machine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity

from millprep.geometry.path import Point
from millprep.model.cutter import EndMill
from millprep.model.milling_pass import MillingPass, RegistrationHole, Vernier
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet
from millprep.report.scene import Area, Line, Scene, Shape, Text
from millprep.report.svg import svg
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


EXAMPLE = 3
"""The line that runs straight through in the drawing."""
_PITCH, _STEP, _LINE, _LONGER, _SIZE = 13.0, 1.3, 16.0, 6.0, 17.0
"""Of the drawing, in its own units: the step is drawn five times too large, to be seen."""


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
        drawing(first),
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


def drawing(vernier: Vernier) -> str:
    """SVG of a vernier along x in which line `EXAMPLE` runs straight through."""
    reach = vernier.reach
    shift = EXAMPLE * _STEP
    centre, middle = reach * _PITCH + 66, _LINE + 8
    low_lines, high_lines = [], []
    shapes: list[Shape] = []
    for i in range(-reach, reach + 1):
        long = _LINE + _LONGER * (2 if i == 0 else int(i % 5 == 0))
        x = centre + i * _PITCH
        low_lines.append(np.array([(x, middle), (x, middle + long)]))
        u = centre + i * (_PITCH - _STEP) + shift
        high_lines.append(np.array([(u, middle), (u, middle - _LINE)]))
        if i % 5 == 0:
            shapes.append(Text((x, middle + long + 15), number(i), _SIZE, anchor="middle"))
    plus_x, plus_y = centre + reach * _PITCH - 4, middle + _LINE + _LONGER + 26
    low_lines += [
        np.array([(plus_x - 4, plus_y), (plus_x + 4, plus_y)]),
        np.array([(plus_x, plus_y - 4), (plus_x, plus_y + 4)]),
    ]
    at = centre + EXAMPLE * _PITCH
    rim = shapely.affinity.scale(shapely.Point(at, middle).buffer(1.0), 5.0, _LINE + 4)
    first, second = (f"pass {nth}" for nth in vernier.passes)
    shapes += [
        Line(tuple(low_lines), 1.6, "ink"),
        Line(tuple(high_lines), 1.6, "cutter 1"),
        Area((rim,), None, "ink", 1.2),
        Text((2.0, middle + _LINE + 2), first, _SIZE),
        Text((2.0, middle - 4), second, _SIZE),
    ]
    size = (centre * 2, middle + _LINE + 3 * _LONGER + 28)
    words = f"Two combs of lines that meet; line {EXAMPLE} runs straight through both"
    return svg(Scene(size, words, tuple(shapes)), inline=True)
