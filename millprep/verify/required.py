"""What a job asks of its programs, as the proof holds it against them: gaps, and where to cut."""

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

    `gap` is that of all copper, unless told. Of several cutters the one that takes least.
    """
    told = job.isolation
    if told.course == "middle":
        return None
    return min(
        lap_reach(cutter, depth=told.depth, copper=blank.copper, gap=gap or told.gap)
        for cutter in told.cutters
    )


def foot_extension(job: JobPlan, blank: Blank) -> float:
    """How far the copper's foot reaches beyond its drawn edge, of several cutters the least."""
    told = job.isolation
    slopes = (c.width(told.depth) - c.width(told.depth, blank.copper) for c in told.cutters)
    return min(slopes) / 2


def allowed_cuts(job: JobPlan, blank: Blank, placements: Sequence[Placement]) -> AllowedCuts:
    """Where a job wants cuts on a blank.

    Which floating copper voltages ask to be cleared depends on nets: there, as with all of it to
    be cleared, clearing may go anywhere on a board. Of laps in the middle of gaps nothing is asked.
    """
    told = job.isolation
    reaches = {
        cutter.name: lap_reach(cutter, depth=told.depth, copper=blank.copper, gap=told.gap)
        for cutter in told.cutters
    }
    plans = {board.name: board for board in job.boards}
    whole = told.by_voltage or (job.clearing is not None and job.clearing.copper == "all")
    wide = required_opening(job, blank, told.pad_gap) if told.pad_gap else None
    areas: dict[int, shapely.Geometry] = {}
    for p in placements:
        some: list[shapely.Geometry] = []
        some += [shapely.Polygon(area.outline) for area in plans[p.board.name].clear]
        if wide is not None:
            some.append(united(pad_areas(p.board), wide + EDGE))
        if whole or some:
            area = p.board.outline if whole else shapely.union_all(some)
            areas[p.index] = p.pose.shape(area)
    middle = told.course == "middle"
    return AllowedCuts(
        job.profile.cutter.name,
        {} if middle else reaches,
        frozenset(cutter.name for cutter in (job.clearing or told).cutters)
        if areas
        else frozenset(),
        areas,
        frozenset(reaches) if middle else frozenset(),
    )
