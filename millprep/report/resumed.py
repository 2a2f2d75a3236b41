"""What to do at the mill to resume programs after a break, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.plan_words import say
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
    steps = [say("resumed.pieces"), say("resumed.still", set=known)]
    for one in cut_set.resumed:
        steps += _program_words(one, by_file[one.file], known)
    steps.append(say("resumed.then", set=known))
    return tuple(steps)


def _program_words(one: Resumption, program: Program, known: str) -> list[str]:
    """What to do for one program."""
    x, y, z = one.entry
    at, point, points = place((x, y)), one.point, one.points
    run = say("resumed.run", file=plain(one.file, 160), of=plain(one.of, 160), set=known)
    where = (
        say("resumed.whole", place=at, point=point, points=points)
        if one.overlap is None
        else say(
            "resumed.part",
            place=at,
            z=number(z, 3),
            mm=number(one.overlap),
            point=point,
            points=points,
        )
    )
    words = [run, where]
    if one.board is not None:
        words.append(say("resumed.board", board=plain(one.board, 60), copy=one.copy))
    touch = place(program.start[:2])
    return [
        say("resumed.cutter", cutter=plain(program.cutter.name, 60), touch=touch),
        " ".join(words),
    ]
