"""What a job requires of its programs, as the proof checks it: gaps, and where to cut."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.model.blank import Blank
from millprep.model.job.job import JobPlan
from millprep.model.layout import Placement
from millprep.verify.edges import EDGE
from millprep.verify.pads import pad_areas, united
from millprep.verify.stray_cuts import AllowedCuts, lap_reach


def required_opening(job: JobPlan, blank: Blank, gap: float | None = None) -> float | None:
    """How far from a drawn edge all copper is gone at the foot; None in the middle of gaps.

    `gap` is that of all copper, unless given. Of several cutters the one that takes least.
    """
    isolation = job.isolation
    if isolation.course == "middle":
        return None
    return min(
        lap_reach(use.surface, use.foot(blank.copper), gap or isolation.gap)
        for use in isolation.uses
    )


def foot_extension(job: JobPlan, blank: Blank) -> float:
    """How far the copper's foot reaches beyond its drawn edge, of several cutters the least."""
    isolation = job.isolation
    return min(use.skirt(blank.copper) for use in isolation.uses)


def allowed_cuts(job: JobPlan, blank: Blank, placements: Sequence[Placement]) -> AllowedCuts:
    """Where a job wants cuts on a blank.

    Which floating copper must be cleared for the voltages depends on nets: there, as with all of it
    to be cleared, clearing may go anywhere on a board. Of laps in the middle of gaps nothing is
    required.
    """
    isolation = job.isolation
    reaches: dict[str, float] = {}
    for use in isolation.uses:
        reach = lap_reach(use.surface, use.foot(blank.copper), isolation.gap)
        reaches[use.cutter.name] = max(reach, reaches.get(use.cutter.name, 0.0))
    plans = {board.name: board for board in job.boards}
    whole = isolation.by_voltage or (job.clearing is not None and job.clearing.copper == "all")
    wide = required_opening(job, blank, isolation.pad_gap) if isolation.pad_gap else None
    areas: dict[int, shapely.Geometry] = {}
    for p in placements:
        some: list[shapely.Geometry] = []
        some += [shapely.Polygon(area.outline) for area in plans[p.board.name].clear]
        if wide is not None:
            some.append(united(pad_areas(p.board), wide + EDGE))
        if whole or some:
            area = p.board.outline if whole else shapely.union_all(some)
            areas[p.index] = p.pose.shape(area)
    middle = isolation.course == "middle"
    return AllowedCuts(
        job.profile.cutter.name,
        {} if middle else reaches,
        frozenset(cutter.name for cutter in (job.clearing or isolation).cutters)
        if areas
        else frozenset(),
        areas,
        frozenset(reaches) if middle else frozenset(),
    )
