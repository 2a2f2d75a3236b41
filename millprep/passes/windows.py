"""The windows of a blank's passes, and how far two passes overrun where they meet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from shapely.geometry.base import BaseGeometry

from millprep.model.blank import Blank, Box
from millprep.model.plan import JobPlan
from millprep.passes import joins, regions, registration, shift, tolerances, turn
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.shift import ShiftPlan
from millprep.passes.tolerances import grooves


def joined_by(job: JobPlan, blank: Blank) -> JobPlan:
    """The job with the overrun that its grooves and its registration need on a blank."""
    told = job.registration
    widest = max(groove.width for groove in grooves(job, blank).values())
    overrun = tolerances.overrun(told.overrun, widest, told.sigma)
    return replace(job, registration=replace(told, overrun=overrun))


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
    shared = max(
        registration.least_overlap(job.registration),
        joins.least_overlap(job.registration.overrun, job.isolation.gap),
        regions.least_overlap(width / 2),
    )
    if job.turn:
        return turn.plan(need, job.machine, job.origin, shared, blank.size, blank.number)
    beyond = registration.reach_beyond(job.registration, width)

    def parted(plan: ShiftPlan) -> int:
        made = Regions.of(plan, profile_overrun(width / 2))
        return len(made.across(outlines, width / 2, blank.size))

    return shift.plan(need, job.machine, job.origin, shared, blank.number, beyond, parted)
