"""What is told of programs that go on after a break: as data, and in words for the mill."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from millprep.values.cut_set import CutSet
    from millprep.values.program import Program
    from millprep.values.resumption import Resumption


def resumed_rows(cut_set: CutSet) -> list[dict[str, Any]] | None:
    """The rows of report.json; None for a whole set."""
    rows = [
        {
            "file": one.file,
            "of": one.of,
            "asked": one.asked,
            "point": one.point,
            "points": one.points,
            "cuts": one.cuts,
            "entry": [round(v, 4) + 0.0 for v in one.entry],
            "overlap": None if one.overlap is None else round(one.overlap, 4),
            "board": one.board,
            "copy": one.copy,
        }
        for one in cut_set.resumed
    ]
    return rows or None


def resumed_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do at the mill, step by step; empty for a whole set."""
    if not cut_set.resumed:
        return ()
    by_file = {program.file: program for program in cut_set.programs}
    known = plain(cut_set.derived_from or "")
    steps = [
        "Spindle off and standing still. Find every piece of the broken cutter: one that is stuck "
        "in the copper breaks the next. Pull it out without moving the blank.",
        "The blank must lie as it lay and be held as it was. X and Y zero must not have moved "
        "since the pass began: go to a place you know, such as the point where Z is touched off, "
        "and look. If they were lost, find them again as told under Zero before you go on.",
    ]
    for one in cut_set.resumed:
        steps += _program_words(one, by_file[one.file], known)
    steps.append(
        f"Then go on with set {known}: run the programs that came after the broken one, in the "
        "order of its own sheet. Its other programs stay as they are."
    )
    return tuple(steps)


def _program_words(one: Resumption, program: Program, known: str) -> list[str]:
    """What to do for one program."""
    x, y, z = one.entry
    cutter, at = plain(program.cutter.name, 60), place((x, y))
    touch = place(program.start[:2])
    where = (
        f"It goes down at {at}, at restart point {one.point} of {one.points}, and makes that cut "
        "anew from its beginning."
        if one.overlap is None
        else f"It goes down at {at} to Z {number(z, 3)}, on the path {number(one.overlap)} mm "
        f"before the place you named, in the cut of restart point {one.point} of {one.points}: "
        "so far it cuts air in a groove that is there. If it meets full copper there, stop: take "
        "an earlier restart point."
    )
    share = (
        ""
        if one.board is None
        else f" It makes only the cuts on {plain(one.board, 60)}, copy {one.copy}."
    )
    return [
        f"Put a new cutter {cutter} in and set Z zero with it on the copper at {touch}, as before: "
        "it stands out by another length.",
        f"Run {plain(one.file, 160)}. It takes up {plain(one.of, 160)} of set {known}. {where}"
        f"{share} Watch it go down, a hand on the stop.",
    ]
