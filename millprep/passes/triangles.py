"""Pairs of places for locating holes with a place for the key, the best first."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.plan import RegistrationPlan
from millprep.passes.hole_room import Spots
from millprep.passes.hole_score import Score

SCALENE = 2.0
"""Sides of the triangle of holes differ by at least this much, so that a turned or flipped
blank fits no pins, mm."""
MEASURED = 3
"""Locating holes beside the key when holes are measured: with the key four, so that readings
tell which hole is bad."""


def triples(
    spots: Spots, score: Score, plan: RegistrationPlan
) -> Iterator[tuple[tuple[int, int], int]]:
    """Pairs with keys that fit them, the best pair first."""
    outer = spots.outer()
    pairs = np.array(list(itertools.combinations(outer.tolist(), 2)), dtype=int).reshape(-1, 2)
    apart = np.hypot(*(spots.at[pairs[:, 0]] - spots.at[pairs[:, 1]]).T)
    pairs = pairs[apart >= max(3 * SCALENE, plan.hole + plan.wall)]
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


def more(
    spots: Spots, score: Score, chosen: list[int], key: int, plan: RegistrationPlan
) -> list[int]:
    """More holes to measure: up to `MEASURED`, and one from every earlier pass."""
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
