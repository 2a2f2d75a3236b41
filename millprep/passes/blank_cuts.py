"""What is to be cut on a blank, unsplit."""

from __future__ import annotations

from types import MappingProxyType

import shapely

from millprep.cache import cached
from millprep.model.blank import Blank, Box, Placement
from millprep.model.cut import Clearing, Cuts, Lap, Profile
from millprep.model.cutter import with_shapes
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.passes.joins import extent_of
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
    islands = [Island(p.index, name, shape) for p in placements for name, shape in p.pieces.items()]
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
