"""Invented sets with something else on their only blank."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from millprep.model.blank import Placement
from millprep.model.judged import Check
from millprep.model.program import Program
from millprep.model.set_of_programs import BoardCopy, CutSet


def with_blank(cut_set: CutSet, **fields: Any) -> CutSet:
    """The set with other fields of its blank."""
    (blank,) = cut_set.blanks
    return replace(cut_set, blanks=(replace(blank, **fields),))


def running(cut_set: CutSet, programs: Iterable[Program]) -> CutSet:
    """The set with other programs, each in the pass of its number; those of pass 0 come first."""
    here = tuple(programs)
    (blank,) = cut_set.blanks
    return with_blank(
        cut_set,
        spoilboard=tuple(p for p in here if p.mill_pass == 0),
        passes=tuple(
            replace(one, programs=tuple(p for p in here if p.mill_pass == one.number))
            for one in blank.passes
        ),
    )


def with_copies(
    cut_set: CutSet, placements: Sequence[Placement], checks: Sequence[Check] = ()
) -> CutSet:
    """The set with other boards on its blank, and the checks of each."""
    return with_blank(
        cut_set,
        copies=tuple(
            BoardCopy(one, checks=tuple(c for c in checks if c.placement == one.index))
            for one in placements
        ),
    )
