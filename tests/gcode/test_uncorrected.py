"""Grooves that nobody levelled: their widths, and where nothing is isolated."""

from __future__ import annotations

import math

import numpy as np
import pytest

from millprep.gcode.levelling import uncorrected
from millprep.model.program import Move
from millprep.model.surface_map import SurfaceMap
from tests.helpers.flat_programs import cut, program

COPPER = 0.035


def tilted(slope: float) -> SurfaceMap:
    """Copper that rises along x, zero at x = 50."""
    x, y = np.array([0.0, 50.0, 100.0]), np.array([0.0, 40.0, 80.0])
    return SurfaceMap(x, y, np.array([[slope * (u - 50) for u in x] for _ in y]))


def test_a_rise_of_50_um_widens_a_30_degree_groove_by_27() -> None:
    """Computed by hand: 2 × 0.05 × tan 15° = 0.0268."""
    level = cut(Move("feed", 51.0, 13.0, -0.1, feed=300.0), at=(50.0, 13.0))
    rise = SurfaceMap(tilted(0).x, tilted(0).y, np.full((3, 3), 0.05))
    flat = uncorrected(level, tilted(0.0), depth=0.1, copper=COPPER)
    high = uncorrected(level, rise, depth=0.1, copper=COPPER)
    assert flat is not None
    assert high is not None
    assert high.surface[0] - flat.surface[0] == pytest.approx(0.0268, abs=1e-4)
    assert high.foot[0] - flat.foot[0] == pytest.approx(0.0268, abs=1e-4)


def test_where_copper_lies_low_nothing_is_isolated() -> None:
    # 0.1 deep, through 0.035: lost where the copper lies more than 0.065 low, x < 50 - 32.5
    line = cut(Move("feed", 90.0, 13.0, -0.1, feed=300.0), at=(10.0, 13.0))
    told = uncorrected(line, tilted(0.002), depth=0.1, copper=COPPER)
    assert told is not None
    assert told.lost_length == pytest.approx(7.5, abs=1.0)
    assert len(told.lost) == 1
    assert told.lost[0][0] == pytest.approx(10.5)
    assert told.foot.min() == 0.0
    assert told.surface.min() > 0.1
    assert told.foot.max() == pytest.approx(
        0.1 + 2 * (0.1 + 0.002 * 39.5 - COPPER) * math.tan(math.radians(15)), abs=1e-3
    )


def test_deep_cuts_are_holes_and_edges_and_not_told() -> None:
    deep = cut(Move("feed", 90.0, 13.0, -1.9, feed=300.0), depth=1.9)
    assert uncorrected(deep, tilted(0.0), depth=0.1, copper=COPPER) is None


def test_arcs_are_looked_at_all_the_way() -> None:
    arc = Move("arc_ccw", 40.0, 30.0, -0.1, -10.0, 0.0, 300.0)
    ring = program(Move("rapid", 60.0, 30.0, 2.5), Move("feed", 60.0, 30.0, -0.1, feed=100.0), arc)
    told = uncorrected(ring, tilted(0.0), depth=0.1, copper=COPPER)
    assert told is not None
    length = np.hypot(*(told.segments[:, 2:] - told.segments[:, :2]).T).sum()
    assert length == pytest.approx(10 * math.pi, rel=0.01)
