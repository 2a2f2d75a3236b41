"""Faults in a height map: a chip or a typing error at one node, or a jump where zero was lost.

A sheet bends evenly, or little from node to node. What bends it are the second differences along
rows and columns and the twist of every cell; they are taken together as one column b, less what an
even bow and twist explain. A fault of a known shape - one node off by s, or all nodes from one on,
when zero was lost while they were probed - adds s·u to b, and the s that explains most of the
bending is u·b / u·u. For a single node that is its distance from where its neighbours let it be
expected without it. A fault is reported when s is more than `TIMES` its own uncertainty and more
than `LEAST`. The uncertainty is that of s for readings whose error shows in the bending that s
leaves unexplained (median of absolute values × 1.4826, which few faults cannot raise), or is the
probe's repeatability, whichever is more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.surface_map import SurfaceMap

TIMES = 6.0
"""A good node is within so many standard deviations of what its neighbours suggest; 5 would
already be one in a million if errors were normally distributed, and those of copper are not."""
LEAST = 0.015
"""Smaller faults do no harm worth a refusal, mm."""
_ROBUST = 1.4826


@dataclass(frozen=True, slots=True)
class HeightFault:
    """A reading that does not fit, or a jump.

    Attributes:
        node: (column, row) of the reading at fault, or of the first that is shifted.
        jump: whether all that were read from there on are shifted.
        by: how far, mm.
        expected: height of a single reading by its neighbours.
        allowed: how far it may be off.
    """

    node: tuple[int, int]
    jump: bool
    by: float
    expected: float
    allowed: float


def bends(surface: SurfaceMap) -> FloatArray:
    """(k, m·n) weights of the heights, row by row, in every bend of the sheet.

    Second differences are those of even spacing: on uneven lines they are weighted so that a
    plane has none.
    """
    m, n = surface.z.shape
    rows: list[FloatArray] = []

    def add(*weights: tuple[int, int, float]) -> None:
        row = np.zeros(m * n)
        for i, j, weight in weights:
            row[j * n + i] = weight
        rows.append(row)

    for j in range(m):
        for i in range(1, n - 1):
            left, right = _weights(surface.x, i)
            add((i - 1, j, left), (i, j, -2.0), (i + 1, j, right))
    for j in range(1, m - 1):
        low, high = _weights(surface.y, j)
        for i in range(n):
            add((i, j - 1, low), (i, j, -2.0), (i, j + 1, high))
    for j in range(m - 1):
        for i in range(n - 1):
            add((i, j, 1.0), (i + 1, j, -1.0), (i, j + 1, -1.0), (i + 1, j + 1, 1.0))
    return np.array(rows)


def _weights(lines: FloatArray, k: int) -> tuple[float, float]:
    before, after = float(lines[k] - lines[k - 1]), float(lines[k + 1] - lines[k])
    return 2 * after / (before + after), 2 * before / (before + after)


def worst_fault(
    surface: SurfaceMap, order: FloatArray, confirmed: FloatArray, repeatability: float
) -> HeightFault | None:
    """The fault that explains the bending best; None when the readings agree.

    Args:
        surface: as read.
        order: (m, n) turn in which every node was read.
        confirmed: (m, n) nodes that were read twice and agreed.
        repeatability: standard deviation of one reading, mm.
    """
    weights = bends(surface)
    # an even bow or twist is no fault, nor is a node that was read twice
    u, v = (axis.ravel() for axis in np.meshgrid(surface.x, surface.y))
    even = weights @ np.column_stack((u * u, v * v, u * v))
    known, _ = np.linalg.qr(np.hstack((even, weights[:, confirmed.ravel() > 0])))
    weights = weights - known @ (known.T @ weights)
    bent = weights @ surface.z.ravel()
    turn = np.argsort(order.ravel(), kind="stable")
    best: HeightFault | None = None
    most = 0.0
    unconfirmed = np.flatnonzero(confirmed.ravel() == 0).tolist()
    cases: list[tuple[int, bool, FloatArray]] = [(k, False, weights[:, k]) for k in unconfirmed]
    cases += [
        (int(turn[first]), True, weights[:, turn[first:]].sum(axis=1))
        for first in range(2, len(turn) - 1)
    ]
    for k, jump, shape in cases:
        length = float(shape @ shape)
        if length < 1e-9:
            continue
        by = float(shape @ bent) / length
        unexplained = _ROBUST * float(np.median(np.abs(bent - by * shape)))
        # a second difference of three readings is √6 times as noisy as one
        sigma = max(unexplained / math.sqrt(6), repeatability)
        heights = weights.T @ shape
        allowed = max(TIMES * sigma * math.sqrt(float(heights @ heights)) / length, LEAST)
        gain = by * by * length
        if abs(by) > allowed and gain > most:
            j, i = divmod(k, surface.z.shape[1])
            most = gain
            best = HeightFault((i, j), jump, by, float(surface.z[j, i]) - by, allowed)
    return best


def interpolation_error(surface: SurfaceMap) -> float:
    """How far the copper may be off the bilinear surface between nodes, mm.

    Linear interpolation over a step h is off by at most h²/8 of the second derivative (any text
    on numerical analysis), which h² times is the second difference; along both axes together. The
    noise of readings bends the surface too, so this errs to the safe side.
    """
    x, y, z = surface.x, surface.y, surface.z
    along = [_bend(x, z, i) for i in range(1, len(x) - 1)]
    across = [_bend(y, z.T, j) for j in range(1, len(y) - 1)]
    return float(max(map(np.max, along)) + max(map(np.max, across))) / 8


def _bend(lines: FloatArray, z: FloatArray, k: int) -> FloatArray:
    """Second difference at a line, over the wider of the two adjacent steps."""
    before, after = float(lines[k] - lines[k - 1]), float(lines[k + 1] - lines[k])
    slope = (z[:, k + 1] - z[:, k]) / after - (z[:, k] - z[:, k - 1]) / before
    bend: FloatArray = np.abs(slope / ((before + after) / 2)) * max(before, after) ** 2
    return bend
