"""The cuts of a blank shared among passes, and their programs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.gcode import dry_run
from millprep.gcode.build import build
from millprep.gcode.spoilboard import spoilboard_program
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.cut import Cut, HoleCut, Profile
from millprep.model.finding import Finding, Refusal
from millprep.model.hole_made import DrilledInOtherPass
from millprep.model.layout import Placement
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.plan import JobPlan
from millprep.model.program import Program
from millprep.passes import (
    cuts_by_pass,
    hole_sets,
    join_findings,
    joins,
    labels,
    neighbours,
    pass_findings,
    registration,
    tolerances,
    turn,
    verniers,
)
from millprep.passes.blank_cuts import Cuts, extent
from millprep.passes.clamping import Clamping, denied, touch_point
from millprep.passes.error_budget import ErrorBudget, HoleErrors, MachineErrors
from millprep.passes.joins import survey_laps
from millprep.passes.neighbours import Pair, drilled_in_other_pass, gouges_of_drawn_copper
from millprep.passes.profiles_by_pass import freed
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.shift import ShiftPlan
from millprep.passes.tolerances import joined_grooves, tick_room
from millprep.passes.windows import joined_by, windows
from millprep.toolpaths import drilling


@dataclass(frozen=True, slots=True)
class Passes:
    """How the cuts are shared among passes, and their programs."""

    passes: tuple[MillingPass, ...]
    joins: tuple[Join, ...]
    profiles: tuple[Profile, ...]
    registration: tuple[HoleCut, ...]
    programs: tuple[Program, ...]
    findings: tuple[Finding, ...]
    drilled_in_other_pass: tuple[DrilledInOtherPass, ...] = ()


def passes(
    job: JobPlan,
    blank: Blank,
    made: Cuts,
    placements: tuple[Placement, ...],
    found: Mapping[tuple[int, int], Pose],
    left_out: Collection[int] = (),
) -> Passes:
    """The passes of a blank with their programs.

    Args:
        job: what is asked.
        blank: the laminate.
        made: what is to be cut on it.
        placements: boards on it.
        found: (blank, pass) to where readings at the machine found the blank. What is cut and
            what the bed holds stays as planned; only the programs of such a pass move.
        left_out: placements that are planned like the others and not cut.

    Raises:
        Refusal: when no plan of passes holds the boards.
    """
    job = joined_by(job, blank)
    told = job.registration
    overrun, gap = told.overrun, job.isolation.gap
    width = job.profile.cutter.width(blank.thickness)
    radius = width / 2
    need = extent(made)
    outlines = {p.index: p.pose.shape(p.board.outline) for p in placements}
    plan = windows(job, blank, need, outlines)
    sole_pass = Regions.of(plan, profile_overrun(radius)).whole(outlines, radius)
    clamping = Clamping(job.clamps, job.machine.collet / 2 + 1.0)
    clamped = denied(clamping, len(plan.poses))
    kerf = shapely.union_all([outline.buffer(width, quad_segs=4) for outline in outlines.values()])
    if blank.outline is not None:
        # nothing is touched, drilled or engraved where an offcut has no laminate
        kerf = kerf.union(shapely.box(0.0, 0.0, *blank.size).difference(blank.outline))
    holes, errors, join_plan, pairs = _registered(
        job, blank, made, plan, clamping, kerf, need, sole_pass
    )
    find_again, findings = drilling.register(holes, blank, job.registration, job.drilling)
    programs: list[Program] = []
    if holes and job.registration.method == "pins":
        pin_cutter, missing = drilling.pin_cutter(job.registration, job.drilling)
        findings = (*findings, *missing)
        if pin_cutter is not None:
            pins = list(dict.fromkeys(hole.machine for hole in holes))
            programs.append(spoilboard_program(job, pins, pin_cutter, blank.number))
    if findings:
        raise Refusal(findings)

    laps = tolerances.with_figures(
        cuts_by_pass.share_laps(made.laps, join_plan, plan, overrun, 1.5 * gap, blank.number),
        errors,
        joined_grooves(job, blank, made, join_plan),
        tick_room(plan, placements, gap),
    )
    drilled = cuts_by_pass.share_holes(made.holes, join_plan, plan, blank.number, sole_pass)
    free = freed(job, blank, made.profiles, placements, plan, left_out)
    bared = cuts_by_pass.share_clearings(made.clearings, plan, overrun, sole_pass)

    engraver = max(job.isolation.cutters, key=lambda c: c.width(job.isolation.depth))
    marks = labels.plan(plan, blank, holes, kerf, clamped, engraver, job.isolation.depth)
    swept = shapely.union_all([kerf, marks.taken, *(_disc(hole) for hole in holes)])
    vernier_plan = verniers.VernierPlan()
    if told.verniers:
        finest = min(job.isolation.cutters, key=lambda c: c.width(job.isolation.depth))
        vernier_plan = verniers.plan(
            plan, blank, holes, swept, clamped, laps.joins, finest, job.isolation.depth
        )
        swept = shapely.union_all([swept, vernier_plan.taken])
    milling: list[MillingPass] = []
    for k, planned in enumerate(plan.poses):
        number = k + 1
        pose = _pose(planned, found.get((blank.number, number)))
        window = plan.polygon(k)
        if pose is not planned:
            window = pose.inverse().shape(_area(job.machine.travel))
        mill_pass = MillingPass(
            blank=blank.number,
            number=number,
            window=window,
            pose=pose,
            registration=tuple(
                replace(h, machine=pose.point(h.blank))
                for h in (*holes, *marks.witnesses)
                if h.used_in == number
            ),
            touch=touch_point(plan.windows[k], pose, blank, swept, clamped[k], job.touch, number),
            verniers=tuple(one for one in vernier_plan.verniers if one.passes[1] == number),
        )
        milling.append(mill_pass)
        mine: list[Cut] = [
            *find_again.get(number, ()),
            *marks.by_pass.get(number, ()),
            *vernier_plan.first.get(number, ()),
            *laps.by_pass[k],
            *bared[k],
            *drilled[k],
            *free.by_pass[k],
        ]
        # the cross first: it shows at once whether the blank lies on the right set
        looked_at = sorted(mill_pass.registration, key=lambda hole: hole.role != "witness")
        shown = [hole.machine for hole in looked_at]
        ahead = vernier_plan.second.get(number, ())
        programs += build(
            mine,
            mill_pass,
            job.cutters,
            job.machine,
            job.profile,
            shown,
            ahead,
            told.probe,
            left_out,
            job.clamps,
        )
    judged = tuple(
        join
        for join in (*laps.joins, *tolerances.with_misalignment(free.joins, errors))
        if join.placement not in left_out
    )
    by_index = {p.index: p for p in placements}
    gouges = gouges_of_drawn_copper(
        neighbours.gouges(pairs, join_plan.pass_at, errors.most), placements, job.isolation
    )
    words = (
        *pass_findings.check_screw_turns(plan, job.machine, blank.number),
        *turn.told(plan, holes, blank.number),
        *join_findings.check_hole_distance(judged, holes, told, blank.number),
        *(
            finding
            for one in milling
            for finding in pass_findings.overhang_findings(
                one.pose, blank, job.machine.travel, one.number
            )
        ),
        *(
            finding
            for one in milling
            for finding in dry_run.check_clamp_height(one, job.clamps, job.machine)
        ),
        *(replace(f, blank=blank.number) for f in (*marks.findings, *vernier_plan.findings)),
        *free.findings,
        *join_findings.check_joins(judged, job.registration, by_index, blank.number),
        *join_findings.gouge_findings(gouges, by_index),
        *join_findings.scale_findings(job.machine, placements, blank.number),
    )
    return Passes(
        tuple(milling),
        judged,
        tuple(one for one in free.profiles if one.placement not in left_out),
        tuple(cut for cuts_ in find_again.values() for cut in cuts_),
        tuple(programs),
        words,
        tuple(
            one
            for one in drilled_in_other_pass(laps.by_pass, drilled, errors.most)
            if one.placement not in left_out
        ),
    )


def _registered(
    job: JobPlan,
    blank: Blank,
    made: Cuts,
    plan: ShiftPlan,
    clamping: Clamping,
    kerf: BaseGeometry,
    need: Box,
    sole_pass: Mapping[int, int],
) -> tuple[tuple[RegistrationHole, ...], ErrorBudget, joins.JoinPlan, tuple[Pair, ...]]:
    """Registration holes and joins: each is chosen by the other, in a fixed two rounds."""
    told = job.registration
    overrun, gap = told.overrun, job.isolation.gap
    where = hole_sets.expected_joins(plan, need)
    seen = survey_laps(plan, made.laps, made.holes, sole_pass)
    keys = told.method == "measure"
    for last in (False, True):
        holes = registration.choose(
            plan,
            blank,
            told,
            kerf,
            clamping,
            need,
            job.profile.cutter.width(blank.thickness),
            where,
        )
        errors = ErrorBudget(
            HoleErrors.of(holes, len(plan.poses), keys=keys),
            MachineErrors.of(job.machine, plan.poses, holes, keys=keys),
            told.sigma,
        )
        join_plan = joins.plan(seen, errors, overrun, gap)
        if last or not holes:
            break
        laps = cuts_by_pass.share_laps(made.laps, join_plan, plan, overrun, 1.5 * gap, blank.number)
        where = hole_sets.places_of_joins(laps.joins, where)
    return holes, errors, join_plan, seen.pairs


def _pose(planned: Pose, found: Pose | None) -> Pose:
    """The pose that was found, or the planned one where that is what a report says of it."""
    if found is None or found.as_list() == [round(v, 9) for v in planned.as_list()]:
        return planned
    return found


def _area(box: Box) -> shapely.Polygon:
    return shapely.box(box.x0, box.y0, box.x1, box.y1)


def _disc(hole: RegistrationHole) -> shapely.Polygon:
    return shapely.Point(hole.blank).buffer(hole.diameter / 2)
