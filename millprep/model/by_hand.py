"""What a person does at the machine while no program runs: counted, and in minutes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Self

from millprep.model.machine_time import TimePlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet


@dataclass(frozen=True, slots=True)
class ByHand:
    """What a person does at the machine while no program runs.

    Attributes:
        changes: of cutters, each with Z zero; the first cutter of a pass counts.
        placings: of blanks.
        readings: of holes, check crosses, verniers, edges, and how flat a blank lies.
        minutes: what all of it takes.
        assumed: whether minutes are assumed that the job does not state.
    """

    changes: int
    placings: int
    readings: int
    minutes: float
    assumed: bool

    @classmethod
    def of(cls, time: TimePlan, changes: int, placings: int, readings: int) -> Self:
        """With the minutes of a machine."""
        counts = (changes, placings, readings)
        minutes = sum(n * each for n, each in zip(counts, time.minutes, strict=True))
        return cls(*counts, minutes, time.assumed)

    @classmethod
    def together(cls, several: Iterable[ByHand]) -> Self:
        """The sum of several."""
        rows = tuple(several)
        return cls(
            sum(row.changes for row in rows),
            sum(row.placings for row in rows),
            sum(row.readings for row in rows),
            sum(row.minutes for row in rows),
            any(row.assumed for row in rows),
        )


def by_hand(cut_set: CutSet) -> ByHand:
    """What a person does for a whole set."""
    time = cut_set.machine.time
    before = [ByHand.of(time, cutter_changes(blank.spoilboard), 0, 0) for blank in cut_set.blanks]
    return ByHand.together((*before, *(by_hand_in(cut_set, each) for each in cut_set.passes)))


def by_hand_in(cut_set: CutSet, mill_pass: MillingPass) -> ByHand:
    """What a person does for one pass."""
    time, changes = cut_set.machine.time, cutter_changes(mill_pass.programs)
    if cut_set.resumed or mill_pass.read:
        # the blank lies there and is read
        return ByHand.of(time, changes, 0, 0)
    return ByHand.of(time, changes, 1, _readings(cut_set, mill_pass))


def _readings(cut_set: CutSet, mill_pass: MillingPass) -> int:
    """What is read in a pass: its holes and crosses, its verniers, the edge, how flat it lies."""
    holes = [
        hole
        for hole in mill_pass.registration
        if hole.role == "witness" or cut_set.locating == "measure"
    ]
    works = {work for program in mill_pass.programs for work in program.works}
    flat = cut_set.flatness is not None and mill_pass.levelling is None
    return (
        len(holes)
        + len(mill_pass.verniers)
        + (mill_pass.edge is not None)
        + (flat and bool(works & {"isolate", "clear"}))
    )


def cutter_changes(programs: Sequence[Program]) -> int:
    """How often another cutter is fitted for programs that run one after the other.

    The first is one: Z is zeroed for it as well.
    """
    names = ["", *(program.cutter.name for program in programs)]
    return sum(a != b for a, b in pairwise(names))
