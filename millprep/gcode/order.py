"""The order of cuts, so that the cutter travels little between them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from millprep.geometry.path import FloatArray, Path, Point

DIGITS = 3
"""Distances are compared to this many decimals, mm."""
ENTRIES = 24
"""A closed path may be entered at about this many of its vertices."""


def points(places: Sequence[Point], start: Point) -> list[int]:
    """Indices of the places in visiting order: nearest next, then 2-opt, from a fixed start."""
    if not places:
        return []
    xy = np.array(places, dtype=float)
    left = np.ones(len(xy), dtype=bool)
    here = np.array(start)
    tour: list[int] = []
    for _ in range(len(xy)):
        away = np.where(left, ((xy - here) ** 2).sum(axis=1), np.inf)
        n = int(np.argmin(away))
        tour.append(n)
        left[n] = False
        here = xy[n]
    return _two_opt(tour, xy, np.array(start))


def _two_opt(tour: list[int], xy: FloatArray, start: FloatArray) -> list[int]:
    """Reverse stretches while that shortens the way; a bounded number of sweeps."""
    route = np.vstack((start, xy[tour]))
    order = np.array([-1, *tour])
    n = len(route)
    for _ in range(12):
        gained = False
        for i in range(n - 2):
            a, b = route[i], route[i + 1]
            c = route[i + 2 :]
            d = np.vstack((route[i + 3 :], c[-1:]))
            gain = (
                np.hypot(*(b - a))
                + np.hypot(*(d - c).T)
                - np.hypot(*(c - a).T)
                - np.hypot(*(d - b).T)
            )
            # the way ends at the last place, so turning the tail over adds no second edge
            gain[-1] = np.hypot(*(b - a)) - np.hypot(*(c[-1] - a))
            k = int(np.argmax(gain))
            if gain[k] > 1e-6:
                j = i + 2 + k
                route[i + 1 : j + 1] = route[i + 1 : j + 1][::-1].copy()
                order[i + 1 : j + 1] = order[i + 1 : j + 1][::-1].copy()
                gained = True
        if not gained:
            break
    return [int(k) for k in order[1:]]


def paths(candidates: Sequence[Path], start: Point) -> list[tuple[int, int]]:
    """(index, vertex to enter at) of every path in visiting order.

    Open paths keep their direction, since it decides on which side the cutter pulls.
    Closed ones may be entered at any vertex.
    """
    entries: list[FloatArray] = []
    for k, path in enumerate(candidates):
        vertices = np.arange(0, len(path), max(1, len(path) // ENTRIES)) if path.closed else [0]
        xy = path.xy[vertices]
        entries.append(np.column_stack((xy, np.full(len(xy), k), vertices)))
    if not entries:
        return []
    table = np.vstack(entries)
    xy, owner, vertex = table[:, :2], table[:, 2].astype(int), table[:, 3].astype(int)
    left = np.ones(len(table), dtype=bool)
    bounds = np.concatenate(([0], np.cumsum([len(e) for e in entries])))
    here = np.array(start)
    visits: list[tuple[int, int]] = []
    for _ in candidates:
        away = np.where(left, np.hypot(*(xy - here).T), np.inf)
        # of places as near the first listed, whatever rounding says where a board lies
        n = int(np.argmin(np.round(away, DIGITS)))
        k = int(owner[n])
        visits.append((k, int(vertex[n])))
        left[bounds[k] : bounds[k + 1]] = False
        path = candidates[k]
        here = xy[n] if path.closed else path.xy[-1]
    return visits
