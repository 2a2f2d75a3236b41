"""Programs for the bed itself, which belong to no pass of a blank."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.plan_words import say
from millprep.report.words import place, plain

if TYPE_CHECKING:
    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet


def bed_programs(cut_set: CutSet) -> tuple[Program, ...]:
    """The programs run with the blank off, such as the one that bores the pin holes."""
    passes = {(p.blank, p.number) for p in cut_set.passes}
    return tuple(p for p in cut_set.programs if (p.blank, p.mill_pass) not in passes)


def on_pins(cut_set: CutSet) -> bool:
    """Whether a moved blank drops onto pins; a set that bores the bed for them means them."""
    if cut_set.locating is None:
        return bool(bed_programs(cut_set))
    return cut_set.locating == "pins"


def bed_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do before the bed is cut: zero, and what the programs themselves note."""
    words = [say("bed.xy")]
    for program in bed_programs(cut_set):
        x, y, _ = program.start
        words.append(say("bed.z", what=plain(program.zero_on), place=place((x, y))))
        words += [plain(note[:1].upper() + note[1:], 200) + "." for note in program.notes]
    return tuple(dict.fromkeys(words))
