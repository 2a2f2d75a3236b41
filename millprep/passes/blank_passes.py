"""The cuts of a blank shared among passes, and their programs."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NamedTuple

from millprep.cache import cached
from millprep.gcode import dry_run
from millprep.gcode.build import build
from millprep.gcode.spoilboard import spoilboard_program
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.cut import Cut, HoleCut, Lap
from millprep.model.cutter import with_shapes
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import EdgeCheck, Join, MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import MilledBlank
from millprep.passes import (
    cuts_by_pass,
    join_findings,
    neighbours,
    pass_findings,
    tolerances,
    turn,
)
from millprep.passes.clamping import hold_downs, touch_point
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.dropping_on import check_pins, drop_on
from millprep.passes.holes_and_joins import Registered, registered_of, split_laps
from millprep.passes.marks import Marks, with_names
from millprep.passes.marks import plan as plan_marks
from millprep.passes.neighbours import drilled_in_other_pass, gouges_of_drawn_copper
from millprep.passes.profiles_by_pass import ProfilesByPass, profiles_by_pass
from millprep.passes.straight import edge_check
from millprep.passes.tolerances import joined_grooves, tick_room
from millprep.passes.windows import PassFrame, frame_of, joined_by, least_shared
from millprep.toolpaths import drilling, linking


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
    frame, registered, hole_cuts, shared, marks, planned = (
        _planned(job, blank, set_id, measured, left_out)
        if job.engrave_names
        else _planned(with_shapes(job), blank, "", measured, left_out)
    )
    spoilboard = _spoilboard(job, blank.laminate, registered.holes)
    milled = tuple(
        _with_programs(job, mill_pass, cuts, marks, left_out) for mill_pass, cuts in planned
    )
    made = tuple(join for join in shared.joins if join.placement not in left_out)
    profiles = tuple(
        profile for profile in shared.profiles.whole if profile.placement not in left_out
    )
    other_pass = drilled_in_other_pass(shared.laps.by_pass, shared.holes, registered.errors.most)
    done = replace(
        blank,
        cuts=replace(blank.cuts, profiles=profiles),
        registration=tuple(cut for cuts in hole_cuts.values() for cut in cuts),
        passes=milled,
        joins=made,
        drilled_in_other_pass=tuple(hole for hole in other_pass if hole.placement not in left_out),
        spoilboard=spoilboard,
    )
    return done, tuple(_findings(job, done, frame, registered, shared, marks))


class _Planned(NamedTuple):
    """The passes of a blank but for their programs, each with what it cuts in order."""

    frame: PassFrame
    registered: Registered
    hole_cuts: Mapping[int, Sequence[HoleCut]]
    shared: _Shared
    marks: Marks
    passes: tuple[tuple[MillingPass, Sequence[Cut]], ...]


@cached
def _planned(
    job: JobPlan,
    blank: MilledBlank,
    set_id: str,
    measured: Mapping[tuple[int, int], Pose],
    left_out: Collection[int],
) -> _Planned:
    """All of the passes that follows from the shapes of cutters.

    Raises:
        Refusal: when no plan of passes holds the boards.
    """
    laminate, frame = blank.laminate, frame_of(job, blank)
    registered = registered_of(job, blank, frame)
    hole_cuts = _pin_holes(job, laminate, registered.holes)
    shared = _shared(job, blank, frame, registered, left_out)
    marks = _marks(job, blank, frame, registered, shared, set_id)
    passes = tuple(
        (
            _pass(job, blank, frame, registered, marks, number, measured, left_out),
            drilling.without_change(
                (*hole_cuts.get(number, ()), *_cuts_of(job, laminate, number, marks, shared)),
                job.profile.cutter,
            ),
        )
        for number in range(1, len(frame.shift.poses) + 1)
    )
    return _Planned(frame, registered, hole_cuts, shared, marks, passes)


def _pin_holes(
    job: JobPlan, laminate: Blank, holes: Sequence[RegistrationHole]
) -> Mapping[int, Sequence[HoleCut]]:
    """The registration holes that every pass drills.

    Raises:
        Refusal: when no cutter of the job makes them, or the holes for pins.
    """
    hole_cuts, findings = drilling.register(holes, laminate, job.registration, job.drilling)
    if holes and job.registration.method == "pins":
        findings = (*findings, *drilling.pin_cutter(job.registration, job.drilling)[1])
    if findings:
        raise Refusal(findings)
    return hole_cuts


def _spoilboard(
    job: JobPlan, laminate: Blank, holes: Sequence[RegistrationHole]
) -> tuple[Program, ...]:
    """The spoilboard's programs for pins."""
    if not holes or job.registration.method != "pins":
        return ()
    cutter, _ = drilling.pin_cutter(job.registration, job.drilling)
    return () if cutter is None else (spoilboard_program(job, holes, cutter, laminate),)


