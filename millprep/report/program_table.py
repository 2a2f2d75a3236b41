"""The programs of a pass as rows of the sheet, and how cutters are changed between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.report.pass_view import works_words
from millprep.report.words import duration, number, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet


@dataclass(frozen=True, slots=True)
class Step:
    """One program as a row of the sheet; `change` if another cutter is fitted for it."""

    file: str
    work: str
    cutter: str
    change: bool
    depth: str
    spindle: str
    feed: str
    time: str


def program_rows(
    cut_set: CutSet, programs: Sequence[Program], folder: str = ""
) -> tuple[Step, ...]:
    """The programs in order; their files without `folder`, which is named elsewhere."""
    before = [None, *(p.cutter.name for p in programs)]
    return tuple(
        _step(cut_set, program, program.cutter.name != name, folder)
        for program, name in zip(programs, before, strict=False)
    )


def _step(cut_set: CutSet, program: Program, change: bool, folder: str) -> Step:
    figures = program.figures
    feeds = (program.cutter.feed, program.cutter.plunge)
    return Step(
        file=file_of(program, folder),
        work=works_words(program),
        cutter=cutter_of(cut_set, program, change=change),
        change=change,
        depth=number(program.depth, 3) if program.spins else "",
        spindle=number(program.spindle, 0) if program.spins else "off",
        feed=" / ".join(number(feed, 0) for feed in feeds),
        time="" if figures is None else duration(figures.seconds),
    )


def running_time(programs: Sequence[Program]) -> str:
    """How long programs run, in words."""
    known = [program.figures.seconds for program in programs if program.figures is not None]
    return duration(sum(known)) if len(known) == len(programs) and known else "unknown"


def dry_run_words(programs: Sequence[Program]) -> str:
    """What to check in the dry run that a pass begins with; empty without one."""
    first = next(iter(programs), None)
    if first is None or first.work != "dry-run":
        return ""
    return (
        f"The dry run traces the outline of all cuts {number(first.start[2])} mm above the "
        "copper. Nothing may be in its way, and the blank must be under all of it."
    )


def change_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do when a program stops for a cutter, and when it has no comments."""
    machine = cut_set.machine
    above = number(machine.above)
    words: list[str] = []
    if machine.tool_change == "pause":
        words.append(
            "One file uses several cutters. Before each next one the program stops the spindle, "
            f"goes up to Z {above} over the place where Z is zeroed, stops, and names the cutter "
            "to fit. Fit it, zero Z with it there, then continue. The machine must be able to "
            "move and zero Z while a program waits."
        )
    elif machine.tool_change == "changer":
        words.append(
            "The machine changes cutters, by the tool numbers below; load its changer to match. "
            f"Before each change the program goes up to Z {above} over the place where Z is "
            "zeroed, and stops after it: zero Z with the new cutter there, then continue. Stored "
            "tool lengths are not used (G49)."
        )
    if machine.dialect.comments == "none":
        silent = "The programs have no comments"
        by_hand = "at the first stop of each, start the spindle; at the last, stop it."
        words.append(f"{silent}." if machine.spindle_by_program else f"{silent}: {by_hand}")
    return tuple(words)


def cutter_of(cut_set: CutSet, program: Program, *, change: bool) -> str:
    """The cutter of a program, and that it is fitted now."""
    name = plain(program.cutter.name, 60)
    if not change:
        return name
    if cut_set.machine.tool_change == "changer":
        names = [cutter.name for cutter in cut_set.cutters]
        return f"T{names.index(program.cutter.name) + 1}: {name}"
    return f"fit: {name}"


def file_of(program: Program, folder: str) -> str:
    """The file of a program without its folder, with its lines in a joined one."""
    file = plain(program.file.removeprefix(folder), 160)
    lines = None if program.figures is None else program.figures.lines
    if lines is None:
        return file
    return f"{file}, lines {lines[0]} to {lines[1]}"
