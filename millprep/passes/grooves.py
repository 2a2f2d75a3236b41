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
from millprep.passes.spurs import IsolationGroove, TickRoom
from millprep.passes.survey import PieceKey
from millprep.toolpaths.isolation import LapSpacing


def grooves(job: JobPlan, blank: Blank) -> dict[str, IsolationGroove]:
    """What a band of all its laps cuts, by isolating cutter."""
    made = {
        c.name: LapSpacing.for_gap(c, job.isolation, blank.copper) for c in job.isolation.cutters
    }
    return {
        name: IsolationGroove(laps.surface, laps.foot, laps.pitch, len(laps.distances))
        for name, laps in made.items()
    }


def joined(
    job: JobPlan, blank: Blank, made: Cuts, plan: joins.JoinPlan
) -> dict[PieceKey, tuple[str, IsolationGroove]]:
    """For every joined band the cutter that decides what its joins stand, and its laps."""
    known = grooves(job, blank)
    counts: dict[PieceKey, dict[str, int]] = {}
    for lap in made.laps:
        key = (lap.placement, lap.piece)
        if key in plan.split_laps:
            mine = counts.setdefault(key, {})
            mine[lap.cutter] = max(mine.get(lap.cutter, 0), lap.number + 1)
    found = {}
    for key, mine in counts.items():
        # the finest cutter decides, should more than one have worked on the piece
        name = min(mine, key=lambda n: known[n].surface)
        found[key] = (name, replace(known[name], laps=mine[name]))
    return found


def room(plan: ShiftPlan, placements: tuple[Placement, ...], gap: float) -> TickRoom:
    """Where ticks may go."""
    return TickRoom(
        {
            (p.index, piece.id): p.pose.shape(piece.shape)
            for p in placements
            for piece in p.board.pieces
        },
        shapely.union_all([p.pose.shape(p.board.outline) for p in placements]),
        [plan.polygon(k) for k in range(len(plan.poses))],
        gap,
    )
