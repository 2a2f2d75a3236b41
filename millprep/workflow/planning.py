"""A set as it is planned: what it is made from, its layout, its cuts and passes.

Planning, like the rest of a walk, ends by a finding that says stop.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from millprep import job
from millprep.model.board import Board
from millprep.model.derivation import Derivation
from millprep.model.finding import Refusal, limited
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import BoardCopy, CutSet, MilledBlank
from millprep.passes import blank_cuts, blank_passes
from millprep.toolpaths import least_time
from millprep.verify.netlist import check_drawn_nets
from millprep.workflow import laying, nets, time_log
from millprep.workflow.identity import read_inputs, set_id
from millprep.workflow.inputs import (
    Facts,
    check_drawings,
    read_boards,
    read_nets,
    stored,
    with_stored,
)
from millprep.workflow.laying import Choice, Laid

Say = Callable[[str], None]


def plan_set(job_file: Path, *, repair: bool = False) -> CutSet:
    """The set of a job as it is planned; no program is written or proved.

    Raises:
        Refusal: with all findings, when the job cannot be cut as it is.
    """
    plan, boards = read_job(job_file, repair=repair)
    facts = read_nets(plan, boards, job_file)
    choice = with_stored(plan, None)
    try:
        cut_set = empty(plan, job_file, boards, None, choice)
        cut_set, laid = laid_out(cut_set, plan, boards, facts, choice)
        return planned(cut_set, plan, facts, None, laid.skipped)
    except Stopped as stopped:
        raise Refusal(stopped.cut_set.findings) from None


def read_job(
    job_file: Path, say: Say = lambda _: None, *, repair: bool = False
) -> tuple[JobPlan, tuple[Board, ...]]:
    """A job with what least time chooses, and its boards.

    Raises:
        Refusal: for mistakes in job or drawings.
    """
    say("reading the job")
    plan = job.load(job_file)
    if plan.bench is not None:
        say(f"taking the bench {plan.bench.file}")
    say("reading the drawings")
    boards = read_boards(plan, repair=repair)
    plan = least_time.chosen(plan, boards)
    return plan, boards


def empty(
    plan: JobPlan,
    job_file: Path,
    boards: Iterable[Board],
    derivation: Derivation | None,
    choice: Choice | None = None,
) -> CutSet:
    """The set before anything is planned: its id, inputs and machine."""
    inputs = read_inputs(plan, job_file)
    derived: tuple[str, ...] = ()
    if derivation is not None:
        inputs = (*inputs, *derivation.readings)
        derived = (derivation.derived_from, derivation.step)
    # last of all, because no cut depends on it
    log, time_fit = time_log.fit_of(plan.machine)
    inputs = (*inputs, *log)
    chosen: tuple[str, ...] = ()
    if choice is not None:
        # what the job names itself is among the inputs
        own = plan.layout.file is not None and choice.stored == stored(*plan.layout.file)
        chosen = (replace(choice, stored=None) if own else choice).words
    return CutSet(
        id=set_id(inputs, (*derived, *chosen)),
        job=plan.name,
        machine=plan.machine,
        clamps=plan.setup.clamps,
        flatness=plan.isolation.flatness,
        tape=plan.setup.tape,
        vacuum=plan.setup.vacuum,
        cutters=plan.cutters,
        gap=plan.isolation.gap,
        locating=plan.registration.method,
        inputs=inputs,
        findings=check_drawings(plan, boards) + (() if derivation is None else derivation.findings),
        derived_from=None if derivation is None else derivation.derived_from,
        chosen=chosen,
        time_fit=time_fit,
    )


def laid_out(
    cut_set: CutSet,
    plan: JobPlan,
    boards: tuple[Board, ...],
    facts: Facts,
    choice: Choice | None,
) -> tuple[CutSet, Laid]:
    """The set with its layout."""
    with stops(cut_set):
        laid = laying.lay(plan, boards, choice)
        if laid.findings:
            raise Refusal(laid.findings)
    layout = laid.layout(boards, plan.blanks)
    files = [i.file for i in cut_set.inputs]
    drawn = {board.name: files.index(board.drawing.copper.name) for board in plan.boards}
    names, faults = nets.name(plan.boards, layout, facts)
    pins = {board.name: nets.pins(board) for board in boards}
    jumpers = {board.name: board.jumper_ends for board in plan.boards}
    blanks = tuple(
        MilledBlank(
            laminate,
            tuple(
                BoardCopy(
                    placement,
                    drawn[placement.board.name],
                    {
                        piece.id: names[placement.index, piece.id]
                        for piece in placement.board.pieces
                    },
                    pins[placement.board.name],
                    jumpers[placement.board.name],
                )
                for placement in layout.on(laminate.number)
            ),
        )
        for laminate in layout.blanks
    )
    plans = {board.name: board for board in plan.boards}
    misses = (
        finding
        # every copy has the same netlist, the first one reports
        for placement in layout.placements
        if placement.copy == 1
        for finding in check_drawn_nets(plans[placement.board.name], placement)
    )
    findings = (*cut_set.findings, *laid.notes, *faults, *misses)
    return replace(cut_set, blanks=blanks, findings=findings), laid


def planned(
    cut_set: CutSet,
    plan: JobPlan,
    facts: Facts,
    derivation: Derivation | None,
    skipped: int = 0,
) -> CutSet:
    """Cuts and passes of every blank; the stops of all blanks together.

    All is planned as if every placement were cut, so that what is skipped changes nothing of
    the others; then the last `skipped` placements are taken out.
    """
    blanks: list[MilledBlank] = []
    for blank in cut_set.blanks:
        cuts, findings = blank_cuts.cuts(plan, blank.laminate, blank.placements, facts)
        blanks.append(replace(blank, cuts=cuts))
        cut_set = replace(cut_set, findings=(*cut_set.findings, *findings))
    cut_set = replace(cut_set, blanks=tuple(blanks))
    stop(cut_set)
    copies = cut_set.copies
    left_out = frozenset(range(len(copies) - skipped, len(copies)))
    poses = {} if derivation is None else derivation.poses
    read = {} if derivation is None else derivation.read
    # a blank may bear the id of the set that readings were taken with
    engraved = cut_set.id if derivation is None else derivation.engraved
    for k, blank in enumerate(blanks):
        if all(placement.index in left_out for placement in blank.placements):
            continue
        with stops(cut_set):
            blank, findings = blank_passes.passes(plan, blank, engraved, poses, left_out)
        blanks[k] = replace(
            blank,
            passes=tuple(
                replace(each, read=read.get((each.blank, each.number), ())) for each in blank.passes
            ),
        )
        findings = (*cut_set.findings, *findings)
        cut_set = replace(cut_set, blanks=tuple(blanks), findings=findings)
    return _without(cut_set, left_out)


def _without(cut_set: CutSet, left_out: Collection[int]) -> CutSet:
    """The set less the copies that are left out, and less blanks that hold no others."""
    gone = {
        (copy.placement.board.name, copy.placement.copy)
        for copy in cut_set.copies
        if copy.placement.index in left_out
    }
    blanks = (_less(blank, left_out) for blank in cut_set.blanks)
    return replace(
        cut_set,
        blanks=tuple(blank for blank in blanks if blank.copies),
        findings=tuple(f for f in cut_set.findings if (f.board, f.copy) not in gone),
    )


def _less(blank: MilledBlank, left_out: Collection[int]) -> MilledBlank:
    """A blank less the copies that are left out and their cuts."""
    if not left_out:
        return blank
    cuts = blank.cuts
    return replace(
        blank,
        copies=tuple(copy for copy in blank.copies if copy.placement.index not in left_out),
        cuts=replace(
            cuts,
            laps=tuple(lap for lap in cuts.laps if lap.placement not in left_out),
            clearings=tuple(
                clearing for clearing in cuts.clearings if clearing.placement not in left_out
            ),
            holes=tuple(hole for hole in cuts.holes if hole.placement not in left_out),
        ),
    )


class Stopped(Exception):  # noqa: N818 - no error of the program: a finding says stop
    """The walk ends here; carries what was known."""

    def __init__(self, cut_set: CutSet) -> None:
        self.cut_set = replace(cut_set, findings=limited(cut_set.findings))
        super().__init__("stopped by a finding")


def stop(cut_set: CutSet) -> None:
    """End the walk when a finding says stop."""
    if any(f.severity == "stop" for f in cut_set.findings):
        raise Stopped(cut_set)


@contextlib.contextmanager
def stops(cut_set: CutSet) -> Iterator[None]:
    """A step whose refusal ends the walk, with what was known before it."""
    try:
        yield
    except Refusal as refusal:
        if refusal.exit_code != 1:
            # a mistake in the job or the call
            raise
        findings = (*cut_set.findings, *refusal.findings)
        raise Stopped(replace(cut_set, findings=findings)) from refusal
