"""A set: everything that one run makes, as a tree of values, before it becomes files.

A set has blanks, a blank has passes, a pass has programs. What is known of a copy of a board, of
a blank, of a pass or of a program is kept with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from types import MappingProxyType
from typing import Literal

from millprep.geometry.path import Point
from millprep.model.as_cut import AsCut, BoardProof, Certificate
from millprep.model.blank import Blank, Box, Clamp, Layout, Placement
from millprep.model.cut import Cuts, DrilledInOtherPass, HoleCut
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.job.keys import InputFile
from millprep.model.judged import BoardJudged, Check
from millprep.model.machine import Machine
from millprep.model.machine_time import RunningTime, TimeFit
from millprep.model.milling_pass import Join, MillingPass
from millprep.model.program import Program, Resumption
from millprep.model.surface_map import Levelling


@dataclass(frozen=True, slots=True)
class BoardCopy:
    """One copy of a board on its blank, and what is known of it.

    Attributes:
        placement: where it lies.
        input: index of its drawing among the set's inputs.
        nets: the net of every piece, by the piece's id.
        pins: the parts and pins that netlist or texts put on a piece, by the piece's id.
        jumpers: both ends of every jumper wire, drawing frame; empty in a set read from its report.
        proof: what its copper as cut proves; None before the programs are read back.
        judged: what the rules of the trade find; None when they were not applied.
        tabs: the middle of every tab that holds it, blank frame; None when not known.
        checks: what to measure on the finished board.
    """

    placement: Placement
    input: int = 0
    nets: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    jumpers: tuple[tuple[Point, Point], ...] = ()
    proof: BoardProof | None = None
    judged: BoardJudged | None = None
    tabs: tuple[Point, ...] | None = None
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True, slots=True)
class MilledBlank:
    """One blank with all that is milled on it.

    Attributes:
        laminate: what is milled.
        copies: the boards on it.
        cuts: laps, clearings, holes and profiles, blank frame, unsplit.
        registration: the holes by which later passes find the blank.
        passes: in order, each with its programs.
        joins: where its passes meet.
        drilled_in_other_pass: holes that another pass drills than the one that cuts the
            copper around them.
        spoilboard: programs that run before the blank is put on.
        as_cut: its copper after all programs; None before they are read back.
    """

    laminate: Blank
    copies: tuple[BoardCopy, ...] = ()
    cuts: Cuts = field(default_factory=Cuts)
    registration: tuple[HoleCut, ...] = ()
    passes: tuple[MillingPass, ...] = ()
    joins: tuple[Join, ...] = ()
    drilled_in_other_pass: tuple[DrilledInOtherPass, ...] = ()
    spoilboard: tuple[Program, ...] = ()
    as_cut: AsCut | None = None

    @property
    def number(self) -> int:
        """From 1."""
        return self.laminate.number

    @property
    def placements(self) -> tuple[Placement, ...]:
        """Where its boards lie."""
        return tuple(copy.placement for copy in self.copies)

    @property
    def programs(self) -> tuple[Program, ...]:
        """All programs in the order in which they run."""
        return (
            *self.spoilboard,
            *(program for mill_pass in self.passes for program in mill_pass.programs),
        )

    @property
    def lies_in(self) -> int | None:
        """The number of the pass in which the blank was read and still lies; None without one."""
        return max((each.number for each in self.passes if each.read), default=None)

    def with_programs(self, programs: Iterable[Program]) -> MilledBlank:
        """The blank with other programs in the same places, in the order of `programs`.

        Raises:
            ValueError: when there are fewer or more.
        """
        given = tuple(programs)
        if len(given) != len(self.programs):
            raise ValueError(f"{len(given)} programs for the places of {len(self.programs)}")
        rest = iter(given)
        return replace(
            self,
            spoilboard=tuple(islice(rest, len(self.spoilboard))),
            passes=tuple(
                replace(mill_pass, programs=tuple(islice(rest, len(mill_pass.programs))))
                for mill_pass in self.passes
            ),
        )


def layout_of(blanks: Sequence[MilledBlank]) -> Layout:
    """Where all copies lie, in the order of their indices."""
    placements = [placement for blank in blanks for placement in blank.placements]
    return Layout(
        tuple(blank.laminate for blank in blanks),
        tuple(sorted(placements, key=lambda placement: placement.index)),
    )


def nets_of(blanks: Sequence[MilledBlank]) -> dict[tuple[int, str], str]:
    """The net of every piece of every copy, by (placement, piece)."""
    return {
        (copy.placement.index, piece): net
        for blank in blanks
        for copy in blank.copies
        for piece, net in copy.nets.items()
    }


def blanks_of(
    layout: Layout,
    passes: Iterable[MillingPass],
    programs: Iterable[Program],
    joins: Iterable[Join] = (),
    nets: Mapping[tuple[int, str], str] = MappingProxyType({}),
    levellings: Mapping[tuple[int, int], Levelling] = MappingProxyType({}),
    tabs: Mapping[int, tuple[Point, ...]] = MappingProxyType({}),
) -> tuple[MilledBlank, ...]:
    """The tree of a set that is known by lists, as its report keeps it.

    Args:
        layout: the boards on their blanks.
        passes: of all blanks, without programs.
        programs: of all passes, in order; those of pass 0 are the spoilboard's.
        joins: of all blanks.
        nets: (placement, piece) to the net's name.
        levellings: (blank, pass) to the surface map that its programs follow.
        tabs: the middles of the tabs of every placement, blank frame; without what is not known.

    Raises:
        ValueError: for what is on a blank or in a pass that there is not.
    """
    of_pass: dict[tuple[int, int], list[Program]] = {}
    for program in programs:
        of_pass.setdefault((program.blank, program.mill_pass), []).append(program)
    passes_on: dict[int, list[MillingPass]] = {}
    for mill_pass in passes:
        here = (mill_pass.blank, mill_pass.number)
        mapped = replace(
            mill_pass, programs=tuple(of_pass.pop(here, ())), levelling=levellings.get(here)
        )
        passes_on.setdefault(mill_pass.blank, []).append(mapped)
    joins_on: dict[int, list[Join]] = {}
    for join in joins:
        joins_on.setdefault(join.blank, []).append(join)
    named: dict[int, dict[str, str]] = {}
    for (index, piece), net in nets.items():
        named.setdefault(index, {})[piece] = net
    blanks = tuple(
        MilledBlank(
            laminate,
            tuple(
                BoardCopy(p, nets=named.get(p.index, {}), tabs=tabs.get(p.index))
                for p in layout.on(laminate.number)
            ),
            passes=tuple(passes_on.pop(laminate.number, ())),
            joins=tuple(joins_on.pop(laminate.number, ())),
            spoilboard=tuple(of_pass.pop((laminate.number, 0), ())),
        )
        for laminate in layout.blanks
    )
    if of_pass or passes_on or joins_on:
        raise ValueError("a pass, a program or a join is on no blank")
    return blanks


@dataclass(frozen=True, slots=True)
class CutSet:
    """Everything about one run; a refused run has what was known by then.

    Attributes:
        id: hash of the inputs and the tool's version.
        job: name of the job.
        inputs: first the job file, then the drawings.
        blanks: in order.
        derived_from: id of the set whose readings or programs this one goes on from.
        flatness: how far the copper may be off its zero, up or down; None where it is not known.
        tape, vacuum: what else holds the blanks; True for all of them.
        locating: how a moved blank is found again; None when no pass moves one.
        certificate: what misalignment the joins tolerate; None when no join is on copper.
        chosen: what was chosen outside the job: effort, copies skipped or made alone, a layout.
        resumed: the programs of another set that those of this one take up; empty for a whole set.
        time_fit: how running times follow earlier runs of the machine; None without a log of them.
    """

    id: str
    job: str
    machine: Machine
    clamps: tuple[Clamp, ...]
    cutters: tuple[Cutter, ...]
    gap: float
    inputs: tuple[InputFile, ...]
    blanks: tuple[MilledBlank, ...] = ()
    findings: tuple[Finding, ...] = ()
    flatness: float | None = None
    tape: bool | tuple[Box, ...] = False
    vacuum: bool | tuple[Box, ...] = False
    derived_from: str | None = None
    locating: Literal["pins", "measure"] | None = None
    certificate: Certificate | None = None
    chosen: tuple[str, ...] = ()
    resumed: tuple[Resumption, ...] = ()
    time_fit: TimeFit | None = None

    @property
    def copies(self) -> tuple[BoardCopy, ...]:
        """Every copy of every board, in the order of the layout: `placement` indices lead here."""
        copies = [copy for blank in self.blanks for copy in blank.copies]
        return tuple(sorted(copies, key=lambda copy: copy.placement.index))

    @property
    def passes(self) -> tuple[MillingPass, ...]:
        """The passes of all blanks in the order in which they are cut."""
        return tuple(mill_pass for blank in self.blanks for mill_pass in blank.passes)

    @property
    def programs(self) -> tuple[Program, ...]:
        """All programs in the order in which they run."""
        return tuple(program for blank in self.blanks for program in blank.programs)

    @property
    def running(self) -> RunningTime | None:
        """How long all programs run; None where they are not written."""
        return RunningTime.of(self.programs)

    @property
    def joins(self) -> tuple[Join, ...]:
        """The joins of all blanks."""
        return tuple(join for blank in self.blanks for join in blank.joins)

    def blank(self, number: int) -> MilledBlank:
        """The blank of a number.

        Raises:
            KeyError: when there is none.
        """
        return {blank.number: blank for blank in self.blanks}[number]

    def with_programs(self, programs: Iterable[Program]) -> CutSet:
        """The set with other programs in the same places, in the order of `programs`.

        Raises:
            ValueError: when there are fewer.
        """
        rest = iter(programs)
        return replace(
            self,
            blanks=tuple(
                blank.with_programs(islice(rest, len(blank.programs))) for blank in self.blanks
            ),
        )

    def with_copies(self, copies: Iterable[BoardCopy]) -> CutSet:
        """The set with what is known of its copies, each in the place of the one of its index."""
        by_index = {copy.placement.index: copy for copy in copies}
        return replace(
            self,
            blanks=tuple(
                replace(
                    blank,
                    copies=tuple(by_index[copy.placement.index] for copy in blank.copies),
                )
                for blank in self.blanks
            ),
        )

    @property
    def layout(self) -> Layout:
        """Where all copies lie."""
        return layout_of(self.blanks)

    @property
    def proofs(self) -> tuple[BoardProof, ...]:
        """What was proved of every copy, in the order of the layout."""
        return tuple(copy.proof for copy in self.copies if copy.proof is not None)
