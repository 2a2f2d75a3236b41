"""The windows of a blank's passes, what is taken in them, and the overrun of joins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.blank import Blank, Box
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import MilledBlank
from millprep.passes import joins, regions, registration, shift, tolerances, turn
from millprep.passes.blank_cuts import extent
from millprep.passes.clamping import Clamping, denied
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.shift import ShiftPlan
from millprep.passes.tolerances import grooves


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
