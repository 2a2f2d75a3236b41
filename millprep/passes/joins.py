"""Where passes meet: one straight line in every overlap, at its best place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.passes.shift import ShiftPlan
from millprep.values.cut import HoleCut, Ring
from millprep.values.path import FloatArray

STEP = 0.5
"""Join lines are tried this far apart, mm."""
NEAR = 1.5
"""A pad's hole nearer than this to a join costs as much as another join, mm."""

Band = tuple[int, str]
"""All rings around one piece: (placement, piece)."""


@dataclass(frozen=True, slots=True)
class JoinPlan:
    """How the rings of a blank are shared among its passes.

    Attributes:
        lines: one coordinate along the axis for every overlap, ascending.
        whole: the pass (from 0) of every band that fits one window and stays whole.
    """

    lines: tuple[float, ...]
    whole: Mapping[Band, int]

    def side(self, at: float) -> int:
        """The pass (from 0) on whose side of the lines a coordinate lies."""
        return sum(at > line for line in self.lines)


def plan(
    shift: ShiftPlan, rings: Sequence[Ring], holes: Sequence[HoleCut], overrun: float
) -> JoinPlan:
    """Lines that cross the fewest bands, away from pads and bends; other bands stay whole."""
    if len(shift.windows) == 1:
        bands = {(ring.placement, ring.piece) for ring in rings}
        return JoinPlan((), dict.fromkeys(bands, 0))
    axis = shift.axis
    extent: dict[Band, tuple[float, float]] = {}
    for ring in rings:
        band = (ring.placement, ring.piece)
        low, high = float(ring.path.xy[:, axis].min()), float(ring.path.xy[:, axis].max())
        # an arc may bulge beyond its ends; half its chord is the most it can add
        bulge = float(np.abs(ring.path.bulge).max(initial=0.0))
        slack = float(ring.path.lengths.max()) / 2 if bulge else 0.0
        was = extent.get(band, (low - slack, high + slack))
        extent[band] = (min(was[0], low - slack), max(was[1], high + slack))
    margin = overrun + 1.0
    fits = {
        band: [
            k
            for k in range(len(shift.windows))
            if low >= shift.low(k) + margin and high <= shift.high(k) - margin
        ]
        for band, (low, high) in extent.items()
    }
    split = [ring for ring in rings if not fits[(ring.placement, ring.piece)] and ring.lap == 0]
    segments = _segments(split, axis)
    cut_apart = {band for band, passes in fits.items() if not passes}
    pads = np.array([h.at[axis] for h in holes if (h.placement, h.piece) in cut_apart])
    lines = tuple(
        _best_line(shift, k, segments, pads, margin) for k in range(len(shift.windows) - 1)
    )
    plan_ = JoinPlan(lines, {})
    whole = {}
    for band, passes in fits.items():
        if passes:
            middle = sum(extent[band]) / 2
            side = plan_.side(middle)
            whole[band] = side if side in passes else min(passes, key=lambda k: abs(k - side))
    return JoinPlan(lines, whole)


def _segments(rings: Sequence[Ring], axis: int) -> FloatArray:
    """(n, 3) of all chords of the rings: low and high end along the axis, and steepness.

    Steepness is |across| / |along|: 0 where the path runs along the axis, large at a bend.
    """
    rows = [np.zeros((0, 3))]
    for ring in rings:
        xy = ring.path.flattened(0.02)
        a, b = xy[:-1, axis], xy[1:, axis]
        across = np.abs(np.diff(xy[:, 1 - axis]))
        along = np.abs(b - a)
        steep = across / np.maximum(along, 1e-9)
        rows.append(np.column_stack((np.minimum(a, b), np.maximum(a, b), steep)))
    return np.vstack(rows)


def _best_line(
    shift: ShiftPlan, k: int, segments: FloatArray, pads: FloatArray, margin: float
) -> float:
    low = shift.low(k + 1) + margin
    high = shift.high(k) - margin
    middle = (low + high) / 2
    best = (np.inf, middle)
    for x in np.arange(np.ceil(low / STEP) * STEP, high + 1e-9, STEP).tolist():
        # a crossing within a lap's bend is judged by what lies 1 mm to either side, too
        hit = segments[(segments[:, 0] <= x + 1) & (segments[:, 1] >= x - 1)]
        crossing = hit[(hit[:, 0] < x) & (hit[:, 1] >= x)]
        bends = float(np.minimum(hit[:, 2], 1.0).sum())
        close = float((np.abs(pads - x) < NEAR).sum())
        # near the middle of the overlap both sets of holes serve best
        centre = abs(x - middle) / max(high - low, 1e-9)
        cost = len(crossing) + bends + close + 0.5 * centre
        if cost < best[0] - 1e-12:
            best = (cost, x)
    return best[1]
