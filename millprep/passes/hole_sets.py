"""Sets of registration holes and their score: the misalignment they leave where passes meet."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.passes.error_budget import HoleErrors, arms
from millprep.passes.hole_room import HoleRoom, Spots
from millprep.passes.shift import ShiftPlan

MOST_PLACES = 40
"""Places looked at between two passes; more say nothing new."""


@dataclass(frozen=True, slots=True, eq=False)
class JoinPlaces:
    """Where two passes meet.

    Attributes:
        passes: from 0, the lower number first.
        at: (n, 2) places, blank frame.
        across: (n, 2) unit vectors in which the misalignment counts.
    """

    passes: tuple[int, int]
    at: FloatArray
    across: FloatArray


def expected_joins(shift: ShiftPlan, need: Box) -> tuple[JoinPlaces, ...]:
    """Where joins are to be expected: along the middle of what two windows share."""
    places = []
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
        # paths run along the step, so what counts is the misalignment across it
        if step[0]:
            rows += [((x, v), (0.0, 1.0)) for v in (y0, y, y1)]
        if step[1]:
            rows += [((u, y), (1.0, 0.0)) for u in (x0, x, x1)]
        places.append(
            JoinPlaces((a, b), np.array([at for at, _ in rows]), np.array([u for _, u in rows]))
        )
    return tuple(places)


def places_of_joins(
    joins: Iterable[Join], otherwise: Iterable[JoinPlaces]
) -> tuple[JoinPlaces, ...]:
    """The places of joins in copper; the expected ones between passes that have none."""
    by_pair: dict[tuple[int, int], list[Join]] = {}
    for join in joins:
        by_pair.setdefault((join.passes[0] - 1, join.passes[1] - 1), []).append(join)
    result = [places for places in otherwise if places.passes not in by_pair]
    for pair, mine in sorted(by_pair.items()):
        # evenly taken from all of them, so that the ends stay in
        kept = np.unique(
            np.linspace(0, len(mine) - 1, min(MOST_PLACES, len(mine))).round().astype(int)
        )
        mine = sorted(mine, key=lambda join: join.at)
        result.append(
            JoinPlaces(
                pair,
                np.array([mine[n].at for n in kept.tolist()]),
                np.array([mine[n].across for n in kept.tolist()]),
            )
        )
    return tuple(result)


FAR = 0.25
"""Weight of the error at the far end against that at the worst join."""


@dataclass(frozen=True, slots=True, eq=False)
class Score:
    """The score of sets of holes: the misalignment they leave, per unit σ.

    Attributes:
        arms: (n, 2, 3) of every spot.
        inherited: (n, 2, m) what the pass that drills at a spot is off there.
        at: (n, 2) places of the spots.
        slotted: whether the second of a pair leaves the blank free along the line through both.
        rows: per pass before its errors (3, m) and the (j, 3) rows of the places that count.
        far: the same for the far corners, in both directions.
    """

    arms: FloatArray
    inherited: FloatArray
    at: FloatArray
    slotted: bool
    rows: tuple[tuple[FloatArray, FloatArray], ...]
    far: tuple[FloatArray, FloatArray]

    @classmethod
    def of(
        cls,
        room: HoleRoom,
        members: Sequence[int],
        spots: Spots,
        holes: Sequence[RegistrationHole],
        join_places: Sequence[JoinPlaces],
        need: Box,
    ) -> Score:
        """The score of sets of these spots for some passes, given the holes chosen so far."""
        shift, lead = room.shift, members[0]
        hole_errors = HoleErrors.of(holes, lead, keys=room.plan.method == "measure")
        here = arms(spots.at, hole_errors.centre)
        errors = np.array([hole_errors.errors[q] for q in spots.source.tolist()])
        rows: dict[int, list[FloatArray]] = {}
        for places in join_places:
            q, k = places.passes
            if k in members:
                at = np.array([room.place(k, lead, at) for at in places.at])
                source = room.source(k, lead, q)
                rows.setdefault(source, []).append(
                    np.einsum("ji,jik->jk", places.across, arms(at, hole_errors.centre))
                )
        window = shift.windows[lead]
        corners = [
            (min(max(x, window.x0), window.x1), min(max(y, window.y0), window.y1))
            for x in (need.x0, need.x1)
            for y in (need.y0, need.y1)
        ]
        last = shift.sources(lead)[-1]
        far = arms(corners, hole_errors.centre).reshape(-1, 3)
        return cls(
            here,
            here @ errors,
            spots.at,
            room.plan.slotted,
            tuple((hole_errors.errors[q], np.vstack(some)) for q, some in sorted(rows.items())),
            (hole_errors.errors[last], far),
        )

    def __call__(self, sets: FloatArray) -> FloatArray:
        """(p,) scores of (p, n) sets of spots; less is better."""
        sets = sets.astype(int)
        p, n = sets.shape
        fixed = self.arms[sets]
        if self.slotted:
            along = self.at[sets[:, 1]] - self.at[sets[:, 0]]
            along /= np.linalg.norm(along, axis=1, keepdims=True)
            second = fixed[:, 1]
            fixed[:, 1] = second - along[:, :, None] * (along[:, None] @ second)
        fit = np.linalg.pinv(fixed.reshape(p, 2 * n, 3))
        inherited = fit @ self.inherited[sets].reshape(p, 2 * n, -1)

        def spread(error: FloatArray, rows: FloatArray) -> FloatArray:
            own, passed_on = rows @ fit, rows @ (inherited - error)
            spreads: FloatArray = np.sqrt((own**2).sum(axis=2) + (passed_on**2).sum(axis=2))
            return spreads

        worst = np.zeros(p)
        for error, rows in self.rows:
            worst = np.maximum(worst, spread(error, rows).max(axis=1))
        scores: FloatArray = worst + FAR * spread(*self.far).max(axis=1)
        return scores


SCALENE = 2.0
"""Sides of the triangle of holes differ by at least this much, so that a turned or flipped
blank fits no pins, mm."""
MEASURED = 3
"""Locating holes besides the key when holes are measured: with the key four, so that readings
show which hole is bad."""


def triples(
    spots: Spots, score: Score, plan: RegistrationPlan
) -> Iterator[tuple[tuple[int, int], int]]:
    """Pairs with keys that fit them, the best pair first."""
    outer = spots.outer()
    pairs = np.array(list(itertools.combinations(outer.tolist(), 2)), dtype=int).reshape(-1, 2)
    distances = np.hypot(*(spots.at[pairs[:, 0]] - spots.at[pairs[:, 1]]).T)
    pairs = pairs[distances >= max(3 * SCALENE, plan.hole + plan.wall)]
    if not len(pairs):
        return
    order = np.argsort(np.round(score(pairs), 9), kind="stable")
    every = np.arange(len(spots.at))
    # in a short overlap only a key farther in makes the sides differ
    for keys in (outer, every):
        for i, j in pairs[order].tolist():
            for key in _keys(spots.at[[i, j]], spots.at[keys], plan):
                yield (i, j), int(keys[key])


def _keys(pair: FloatArray, places: FloatArray, plan: RegistrationPlan) -> list[int]:
    """The places whose triangle with the pair is the most unlike its own images; three of them."""
    a, b = pair
    side = np.hypot(*(b - a))
    to_a, to_b = np.hypot(*(places - a).T), np.hypot(*(places - b).T)
    differ = np.minimum.reduce((np.abs(to_a - to_b), np.abs(to_a - side), np.abs(to_b - side)))
    least = max(3 * SCALENE, (plan.hole + plan.key) / 2 + plan.wall)
    differ = np.where(np.minimum(to_a, to_b) < least, 0.0, np.round(differ, 6))
    best = np.argsort(-differ, kind="stable")[:3]
    return [int(n) for n in best if differ[n] >= SCALENE]


def with_more_holes(
    spots: Spots, score: Score, chosen: list[int], key: int, plan: RegistrationPlan
) -> list[int]:
    """More holes to measure: up to `MEASURED`, and one from every pass before it."""
    outer = spots.outer()
    wall = max(3 * SCALENE, plan.key + plan.wall)
    sources = set(spots.source.tolist())
    while True:
        used = [*chosen, key]
        missing = sources - {int(spots.source[n]) for n in used}
        if len(chosen) >= MEASURED and not missing:
            return chosen
        free = [
            n
            for n in outer.tolist()
            if np.hypot(*(spots.at[used] - spots.at[n]).T).min() >= wall
            and (len(chosen) < MEASURED or int(spots.source[n]) in missing)
        ]
        if not free:
            return chosen
        sets = np.array([[*used, n] for n in free])
        chosen = [*chosen, free[int(np.argmin(np.round(score(sets), 9)))]]
