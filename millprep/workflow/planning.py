"""A set as it is planned: what it is made from, its layout, its cuts and passes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from millprep.model.board import Board
from millprep.model.derivation import Derivation
from millprep.model.finding import Refusal
from millprep.model.layout import Layout
from millprep.model.plan import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.passes import blank_cuts, blank_passes
from millprep.workflow import laying, nets
from millprep.workflow.inputs import Facts, read_inputs, set_id, stored, told
from millprep.workflow.laying import Choice, Laid
from millprep.workflow.stopped import stop, stopped


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
    chosen: tuple[str, ...] = ()
    if choice is not None:
        # what the job names itself is among the inputs
        own = plan.layout is not None and choice.stored == stored(*plan.layout)
        chosen = (replace(choice, stored=None) if own else choice).words
    return CutSet(
        id=set_id(inputs, (*derived, *chosen)),
        job=plan.name,
        machine=plan.machine,
        clamps=plan.clamps,
        cutters=plan.cutters,
        gap=plan.isolation.gap,
        locating=plan.registration.method,
        inputs=inputs,
        layout=Layout((), ()),
        board_input=(),
        nets={},
        findings=told(plan, boards) + (() if derivation is None else derivation.findings),
        derived_from=None if derivation is None else derivation.derived_from,
        chosen=chosen,
    )


def laid_out(
    cut_set: CutSet,
    plan: JobPlan,
    boards: tuple[Board, ...],
    facts: Facts,
    choice: Choice | None,
) -> tuple[CutSet, Laid]:
    """The set with its layout."""
    try:
        laid = laying.lay(plan, boards, choice)
        if laid.findings:
            raise Refusal(laid.findings)
    except Refusal as refusal:
        if refusal.exit_code != 1:
            raise
        raise stopped(cut_set, refusal) from refusal
    layout = laid.layout(boards, plan.blanks)
    files = [i.file for i in cut_set.inputs]
    drawn = {one.name: files.index(one.drawing_name) for one in plan.boards}
    named, faults = nets.name(plan.boards, layout, facts)
    known = replace(
        cut_set,
        layout=layout,
        board_input=tuple(drawn[p.board.name] for p in layout.placements),
        nets=named,
        findings=(*cut_set.findings, *laid.notes, *faults),
    )
    return known, laid


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
    layout = cut_set.layout
    made_layout = laying.made_of(layout, skipped)
    left_out = frozenset(range(len(made_layout.placements), len(layout.placements)))
    for blank in layout.blanks:
        here = layout.on(blank.number)
        cuts = blank_cuts.cuts(plan, blank, here, facts)
        cut_set = replace(
            cut_set,
            laps=(*cut_set.laps, *cuts.laps),
            clearings=(*cut_set.clearings, *cuts.clearings),
            holes=(*cut_set.holes, *cuts.holes),
            profiles=(*cut_set.profiles, *cuts.profiles),
            findings=(*cut_set.findings, *cuts.findings),
        )
    stop(cut_set)
    bare = replace(cut_set, profiles=())
    poses = {} if derivation is None else derivation.poses
    for blank in made_layout.blanks:
        mine = {p.index for p in layout.on(blank.number)}
        made = blank_cuts.Cuts(
            tuple(r for r in cut_set.laps if r.placement in mine),
            tuple(h for h in cut_set.holes if h.placement in mine),
            tuple(p for p in cut_set.profiles if p.placement in mine),
            (),
            tuple(c for c in cut_set.clearings if c.placement in mine),
        )
        try:
            done = blank_passes.passes(plan, blank, made, layout.on(blank.number), poses, left_out)
        except Refusal as refusal:
            raise stopped(cut_set, refusal) from refusal
        bare = replace(
            bare,
            holes=(*bare.holes, *done.registration),
            profiles=(*bare.profiles, *done.profiles),
            passes=(*bare.passes, *done.passes),
            joins=(*bare.joins, *done.joins),
            programs=(*bare.programs, *done.programs),
            findings=(*bare.findings, *done.findings),
            drilled_in_other_pass=(*bare.drilled_in_other_pass, *done.drilled_in_other_pass),
        )
    return _without(bare, made_layout)


def _without(cut_set: CutSet, layout: Layout) -> CutSet:
    """The set less the placements that the layout lacks, which are the last of its own."""
    if len(layout.placements) == len(cut_set.layout.placements):
        return cut_set
    last = len(layout.placements)
    gone = {(p.board.name, p.copy) for p in cut_set.layout.placements[last:]}
    return replace(
        cut_set,
        layout=layout,
        board_input=cut_set.board_input[:last],
        nets={key: net for key, net in cut_set.nets.items() if key[0] < last},
        laps=tuple(one for one in cut_set.laps if one.placement < last),
        clearings=tuple(one for one in cut_set.clearings if one.placement < last),
        holes=tuple(h for h in cut_set.holes if h.placement is None or h.placement < last),
        findings=tuple(f for f in cut_set.findings if (f.board, f.copy) not in gone),
    )