@dataclass(frozen=True, slots=True)
class _Shared:
    """What every pass cuts of the boards, and where passes meet."""

    laps: CutsByPass
    clearings: Sequence[Sequence[Cut]]
    holes: Sequence[Sequence[HoleCut]]
    profiles: ProfilesByPass
    joins: tuple[Join, ...]


def _shared(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    left_out: Collection[int],
) -> _Shared:
    """The cuts of the boards, shared among the passes."""
    laminate, cuts, placements = blank.laminate, blank.cuts, blank.placements
    shift, join_plan, errors = frame.shift, registered.join_plan, registered.errors
    laps = tolerances.with_figures(
        split_laps(job, blank, frame, join_plan),
        errors,
        joined_grooves(job, laminate, cuts, join_plan),
        tick_room(shift, placements, job.isolation.gap),
    )
    profiles = profiles_by_pass(job, laminate, cuts.profiles, placements, shift, left_out)
    overrun, sole_pass = job.registration.overrun, frame.sole_pass
    return _Shared(
        laps,
        cuts_by_pass.share_clearings(cuts.clearings, shift, overrun, sole_pass),
        cuts_by_pass.share_holes(cuts.holes, join_plan, shift, blank.number, sole_pass),
        profiles,
        (*laps.joins, *tolerances.with_misalignment(profiles.joins, errors)),
    )


def _pass(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    marks: Marks,
    number: int,
    measured: Mapping[tuple[int, int], Pose],
    left_out: Collection[int],
) -> MillingPass:
    """A pass without its programs."""
    laminate, shift, k, holes = blank.laminate, frame.shift, number - 1, registered.holes
    mine = [hole for hole in holes if hole.used_in == number]
    planned = shift.poses[k]
    pose = _pose(planned, measured.get((laminate.number, number)))
    window = shift.polygon(k)
    if pose is not planned:
        window = pose.inverse().shape(job.machine.reachable.shape)
    return MillingPass(
        blank=laminate.number,
        number=number,
        window=window,
        pose=pose,
        registration=tuple(
            replace(hole, machine=pose.point(hole.blank))
            for hole in (*holes, *marks.labels.crosses)
            if hole.used_in == number
        ),
        touch=_touch(job, laminate, frame, marks, number, pose),
        verniers=tuple(
            vernier for vernier in marks.verniers.verniers if vernier.passes[1] == number
        ),
        drop_on=drop_on(mine, registered.errors.hole_errors, job.registration),
        edge=None if number > 1 else _edge(job, blank, frame, holes),
        texts=marks.texts(number, left_out),
    )


def _touch(
    job: JobPlan, laminate: Blank, frame: PassFrame, marks: Marks, number: int, pose: Pose
) -> Point:
    """Where Z is zeroed in a pass, machine frame.

    Raises:
        Refusal: when no place is free.
    """
    window = frame.shift.windows[number - 1]
    return touch_point(
        window,
        pose,
        laminate,
        marks.taken,
        frame.denied[number - 1],
        job.setup.touch,
        number,
        hold_downs(job.setup, number),
        _middle(window, frame.need),
    )


