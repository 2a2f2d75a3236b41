"""What is required of programs besides motion and copper: depths, edges, marks, none missing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from millprep.geometry.path import Point
from millprep.model.blank import Blank
from millprep.model.finding import NOT_RUN, Finding, limited
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.cut_free import check_cut_free
from millprep.verify.depths import Depths
from millprep.verify.direction import check_directions
from millprep.verify.edges import EDGE
from millprep.verify.marks import check_marks
from millprep.verify.pass_programs import check_passes
from millprep.verify.read_back import ReadBack
from millprep.verify.stray_cuts import lap_reach

SAME_TAB = 0.4
"""The middle of a tab is known to this, mm: edges are looked at every 0.2 mm."""


def check_programs(job: JobPlan, read: ReadBack) -> tuple[Finding, ...]:
    """What is wrong with programs besides motion and copper: depths, edges, marks, dry runs."""
    findings: list[Finding] = []
    for run in read.blanks:
        blank, placements = run.blank.laminate, run.blank.placements
        depths = Depths(job, blank, placements, run.blank.passes)
        for each in run.runs:
            findings += depths.check(each)
        wrong, tabs = check_cut_free(job, blank, placements, run.blank.joins, run.cutting)
        findings += [*wrong, *_tabs_elsewhere(run.blank, tabs)]
        findings += check_directions(job, run.blank, run.runs)
        findings += check_passes(job, run)
        findings += check_marks(job, run, _beyond_boards(job, blank))
    return limited(findings)


def _beyond_boards(job: JobPlan, blank: Blank) -> float:
    """How far outside a board's edge its own cuts go at most: laps, and clearing."""
    isolation, clearing = job.isolation, job.clearing
    gap = max(isolation.gap, isolation.pad_gap or 0.0)
    laps = [lap_reach(use.surface, use.foot(blank.copper), gap) for use in isolation.uses]
    clears = () if clearing is None else clearing.cutters
    return max([*laps, *(cutter.width(clearing.depth) for cutter in clears if clearing)]) + EDGE


def _tabs_elsewhere(blank: MilledBlank, left: Sequence[Point]) -> Iterator[Finding]:
    """Tabs that the programs leave elsewhere than the report says.

    That there are enough of them is proved of those that are left. Two boards may share one.
    """
    known = [copy.tabs for copy in blank.copies]
    if None in known:
        # an older report
        return
    tabs = [at for places in known for at in places or ()]
    for mine, others, words in (
        (left, tabs, "The programs leave a tab where report.json has none"),
        (tabs, left, "report.json has a tab where the programs leave none"),
    ):
        for at in mine:
            if min((math.dist(at, other) for other in others), default=math.inf) > SAME_TAB:
                yield Finding(
                    code="tab-place",
                    severity="stop",
                    message=f"{words}. {NOT_RUN}",
                    frame="blank",
                    at=at,
                    blank=blank.number,
                )
