"""Holes that another pass drills than the one that cuts the copper around them.

Such a hole stands off its land by what the two passes miss each other, beside what its drill
wanders.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.model.cut import Cut, HoleCut, Lap
from millprep.model.hole_made import DrilledInOtherPass
from millprep.passes.neighbours import Expected

BESIDE = 0.1
"""A lap counts as going around a hole when it is no more than this farther from it than the
nearest one, mm: what is farther off has so much more copper to lose."""
FLAT = 0.002


def drilled_in_other_pass(
    laps: Sequence[Sequence[Cut]], drilled: Sequence[Sequence[HoleCut]], expected: Expected
) -> tuple[DrilledInOtherPass, ...]:
    """The holes whose copper another pass cuts, each with the pass that misses it most.

    Args:
        laps: by pass.
        drilled: holes by pass.
        expected: the mismatch of two passes, from 0, at a place in a direction.
    """
    first: dict[tuple[int, str], list[tuple[int, Lap]]] = {}
    for k, mine in enumerate(laps):
        for lap in mine:
            if isinstance(lap, Lap) and lap.number == 0:
                first.setdefault((lap.placement, lap.piece), []).append((k, lap))
    found: list[DrilledInOtherPass] = []
    for k, holes in enumerate(drilled):
        for hole in holes:
            if hole.placement is None or hole.piece is None:
                continue
            around = first.get((hole.placement, hole.piece), [])
            if any(other != k for other, _ in around):
                one = _drilled_in_other_pass(k, hole, hole.placement, around, expected)
                found += [] if one is None else [one]
    return tuple(found)


def _drilled_in_other_pass(
    k: int,
    hole: HoleCut,
    placement: int,
    around: Sequence[tuple[int, Lap]],
    expected: Expected,
) -> DrilledInOtherPass | None:
    """What the copper around a hole may lie off; None when its own pass cuts that."""
    lines = [lap.path.line(FLAT) for _, lap in around]
    far = [float(shapely.distance(line, hole.spine)) for line in lines]
    nearest = min(far)
    worst: DrilledInOtherPass | None = None
    for (other, _), line, away in zip(around, lines, far, strict=True):
        if other == k or away > nearest + BESIDE:
            continue
        way = shapely.get_coordinates(shapely.shortest_line(hole.spine, line))
        (x0, y0), (x1, y1) = way.tolist()
        across = ((x1 - x0) / away, (y1 - y0) / away) if away > 1e-9 else (1.0, 0.0)
        most = expected(k, other, (x1, y1), across)
        if worst is None or most > worst.most:
            worst = DrilledInOtherPass(placement, hole.hole, (k + 1, other + 1), most)
    return worst
