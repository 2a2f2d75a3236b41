"""What to do at the mill to resume programs after a break, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from millprep.model.program import Program
    from millprep.model.resumption import Resumption
    from millprep.model.set_of_programs import CutSet


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
            f"were lost, find them again as described under Zero on the sheet of set {known}."
        ),
    ]
    for one in cut_set.resumed:
        steps += _program_words(one, by_file[one.file], known)
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
