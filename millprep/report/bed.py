"""Programs for the bed itself, which belong to no pass of a blank."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from millprep.values.cut_set import CutSet
    from millprep.values.program import Program


def bed_programs(cut_set: CutSet) -> tuple[Program, ...]:
    """The programs run with the blank off, such as the one that bores the pin holes."""
    passes = {(p.blank, p.number) for p in cut_set.passes}
    return tuple(p for p in cut_set.programs if (p.blank, p.mill_pass) not in passes)
