"""What is to be cut on a blank, unsplit, and the windows of its passes: what is taken in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.cache import cached
from millprep.model.blank import Blank, Box, Placement
from millprep.model.cut import Clearing, Cuts, Lap, Profile
from millprep.model.cutter import with_shapes
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import MilledBlank
from millprep.passes import joins, regions, registration, shift, tolerances, turn
from millprep.passes.clamping import Clamping, denied
from millprep.passes.joins import extent_of
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.shift import ShiftPlan
from millprep.passes.tolerances import grooves
from millprep.toolpaths import checks, drilling, profile
from millprep.toolpaths.clearing_of_blank import Facts, cleared
from millprep.toolpaths.isolation import Island, isolate
from millprep.toolpaths.midline import isolate_along_medial_axis


def cuts(
    job: JobPlan,
    blank: Blank,
    placements: tuple[Placement, ...],
    facts: Facts = MappingProxyType({}),
) -> tuple[Cuts, tuple[Finding, ...]]:
    """Laps, clearings, holes and profiles of all boards on the blank, and what was noticed.

    `facts` are the nets that the job names, by the name of their board.
    """
    made, before, after = _cuts(with_shapes(job), blank, placements, facts)
    # a note says how long laps take, at their feed
    notes = checks.lap_notes(made.laps, job.isolation, blank) if made.laps else ()
    return made, (*before, *notes, *after)


@cached
def _cuts(
    job: JobPlan, blank: Blank, placements: tuple[Placement, ...], facts: Facts
) -> tuple[Cuts, tuple[Finding, ...], tuple[Finding, ...]]:
    """The cuts, and what was noticed of isolation and of all else."""
    findings = [*checks.depth_notes(job.isolation, blank)]
    for placement in placements:
        findings += checks.check_board(placement)
    islands = [
        Island(p.index, piece.id, p.pose.shape(piece.shape))
        for p in placements
        for piece in p.board.pieces
    ]
    outlines = {p.index: p.pose.shape(p.board.outline) for p in placements}
    laps: tuple[Lap, ...] = ()
    clearings: tuple[Clearing, ...] = ()
    others: list[Finding] = []
    if all(finding.severity != "stop" for finding in findings):
        if job.isolation.course == "middle":
            laps, tight = isolate_along_medial_axis(islands, outlines, job.isolation, blank.copper)
        else:
            edge = shapely.union_all(list(outlines.values()))
            laps, tight = isolate(islands, edge, job.isolation, blank.copper)
        findings += checks.tight_gap_findings(tight, job.isolation, blank.copper, placements)
        clearings, clearing_findings = cleared(job, blank, placements, facts)
        others += clearing_findings
    holes, hole_findings = drilling.drill(placements, blank, job.drilling, job.profile.cutter)
    profiles, profile_findings = profile.profile(placements, blank, job.profile)
    others += [*hole_findings, *profile_findings]
    return Cuts(laps, clearings, holes, profiles), tuple(findings), tuple(others)


def extent(made: Cuts) -> Box:
    """Extent of every cutter's axis, blank frame."""
    along: tuple[Lap | Clearing | Profile, ...] = (*made.laps, *made.clearings, *made.profiles)
    paths = [cut.path for cut in along]
    x0, y0, x1, y1 = extent_of(paths)
    bounds = [h.spine.bounds for h in made.holes]
    return Box(
        min([x0, *(b[0] for b in bounds)]),
        min([y0, *(b[1] for b in bounds)]),
        max([x1, *(b[2] for b in bounds)]),
        max([y1, *(b[3] for b in bounds)]),
    )


def joined_by(job: JobPlan, blank: Blank) -> JobPlan:
    """The job with the overrun that its grooves and its registration need on a blank."""
    plan = job.registration
    widest = max(groove.width for groove in grooves(job, blank).values())
    overrun = tolerances.overrun(plan.overrun, widest, plan.sigma)
    return replace(job, registration=replace(plan, overrun=overrun))


def least_shared(job: JobPlan, blank: Blank) -> float:
    """What two windows share at least, mm, so that registration holes and joins fit."""
    return max(
        registration.least_overlap(job.registration),
        joins.least_overlap(job.registration.overrun, job.isolation.gap),
        regions.least_overlap(job.profile.cutter.width(blank.thickness) / 2),
    )


def windows(
    job: JobPlan,
    blank: Blank,
    need: Box,
    outlines: Mapping[int, BaseGeometry] = MappingProxyType({}),
) -> ShiftPlan:
    """Where the blank lies in each pass.

    Args:
        job: with the overrun of the blank's joins.
        blank: the laminate.
        need: extent of the cutters' axes, blank frame.
        outlines: of the boards by any number, blank frame.

    Raises:
        Refusal: when no plan of passes holds what is needed.
    """
    width = job.profile.cutter.width(blank.thickness)
    shared = least_shared(job, blank)
    if job.setup.turn:
        return turn.plan(need, job.machine, job.setup.origin, shared, blank.size, blank.number)
    beyond = registration.reach_beyond(job.registration, width)

    def boards_across(plan: ShiftPlan) -> int:
        made = Regions.of(plan, profile_overrun(width / 2))
        return len(made.across(outlines, width / 2, blank.size))

    return shift.plan(
        need, job.machine, job.setup.origin, shared, blank.number, beyond, boards_across
    )


@dataclass(frozen=True, slots=True)
class PassFrame:
    """Where the passes lie, and what their holes, marks and touches keep off.

    Attributes:
        need: extent of the cutters' axes, blank frame.
        shift: the windows.
        clamping, denied: what the clamps take, for every pass.
        taken: what profiles cut, and what an offcut lacks.
        sole_pass: placement to the pass that cuts all of it, as far as one does.
    """

    need: Box
    shift: ShiftPlan
    clamping: Clamping
    denied: tuple[BaseGeometry, ...]
    taken: BaseGeometry
    sole_pass: Mapping[int, int]


def frame_of(job: JobPlan, blank: MilledBlank) -> PassFrame:
    """The windows of the passes.

    Raises:
        Refusal: when no plan of passes holds the boards.
    """
    laminate = blank.laminate
    width = job.profile.cutter.width(laminate.thickness)
    need = extent(blank.cuts)
    outlines = {p.index: p.pose.shape(p.board.outline) for p in blank.placements}
    shift = windows(job, laminate, need, outlines)
    clamping = Clamping(job.setup.clamps, job.machine.collet / 2 + job.machine.clamp_clearance)
    taken = shapely.union_all([outline.buffer(width, quad_segs=4) for outline in outlines.values()])
    if laminate.outline is not None:
        # nothing is touched, drilled or engraved where an offcut has no laminate
        whole = shapely.box(0.0, 0.0, *laminate.size)
        taken = taken.union(whole.difference(laminate.outline))
    return PassFrame(
        need,
        shift,
        clamping,
        tuple(denied(clamping, len(shift.poses))),
        taken,
        Regions.of(shift, profile_overrun(width / 2)).whole(outlines, width / 2),
    )
