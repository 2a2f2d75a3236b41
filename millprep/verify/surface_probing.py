"""Touching copper from above: straight down, slowly, on copper, and the spindle stands."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.finding import Finding
from millprep.model.surface_map import LEAST_NODES
from millprep.verify.probing import tip_rule
from millprep.verify.setting import SLACK, Setting
from millprep.verify.trace import Trace

HIGH = 0.3
"""A touch begins this far above Z0 at least, and nothing else goes lower, mm."""
DIGIT = 1e-3
DEEPEST = 3.0
"""Where contact fails a tip is not driven deeper, mm: common practice, no source."""


def surface_probe_rule(s: Setting) -> Iterator[Finding]:
    """The tip goes down on copper that may be touched, and nowhere else below `HIGH`."""
    m = s.moves
    yield from tip_rule(s)
    still = m.across <= SLACK
    yield from s.each(
        m.probe & ~(still & (m.start[:, 2] >= HIGH - SLACK) & (m.end[:, 2] < 0)),
        "probe-height",
        f"a touch must go straight down from Z{HIGH:g} or higher to below zero.",
    )
    floor = min(DEEPEST, s.blank.thickness)
    yield from s.each(
        m.probe & ~(m.end[:, 2] >= -floor - SLACK),
        "probe-too-deep",
        f"a touch is aimed more than {floor:g} mm below zero.",
    )
    after = np.concatenate(([False], m.probe[:-1]))
    rising = after & still & (m.end[:, 2] >= HIGH)
    yield from s.each(
        ~m.probe & ~rising & (m.bottom < HIGH - SLACK),
        "probe-low",
        f"the tip goes below Z{HIGH:g} without probing.",
    )
    probes = np.flatnonzero(m.probe & ~np.isnan(m.end[:, :2]).any(axis=1))
    on = shapely.intersects_xy(s.touching, m.end[probes, 0], m.end[probes, 1])
    beside = m.probe.copy()
    beside[probes] = ~on
    yield from s.each(
        beside,
        "probe-off-copper",
        "a touch is aimed where no copper is that the tip could meet.",
    )


def grid_fault(trace: Trace, cuts: BaseGeometry, zero: Point, file: str) -> Finding | None:
    """Whether the touches of a program form a whole grid around all that a pass cuts.

    `cuts` is what the pass cuts, `zero` where Z is zeroed, which may be touched besides; machine
    frame.
    """
    nodes = {m.end[:2] for m in trace.moves if m.kind == "probe"}
    nodes = {at for at in nodes if math.dist(at, zero) > DIGIT}
    x, y = (sorted({at[axis] for at in nodes}) for axis in (0, 1))
    x0, y0, x1, y1 = cuts.bounds
    words = None
    if min(len(x), len(y)) < LEAST_NODES or len(nodes) != len(x) * len(y):
        words = "the touches form no whole grid"
    elif x[0] > x0 or x[-1] < x1 or y[0] > y0 or y[-1] < y1:
        words = "the touches do not enclose what the pass cuts"
    if words is None:
        return None
    return Finding(
        code="probe-grid", severity="stop", message=f"{words}. Write the program again.", file=file
    )
