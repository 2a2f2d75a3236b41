"""How cutters are changed on the way, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.plan_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet


def change_words(cut_set: CutSet) -> tuple[str, ...]:
    """What the person does when a program stops for a cutter, and when it has no words."""
    machine = cut_set.machine
    above = number(machine.above)
    found = {
        "files": (),
        "pause": (say("run.pause", above=above),),
        "changer": (say("run.changer", above=above),),
    }[machine.tool_change]
    if machine.dialect.comments == "none":
        found += (say("run.silent_by_hand" if not machine.spindle_by_program else "run.silent"),)
    return found


def cutter_of(cut_set: CutSet, program: Program, *, change: bool) -> str:
    """The cutter of a program, and that it comes in now."""
    name = plain(program.cutter.name, 60)
    if not change:
        return name
    if cut_set.machine.tool_change == "changer":
        names = [cutter.name for cutter in cut_set.cutters]
        tool = names.index(program.cutter.name) + 1
        return say("run.tool", number=tool, cutter=name)
    return say("run.change", cutter=name)


def file_of(cut_set: CutSet, program: Program, folder: str) -> str:
    """The file of a program without its folder, with the line where it begins in a joined one."""
    file = plain(program.file.removeprefix(folder), 160)
    figures = zip(cut_set.programs, cut_set.figures, strict=False)
    lines = next((cost.lines for one, cost in figures if one is program), None)
    if lines is None:
        return file
    return say("run.part", file=file, first=lines[0], last=lines[1])
