"""Touching the holes of a pass, on the sheet: which program, what to write down, what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.model.cutter import EndMill
from millprep.report.plan_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from millprep.model.milling_pass import MillingPass
    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet


@dataclass(frozen=True, slots=True)
class TouchPage:
    """What the sheet tells of touching: the program, how to go about it, the holes to read."""

    file: str
    how: str
    holes: tuple[str, ...]
    readings: str
    command: str


def touching(cut_set: CutSet, milling_pass: MillingPass) -> Program | None:
    """The program that touches the holes of a pass, if it has one."""
    here = (milling_pass.blank, milling_pass.number)
    return next(
        (p for p in cut_set.programs if (p.blank, p.mill_pass) == here and p.work == "probe"), None
    )


def touch_page(cut_set: CutSet, milling_pass: MillingPass) -> TouchPage | None:
    """What to do with the program that touches; None when the pass has none."""
    program = touching(cut_set, milling_pass)
    if program is None or not isinstance(program.cutter, EndMill):
        return None
    tip = program.cutter.diameter
    holes = [hole for hole in milling_pass.registration if hole.role != "witness"]
    play = min(hole.diameter - tip for hole in holes) / 2
    lines = "\n".join(
        f"{plain(hole.id)} = {{ left = , right = , low = , high = , probe = {tip:g} }}"
        for hole in holes
    )
    blank = f" --blank {milling_pass.blank}" if len(cut_set.layout.blanks) > 1 else ""
    return TouchPage(
        plain(program.file, 160),
        say(
            "touch.how", tip=f"{plain(program.cutter.name, 60)}, {number(tip, 3)} mm",
            play=number(play, 2),
        ),
        tuple(plain(hole.id) for hole in holes),
        f'set = "{plain(cut_set.id)}"\nunit = "mm"\n[touches]\n{lines}\n',
        f"millprep refit OUT --pass {milling_pass.number}{blank} --touches READINGS.toml --out NEW",
    )  # fmt: skip
