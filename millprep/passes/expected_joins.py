"""The places at which the mismatch of two passes counts: joins, or where joins will be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box
from millprep.model.milling_pass import Join
from millprep.passes.shift import ShiftPlan

MOST = 40
"""Places looked at between two passes; more say nothing new."""


@dataclass(frozen=True, slots=True, eq=False)
class JoinPlaces:
    """Where two passes meet.

    Attributes:
        passes: from 0, the earlier first.
        at: (n, 2) places, blank frame.
        across: (n, 2) unit vectors in which the mismatch counts.
    """

    passes: tuple[int, int]
    at: FloatArray
    across: FloatArray


def expected(shift: ShiftPlan, need: Box) -> tuple[JoinPlaces, ...]:
    """Where joins are to be expected: along the middle of what two windows share."""
    found = []
    for a, b in shift.pairs:
        shared = shift.shared(a, b)
        assert shared is not None
        x0, x1 = max(shared.x0, need.x0), min(shared.x1, need.x1)
        y0, y1 = max(shared.y0, need.y0), min(shared.y1, need.y1)
        if not (x0 < x1 and y0 < y1):
            continue
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        step = shift.step(a, b)
        rows = []
        # paths run along the step, so what counts is the mismatch across it
        if step[0]:
            rows += [((x, v), (0.0, 1.0)) for v in (y0, y, y1)]
        if step[1]:
            rows += [((u, y), (1.0, 0.0)) for u in (x0, x, x1)]
        found.append(
            JoinPlaces((a, b), np.array([at for at, _ in rows]), np.array([u for _, u in rows]))
        )
    return tuple(found)


def of_joins(joins: Iterable[Join], otherwise: Iterable[JoinPlaces]) -> tuple[JoinPlaces, ...]:
    """The seams that joins in copper make; what was expected between passes that have none."""
    by_pair: dict[tuple[int, int], list[Join]] = {}
    for join in joins:
        if join.piece is not None:
            by_pair.setdefault((join.passes[0] - 1, join.passes[1] - 1), []).append(join)
    found = [places for places in otherwise if places.passes not in by_pair]
    for pair, mine in sorted(by_pair.items()):
        # evenly taken from all of them, so that the ends stay in
        kept = np.unique(np.linspace(0, len(mine) - 1, min(MOST, len(mine))).round().astype(int))
        mine = sorted(mine, key=lambda join: join.at)
        found.append(
            JoinPlaces(
                pair,
                np.array([mine[n].at for n in kept.tolist()]),
                np.array([mine[n].across for n in kept.tolist()]),
            )
        )
    return tuple(found)
