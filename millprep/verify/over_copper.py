"""Programs that follow a surface map, seen from the copper: how deep they go where they go.

A move over uneven copper is as deep as its z lies below the copper there. With the map's height
taken from both ends of every move a program becomes the one that would do the same to flat copper;
the copper that is left, spoilboard and depths are judged on that. It represents the real one
only if no move leaves the surface between its ends, so every one is compared with the map where it
crosses from cell to cell and in between.

The map's heights are evaluated here on their own: first along x in the rows below and above a
place, then across.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.surface_map import SurfaceMap
from millprep.verify.sweep import arc_samples
from millprep.verify.trace import Trace, TraceMove, look_at_zero

FOLLOWED = 0.002
"""A move may leave the surface between its ends by this, mm, besides the last digit."""
OUT = 1e-3
"""A cut may leave the map by this, mm: arcs end on rounded digits."""
_ARC_STEP = 0.5
_SLACK = 1e-6


def heights(surface: SurfaceMap, xy: FloatArray) -> FloatArray:
    """(n,) heights of the copper at (n, 2) places; nan beyond the map."""
    x, y = xy[:, 0], xy[:, 1]
    out = (x < surface.x[0] - OUT) | (x > surface.x[-1] + OUT)
    out |= (y < surface.y[0] - OUT) | (y > surface.y[-1] + OUT) | np.isnan(x) | np.isnan(y)
    rows = np.array([np.interp(x, surface.x, row) for row in surface.z])
    share = np.interp(y, surface.y, np.arange(len(surface.y)))
    below = np.minimum(np.nan_to_num(share).astype(np.int64), len(rows) - 2)
    place = np.arange(len(x))
    part = share - below
    float_array: FloatArray = rows[below, place] * (1 - part) + rows[below + 1, place] * part
    return np.where(out, np.nan, float_array)


@dataclass(frozen=True, slots=True)
class OverFlatCopper:
    """A program as over flat copper.

    Attributes:
        trace: z of every place that is lower than the clearance is counted from the copper.
        off: (n,) how far each feed leaves the surface between its ends, mm.
        lost: (n,) whether it cuts where the map has no height.
    """

    trace: Trace
    off: FloatArray
    lost: NDArray[np.bool_]


def over_flat_copper(trace: Trace, surface: SurfaceMap, clearance: float) -> OverFlatCopper:
    """A program over the map's copper as one over flat copper; rapids at clearance stay."""
    moves = trace.moves
    columns = trace.columns
    start, end = columns.start, columns.end
    low_start, low_end = start[:, 2] < clearance - _SLACK, end[:, 2] < clearance - _SLACK
    look = look_at_zero(trace)
    if look is not None:
        # where Z is zeroed the copper lies at zero, whether or not the map reaches it
        low_end[look.first : look.last + 1] = low_start[look.first : look.last + 2] = False
    at_start, at_end = heights(surface, start[:, :2]), heights(surface, end[:, :2])
    lost = (low_start & np.isnan(at_start)) | (low_end & np.isnan(at_end))
    z0 = np.where(low_start, start[:, 2] - at_start, start[:, 2])
    z1 = np.where(low_end, end[:, 2] - at_end, end[:, 2])
    # where nothing is known of the copper the depth stays as it is, and the move is refused
    z0 = np.where(np.isnan(z0), start[:, 2], z0)
    z1 = np.where(np.isnan(z1), end[:, 2], z1)
    flat = [
        m._replace(start=(*m.start[:2], a), end=(*m.end[:2], b))
        for m, a, b in zip(moves, z0.tolist(), z1.tolist(), strict=True)
    ]
    off = np.zeros(len(moves))
    works = (low_start | low_end) & ~lost & (start[:, :2] != end[:, :2]).any(axis=1)
    works = (works & ~columns.rapid) | (low_end & ~lost & columns.arc)
    for k in np.flatnonzero(works).tolist():
        off[k] = _off(moves[k], float(z0[k]), float(z1[k]), surface)
    return OverFlatCopper(replace(trace, moves=tuple(flat)), off, lost)


def _off(move: TraceMove, z0: float, z1: float, surface: SurfaceMap) -> float:
    """How far a move leaves the surface between its ends; infinite where it leaves the map.

    Over one cell a straight move's distance from the surface is a parabola: it is farthest off in
    the middle, and where it crosses a rim.
    """
    (ax, ay, az), (bx, by, bz) = move.start, move.end
    if move.centre is None:
        shares = _shares((ax, ay), (bx, by), surface)
        xy = np.column_stack((ax + (bx - ax) * shares, ay + (by - ay) * shares))
    else:
        fine = max(1e-6, _ARC_STEP**2 / 8 / max(math.dist(move.start[:2], move.centre), 1e-6))
        angle, radius, _ = arc_samples(
            move.start, move.end, move.centre, move.kind == "arc_cw", fine
        )
        if len(angle) < 9:
            angle = np.linspace(angle[0], angle[-1], 9)
            radius = np.linspace(radius[0], radius[-1], 9)
        shares = np.linspace(0.0, 1.0, len(angle))
        xy = np.column_stack(
            (move.centre[0] + radius * np.cos(angle), move.centre[1] + radius * np.sin(angle))
        )
    there = az + (bz - az) * shares - heights(surface, xy)
    if np.isnan(there).any():
        return math.inf
    return float(np.abs(there - (z0 + (z1 - z0) * shares)).max())


def _shares(a: tuple[float, float], b: tuple[float, float], surface: SurfaceMap) -> FloatArray:
    """Where along a straight move it can be farthest off: at rims, and half-way between."""
    shares = [0.0, 1.0]
    for lines, p, q in ((surface.x, a[0], b[0]), (surface.y, a[1], b[1])):
        if p != q:
            crossed = (lines - p) / (q - p)
            shares += crossed[(crossed > 0) & (crossed < 1)].tolist()
    rims = np.unique(shares)
    return np.sort(np.concatenate((rims, (rims[1:] + rims[:-1]) / 2)))
