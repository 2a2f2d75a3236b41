"""A set: everything one run makes, as values, before it becomes files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.model.as_cut import AsCut, BoardProof
from millprep.model.blank import Clamp
from millprep.model.certificate import Certificate
from millprep.model.check import Check
from millprep.model.cut import Clearing, HoleCut, Lap, Profile
from millprep.model.cutter import Cutter
from millprep.model.cutting import Cutting
from millprep.model.finding import Finding
from millprep.model.hole_made import DrilledInOtherPass
from millprep.model.judged import BoardJudged
from millprep.model.layout import Layout
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join, MillingPass
from millprep.model.program import Program
from millprep.model.resumption import Resumption
from millprep.model.surface_map import Levelling, Uncorrected
from millprep.model.trail import Trail


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file the set was made from, by its name in the job and its hash."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Figures:
    """What one program costs: seconds, mm of cutting, mm of rapid travel.

    `lines` are the first and the last of its lines in a file that holds others as well.
    """

    seconds: float
    cut_length: float
    travel_length: float
    lines: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class CutSet:
    """Everything about one run; a refused run has what was known by then, the rest empty.

    Attributes:
        id: hash of the inputs and the tool's version.
        job: name of the job.
        inputs: first the job file, then the drawings.
        board_input: for each placement, index into `inputs` of its drawing.
        nets: (placement, piece) to the net's name.
        pieces, holes cut, rings, clearings, profiles: blank frame, unsplit.
        figures: one per program.
        as_cut, proofs: from the programs read back.
        trails: the programs as read back, one for each that was.
        certificate: what the joins stand; None when no join is on copper.
        checks: what to measure on the finished boards.
        cutting: how the cutter of every program that cuts does so.
        judged: what the rules of the trade find, one for each copy; empty when not asked.
        chosen: what was chosen beside the job: effort, copies skipped or made alone, a layout.
        resumed: the programs of another set that those of this one take up; empty for a whole set.
        apart: holes that another pass drills than the one that cuts the copper around them.
        levellings: the passes whose programs, once written, follow a surface map.
        uncorrected: the grooves that they would have made without it.
        locating: how a moved blank is found again; None when no pass moves one.
    """

    id: str
    job: str
    machine: Machine
    clamps: tuple[Clamp, ...]
    cutters: tuple[Cutter, ...]
    gap: float
    inputs: tuple[InputFile, ...]
    layout: Layout
    board_input: tuple[int, ...]
    nets: dict[tuple[int, str], str]
    laps: tuple[Lap, ...] = ()
    holes: tuple[HoleCut, ...] = ()
    profiles: tuple[Profile, ...] = ()
    passes: tuple[MillingPass, ...] = ()
    joins: tuple[Join, ...] = ()
    programs: tuple[Program, ...] = ()
    figures: tuple[Figures, ...] = ()
    as_cut: tuple[AsCut, ...] = ()
    proofs: tuple[BoardProof, ...] = ()
    findings: tuple[Finding, ...] = ()
    derived_from: str | None = None
    locating: Literal["pins", "measure"] | None = None
    certificate: Certificate | None = None
    checks: tuple[Check, ...] = ()
    trails: tuple[Trail, ...] = ()
    judged: tuple[BoardJudged, ...] = ()
    clearings: tuple[Clearing, ...] = ()
    levellings: tuple[Levelling, ...] = ()
    uncorrected: tuple[Uncorrected, ...] = ()
    cutting: tuple[Cutting, ...] = ()
    chosen: tuple[str, ...] = ()
    resumed: tuple[Resumption, ...] = ()
    drilled_in_other_pass: tuple[DrilledInOtherPass, ...] = ()
