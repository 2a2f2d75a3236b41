"""The misalignment that a join tolerates before its groove shorts or becomes narrower than the gap.

Also what the laps around a piece cut together, where ticks may go, each join with its figures, and
the holes that another pass drills than the one that cuts the copper around them: they are off their
pads by the misalignment of the two, besides the wander of the drill.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.blank import Blank, Placement
from millprep.model.cut import Cut, Cuts, DrilledInOtherPass, HoleCut, Lap
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Join
from millprep.passes import joins, spurs
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.error_budget import ErrorBudget
from millprep.passes.neighbours import Expected, PieceKey
from millprep.passes.shift import ShiftPlan
from millprep.passes.spurs import IsolationGroove, TickRoom
from millprep.toolpaths.isolation import LapSpacing

ALONG = 3.0
"""Standard deviations of a hole that two passes may separate along a path."""


def tolerance_electrical(foot: float, laps: int, pitch: float, tick: float = 0.0) -> float:
    """The misalignment across a path at which a groove of several laps first shorts, mm.

    All laps are joined at one place, so the whole width at the foot counts: W = w + (k - 1)·pitch.
    Ticks of length m at the ends of both sides, outward, make it W + m.
    """
    return foot + (laps - 1) * pitch + tick


def tolerance_gap(
    foot: float, laps: int, pitch: float, gap: float, overrun: float, tick: float = 0.0
) -> float:
    """The misalignment across a path at which less than the required gap is left at the join, mm.

    With the groove's width W, overrun e on both sides (ℓ = 2e) and q = √(W·|d| - d²), the gap left
    is min(W, hypot(ℓ + 2q, W - |d|)) for ℓ ≥ -q; found by bisection, 0 where the groove has
    nothing to spare. Beyond W only a tick separates the copper on either side: as wide as
    one lap, w, and t before its round end slides past only 2·√(w·t - t²).
    """
    width = tolerance_electrical(foot, laps, pitch)
    if gap_left(width, 0.0, overrun) < gap - 1e-9:
        return 0.0
    if tick and foot >= gap - 1e-9 and 2 * overrun >= width:
        return width + tick - (foot - math.sqrt(max(foot**2 - gap**2, 0.0))) / 2
    low, high = 0.0, width
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if gap_left(width, middle, overrun) >= gap - 1e-9 else (low, middle)
        )
    return low


def overrun(least: float, width: float, sigma: float) -> float:
    """How far each side is cut past a join, so that the full gap survives, mm.

    The gap of a groove W wide stays whole while 2e is W and the misalignment along the path, which
    is taken as `ALONG` standard deviations of a hole's error: passes are rarely found worse.

    Args:
        least: set by the job; never less.
        width: of the widest groove at the foot.
        sigma: error of one hole per axis.
    """
    return max(least, (width + ALONG * sigma) / 2)


def gap_left(width: float, across: float, overrun: float, along: float = 0.0) -> float:
    """Isolation left where one groove is cut from both sides with a misalignment, mm; 0 when open.

    Args:
        width: of the groove.
        across: the misalignment across the path.
        overrun: of each side past the join.
        along: the misalignment along the path, positive where the sides separate.
    """
    lap = 2 * overrun - along
    across = abs(across)
    if math.hypot(max(0.0, -lap), across) >= width:
        return 0.0
    q = math.sqrt(max(width * across - across**2, 0.0))
    if lap >= -q:
        return min(width, math.hypot(lap + 2 * q, width - across))
    return math.sqrt(max(width**2 - lap**2 - across**2, 0.0))


Use = tuple[str, float]
"""The name of a cutter and its depth, mm."""


def grooves(job: JobPlan, blank: Blank) -> dict[Use, IsolationGroove]:
    """What all laps around a piece cut, by isolating cutter and depth."""
    made = {
        (use.cutter.name, use.depth): LapSpacing.for_gap(use, job.isolation, blank.copper)
        for use in job.isolation.uses
    }
    return {
        use: IsolationGroove(laps.surface, laps.foot, laps.pitch, len(laps.distances))
        for use, laps in made.items()
    }


def joined_grooves(
    job: JobPlan, blank: Blank, made: Cuts, plan: joins.JoinPlan
) -> dict[PieceKey, tuple[str, IsolationGroove]]:
    """For every joined piece the cutter that decides the tolerance of its joins, and its groove."""
    known = grooves(job, blank)
    counts: dict[PieceKey, dict[Use, int]] = {}
    for lap in made.laps:
        key = (lap.placement, lap.piece)
        if key in plan.split_laps:
            mine = counts.setdefault(key, {})
            use = (lap.cutter, lap.depth)
            mine[use] = max(mine.get(use, 0), lap.number + 1)
    grooves_ = {}
    for key, mine in counts.items():
        # the narrowest groove decides, should more than one have been cut around the piece
        use = min(mine, key=lambda n: known[n].surface)
        grooves_[key] = (use[0], replace(known[use], laps=mine[use]))
    return grooves_


def tick_room(plan: ShiftPlan, placements: tuple[Placement, ...], gap: float) -> TickRoom:
    """Where ticks may go."""
    return TickRoom(
        {(p.index, name): shape for p in placements for name, shape in p.pieces.items()},
        shapely.union_all([p.pose.shape(p.board.outline) for p in placements]),
        [plan.polygon(k) for k in range(len(plan.poses))],
        gap,
    )


def with_misalignment(joins: Sequence[Join], errors: ErrorBudget) -> tuple[Join, ...]:
    """The joins with the misalignment to expect at each."""
    result = []
    for join in joins:
        a, b = join.passes
        rms, most = errors.misalignment(a - 1, b - 1, join.at, join.across)
        result.append(replace(join, predicted=most, predicted_rms=rms))
    return tuple(result)


def with_figures(
    shared: CutsByPass,
    errors: ErrorBudget,
    grooves: Mapping[PieceKey, tuple[str, IsolationGroove]],
    room: TickRoom,
) -> CutsByPass:
    """Split laps, with ticks where they are due, and their joins with all figures.

    Args:
        shared: laps and joins.
        errors: the misalignment of any two passes.
        grooves: for every joined piece the cutter that decides and what its laps cut.
        room: where ticks may go, and the required gap.
    """
    joins, by_pass = spurs.add(
        with_misalignment(shared.joins, errors), shared.by_pass, grooves, room
    )
    result = []
    for join in joins:
        assert join.piece is not None
        _, g = grooves[join.placement, join.piece]
        result.append(
            replace(
                join,
                tolerance_electrical=tolerance_electrical(g.foot, g.laps, g.pitch, join.tick),
                tolerance_gap=tolerance_gap(
                    g.foot, g.laps, g.pitch, room.gap, join.overrun, join.tick
                ),
            )
        )
    return CutsByPass(by_pass, tuple(result))


AROUND = 0.1
"""A lap counts as going around a hole when it is no more than this farther from it than the
nearest one, mm: what is farther off has so much more copper to lose."""
_FLAT = 0.002


def drilled_in_other_pass(
    laps: Sequence[Sequence[Cut]], drilled: Sequence[Sequence[HoleCut]], expected: Expected
) -> tuple[DrilledInOtherPass, ...]:
    """The holes whose copper another pass cuts, each with the pass that misses it most.

    Args:
        laps: by pass.
        drilled: holes by pass.
        expected: the misalignment of two passes, from 0, at a place in a direction.
    """
    first: dict[PieceKey, list[tuple[int, Lap]]] = {}
    for k, mine in enumerate(laps):
        for lap in mine:
            if isinstance(lap, Lap) and lap.number == 0:
                first.setdefault((lap.placement, lap.piece), []).append((k, lap))
    lines: dict[PieceKey, NDArray[np.object_]] = {}
    drilled_: list[DrilledInOtherPass] = []
    for k, holes in enumerate(drilled):
        for hole in holes:
            if hole.placement is None or hole.piece is None:
                continue
            key = (hole.placement, hole.piece)
            around = first.get(key, [])
            passes = [other for other, _ in around]
            if any(other != k for other in passes):
                if key not in lines:
                    flat = [lap.path.line(_FLAT) for _, lap in around]
                    lines[key] = np.array(flat, dtype=object)
                hole_ = _drilled_in_other_pass(k, hole, key[0], passes, lines[key], expected)
                drilled_ += [] if hole_ is None else [hole_]
    return tuple(drilled_)


def _drilled_in_other_pass(
    k: int,
    hole: HoleCut,
    placement: int,
    passes: Sequence[int],
    lines: NDArray[np.object_],
    expected: Expected,
) -> DrilledInOtherPass | None:
    """How far the copper around a hole may be off; None when its own pass cuts it."""
    spine = hole.spine
    far = shapely.distance(lines, spine).tolist()
    nearest = min(far)
    worst: DrilledInOtherPass | None = None
    for other, line, away in zip(passes, lines, far, strict=True):
        if other == k or away > nearest + AROUND:
            continue
        way = shapely.get_coordinates(shapely.shortest_line(spine, line))
        (x0, y0), (x1, y1) = way.tolist()
        across = ((x1 - x0) / away, (y1 - y0) / away) if away > 1e-9 else (1.0, 0.0)
        most = expected(k, other, (x1, y1), across)
        if worst is None or most > worst.most:
            worst = DrilledInOtherPass(placement, hole.hole, (k + 1, other + 1), most)
    return worst