def _marks(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    shared: _Shared,
    set_id: str,
) -> Marks:
    """What is engraved outside the boards."""
    laminate, cutter = blank.laminate, job.isolation.uses[0].cutter.name
    made = plan_marks(job, laminate, frame, registered.holes, shared.laps.joins)
    if not job.engrave_names:
        return made
    # only where the cutter is in the spindle anyway, and where Z is zeroed all the same
    touches = {
        number: _touch(job, laminate, frame, made, number, frame.shift.poses[number - 1])
        for number, cuts in enumerate(shared.laps.by_pass, 1)
        if any(cut.cutter == cutter for cut in cuts)
    }
    return with_names(job, laminate, blank.placements, frame, made, touches, set_id)


def _edge(
    job: JobPlan, blank: MilledBlank, frame: PassFrame, holes: Sequence[RegistrationHole]
) -> EdgeCheck | None:
    """Where the angle of the blank is checked in pass 1."""
    return edge_check(
        blank.laminate,
        frame.shift.poses[0],
        job.machine.travel,
        frame.denied[0],
        blank.placements,
        holes,
        job.profile.cutter.width(blank.laminate.thickness),
        job.registration.wall,
    )


def _middle(window: Box, need: Box) -> Point:
    """The middle of what a pass cuts."""
    return (
        (max(window.x0, need.x0) + min(window.x1, need.x1)) / 2,
        (max(window.y0, need.y0) + min(window.y1, need.y1)) / 2,
    )


def _pose(planned: Pose, measured: Pose | None) -> Pose:
    """The pose that was measured, or the planned one where that is what a report holds of it."""
    if measured is None or measured.as_list() == [round(v, 9) for v in planned.as_list()]:
        return planned
    return measured


def _cuts_of(
    job: JobPlan, laminate: Blank, number: int, marks: Marks, shared: _Shared
) -> Iterator[Cut]:
    """What a pass cuts besides registration holes, in the order in which it was planned."""
    k = number - 1
    laps = [cut for cut in shared.laps.by_pass[k] if isinstance(cut, Lap)]
    yield from marks.lines.get(number, ())
    yield from (cut for cut in shared.laps.by_pass[k] if not isinstance(cut, Lap))
    yield from linking.linked_laps(laps, job.cutters, laminate.copper)
    yield from shared.clearings[k]
    yield from shared.holes[k]
    yield from shared.profiles.by_pass[k]


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
    frame: PassFrame,
    registered: Registered,
    shared: _Shared,
    marks: Marks,
) -> Iterator[Finding]:
    """What a person should know of the passes of a blank."""
    number, placements, plan = blank.number, blank.placements, job.registration
    laminate, machine = blank.laminate, job.machine
    by_index = {p.index: p for p in placements}
    yield from pass_findings.check_screw_turns(frame.shift, job.machine, number)
    shared_least = least_shared(job, laminate)
    yield from pass_findings.check_origin(
        frame.shift, frame.need, machine, job.setup.origin, shared_least, number
    )
    yield from turn.turn_findings(frame.shift, registered.holes, number)
    yield from check_pins(registered.holes, registered.errors.hole_errors, plan, number)
    yield from join_findings.check_hole_distance(blank.joins, registered.holes, plan, number)
    for mill_pass in blank.passes:
        yield from pass_findings.overhang_findings(
            mill_pass.pose, laminate, machine.travel, mill_pass.number
        )
    for mill_pass in blank.passes:
        yield from dry_run.check_clamp_height(mill_pass, job.setup.clamps, job.machine)
    for finding in marks.findings:
        yield replace(finding, blank=number)
    yield from shared.profiles.findings
    yield from join_findings.check_joins(blank.joins, plan, by_index, number)
    gouges = neighbours.gouges(
        registered.pairs, registered.join_plan.pass_at, registered.errors.most
    )
    drawn = gouges_of_drawn_copper(gouges, placements, job.isolation)
    yield from join_findings.gouge_findings(drawn, by_index)
    yield from join_findings.scale_findings(job.machine, placements, number)
