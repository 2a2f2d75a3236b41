"""What a set owes to an earlier one and to readings taken at the machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from millprep.geometry.pose import Pose
from millprep.model.finding import Finding
from millprep.model.job.keys import InputFile
from millprep.model.milling_pass import Reading
from millprep.model.surface_map import Levelling


@dataclass(frozen=True, slots=True)
class Derivation:
    """How a set differs from what its job alone would give.

    Attributes:
        derived_from: id of the earlier set.
        engraved: the set id that the programs engrave: of the set that was made from a job alone.
        step: what was done to it, "refit of blank 1 pass 2"; part of the new set's id.
        readings: the files with what was read, beyond job and drawings.
        poses: (blank, pass) to where the blank lies on the machine, blank to machine.
        findings: what the readings showed.
        levellings: (blank, pass) to the surface map that its programs follow.
        read: (blank, pass) to what was read of the blank as it lies there.
    """

    derived_from: str
    engraved: str
    step: str
    readings: tuple[InputFile, ...]
    poses: Mapping[tuple[int, int], Pose]
    findings: tuple[Finding, ...] = ()
    levellings: Mapping[tuple[int, int], Levelling] = field(default_factory=dict)
    read: Mapping[tuple[int, int], tuple[Reading, ...]] = field(default_factory=dict)


def with_reading(
    read: Mapping[tuple[int, int], tuple[Reading, ...]], where: tuple[int, int], what: Reading
) -> dict[tuple[int, int], tuple[Reading, ...]]:
    """What was read so far, and one more reading of a pass."""
    known = read.get(where, ())
    return {**read, where: known if what in known else (*known, what)}
