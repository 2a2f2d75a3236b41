"""What bands of laps cut, and where their joins may be strengthened."""

from __future__ import annotations

from dataclasses import replace

import shapely

from millprep.model.blank import Blank
from millprep.model.layout import Placement
from millprep.model.plan import JobPlan
from millprep.passes import joins
from millprep.passes.blank_cuts import Cuts
from millprep.passes.shift import ShiftPlan
from millprep.passes.spurs import Groove, Room
from millprep.passes.survey import Band
from millprep.toolpaths.isolation import Laps


def grooves(job: JobPlan, blank: Blank) -> dict[str, Groove]:
    """What a band of all its laps cuts, by isolating cutter."""
    made = {c.name: Laps.for_gap(c, job.isolation, blank.copper) for c in job.isolation.cutters}
    return {
        name: Groove(laps.surface, laps.foot, laps.pitch, len(laps.distances))
        for name, laps in made.items()
    }


def joined(
    job: JobPlan, blank: Blank, made: Cuts, plan: joins.JoinPlan
) -> dict[Band, tuple[str, Groove]]:
    """For every joined band the cutter that decides what its joins stand, and its laps."""
    known = grooves(job, blank)
    laps: dict[Band, dict[str, int]] = {}
    for ring in made.rings:
        band = (ring.placement, ring.piece)
        if band in plan.courses:
            mine = laps.setdefault(band, {})
            mine[ring.cutter] = max(mine.get(ring.cutter, 0), ring.number + 1)
    found = {}
    for band, mine in laps.items():
        # the finest cutter decides, should more than one have worked on the piece
        name = min(mine, key=lambda n: known[n].surface)
        found[band] = (name, replace(known[name], laps=mine[name]))
    return found


def room(plan: ShiftPlan, placements: tuple[Placement, ...], gap: float) -> Room:
    """Where ticks may go."""
    return Room(
        {
            (p.index, piece.id): p.pose.shape(piece.shape)
            for p in placements
            for piece in p.board.pieces
        },
        shapely.union_all([p.pose.shape(p.board.outline) for p in placements]),
        [plan.polygon(k) for k in range(len(plan.poses))],
        gap,
    )
