"""Slots as moves: an end mill goes down on a ramp, along the centre line or round and round."""

from __future__ import annotations

import math

import numpy as np

from millprep.gcode.moves import Pen, turn_radii
from millprep.geometry.path import Path, Point
from millprep.model.cut import HoleCut
from millprep.model.cutter import EndMill

SAME_WIDTH = 0.005
"""A slot wider than the cutter by no more, mm, is cut along its centre line alone."""
LEAST_FALL = 0.02
"""However short a slot is, every turn goes down by this, mm: a nibble."""


def slot(pen: Pen, cut: HoleCut, ramp: float) -> None:
    """Down to the slot's depth on a ramp, from the centre outward.

    Every turn goes down by no more than the cutter's step and no steeper than the ramp, degrees;
    where the depth is reached, a level turn cuts what the ramp left.
    """
    assert isinstance(pen.cutter, EndMill)
    assert cut.end is not None
    for path in slot_paths(cut.at, cut.end, cut.diameter, pen.cutter.diameter):
        fall = max(path.length * math.tan(math.radians(ramp)), LEAST_FALL)
        count = math.ceil(cut.depth / min(pen.cutter.step, fall) - 1e-9)
        pen.over(*path.start)
        pen.plunge(0.0)
        way = path
        for n in range(count):
            z0, z1 = -cut.depth * (n / count), -cut.depth * ((n + 1) / count)
            fraction = np.cumsum(way.lengths)[:-1] / way.length
            pen.follow(way, [*(z0 + (z1 - z0) * fraction).tolist(), z1])
            way = way if way.closed else way.reversed()
        pen.follow(way)


def slot_paths(at: Point, end: Point, width: float, cutter: float) -> list[Path]:
    """Paths of the axis of a cutter that together clear a slot, from the centre outward.

    As for wide bores, the first reaches over the centre and each next one overlaps it, so that
    no core comes loose. All but the centre line run counter-clockwise: climbing.
    """
    if width - cutter <= SAME_WIDTH:
        return [Path.lines((at, end))]
    way = np.array(end) - np.array(at)
    left = np.array([-way[1], way[0]]) / math.hypot(*way)
    paths = []
    for radius in turn_radii(width, cutter):
        aside = left * radius
        corners = np.array([at - aside, end - aside, end + aside, at + aside, at - aside])
        paths.append(Path(corners, np.array([0.0, 1.0, 0.0, 1.0])))
    return paths
