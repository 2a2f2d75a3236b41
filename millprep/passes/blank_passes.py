"""The cuts of a blank shared among passes, and their programs."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from millprep.gcode import dry_run
from millprep.gcode.build import build
from millprep.gcode.spoilboard import spoilboard_program
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.cut import Cut, Profile
from millprep.model.cutter import with_shapes
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.passes import join_findings, lying, neighbours, turn
from millprep.passes.marks import Marks
from millprep.passes.neighbours import gouges_of_drawn_copper
from millprep.passes.planned_passes import PlannedPasses, planned_passes
from millprep.passes.windows import joined_by, least_shared
from millprep.toolpaths import drilling


def passes(
    job: JobPlan,
    blank: MilledBlank,
    set_id: str,
    measured: Mapping[tuple[int, int], Pose] = MappingProxyType({}),
    left_out: Collection[int] = (),
) -> tuple[MilledBlank, tuple[Finding, ...]]:
    """The blank with its passes and their programs, and what a person should know of them.

    Args:
        job: what is required.
        blank: the laminate, its boards and its cuts, profiles without tabs.
        set_id: that is engraved where the job says so.
        measured: (blank, pass) to where readings at the machine found the blank. What is cut and
            what the spoilboard holds stays as planned; only the programs of such a pass move.
        left_out: placements that are planned like the others and not cut.

    Raises:
        Refusal: when no plan of passes holds the boards.
    """
    job = joined_by(job, blank.laminate)
    # how long names take to engrave follows from feeds; nothing else here does
    planned = (
        planned_passes(job, blank, set_id, measured, left_out)
        if job.engrave_names
        else planned_passes(with_shapes(job), blank, "", measured, left_out)
    )
    shared = planned.shared
    spoilboard = _spoilboard(job, blank.laminate, planned.registered.holes)
    milled = tuple(
        _with_programs(job, mill_pass, cuts, planned.marks, left_out)
        for mill_pass, cuts in planned.passes
    )
    made = tuple(join for join in shared.joins if join.placement not in left_out)
    profiles = tuple(
        profile for profile in shared.profiles.whole if profile.placement not in left_out
    )
    done = replace(
        blank,
        copies=tuple(_with_tabs(copy, profiles) for copy in blank.copies),
        cuts=replace(blank.cuts, profiles=profiles),
        registration=planned.hole_cuts,
        passes=milled,
        joins=made,
        drilled_in_other_pass=tuple(
            hole for hole in planned.drilled_in_other_pass if hole.placement not in left_out
        ),
        spoilboard=spoilboard,
    )
    return done, tuple(_findings(job, done, planned))


def _with_tabs(copy: BoardCopy, profiles: Sequence[Profile]) -> BoardCopy:
    """A copy with the places of its tabs."""
    mine = (profile for profile in profiles if profile.placement == copy.placement.index)
    return replace(copy, tabs=tuple(place for profile in mine for place in profile.tab_places))


def _spoilboard(
    job: JobPlan, laminate: Blank, holes: Sequence[RegistrationHole]
) -> tuple[Program, ...]:
    """The spoilboard's programs for pins."""
    if not holes or job.registration.method != "pins":
        return ()
    cutter, _ = drilling.pin_cutter(job.registration)
    return () if cutter is None else (spoilboard_program(job, holes, cutter, laminate),)


def _with_programs(
    job: JobPlan,
    mill_pass: MillingPass,
    cuts: Sequence[Cut],
    marks: Marks,
    left_out: Collection[int],
) -> MillingPass:
    """A pass with the programs that make its cuts."""
    # the cross first: it shows at once whether the blank lies on the right set
    crosses_first = sorted(mill_pass.registration, key=lambda hole: hole.role != "witness")
    programs = build(
        cuts,
        mill_pass,
        job.cutters,
        job.machine,
        job.profile,
        [hole.machine for hole in crosses_first],
        marks.verniers.second.get(mill_pass.number, ()),
        None if job.registration.probe == "none" else job.registration,
        left_out,
        job.setup.clamps,
        flatness=job.isolation.flatness,
    )
    return replace(mill_pass, programs=programs)


def _findings(
    job: JobPlan,
    blank: MilledBlank,
    planned: PlannedPasses,
) -> Iterator[Finding]:
    """What a person should know of the passes of a blank."""
    frame, registered, shared = planned.frame, planned.registered, planned.shared
    number, placements, plan = blank.number, blank.placements, job.registration
    laminate, machine = blank.laminate, job.machine
    by_index = {p.index: p for p in placements}
    made = frame.shift.only([each.number for each in blank.passes])
    yield from lying.check_screw_turns(made, job.machine, number)
    shared_least = least_shared(job, laminate)
    yield from lying.check_origin(made, frame.need, machine, job.setup.origin, shared_least, number)
    yield from turn.turn_findings(made, registered.holes, number)
    yield from planned.tight_pins
    yield from join_findings.check_hole_distance(blank.joins, registered.holes, plan, number)
    for mill_pass in blank.passes:
        yield from lying.overhang_findings(
            mill_pass.pose, laminate, machine.travel, mill_pass.number
        )
    for mill_pass in blank.passes:
        yield from dry_run.check_clamp_height(mill_pass, job.setup.clamps, job.machine)
    for finding in planned.marks.findings:
        yield replace(finding, blank=number)
    yield from shared.profiles.findings
    yield from join_findings.check_joins(blank.joins, plan, by_index, number)
    gouges = neighbours.gouges(
        registered.pairs, registered.join_plan.pass_at, registered.errors.most
    )
    drawn = gouges_of_drawn_copper(gouges, placements, job.isolation)
    yield from join_findings.gouge_findings(drawn, by_index)
    yield from join_findings.scale_findings(job.machine, placements, number)
