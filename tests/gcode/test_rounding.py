from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode.post_processor import on_grid
from millprep.model.program import Move

PLACES = st.floats(0, 300)


@pytest.mark.law
@given(PLACES, PLACES, st.floats(0.011, 50), st.floats(-3, 3), st.floats(0.05, math.pi))
def test_arcs_of_three_decimals_are_arcs_by_the_report(
    x: float, y: float, radius: float, first: float, sweep: float
) -> None:
    """Radii at both ends differ by 0.002 mm at most: NISTIR 6556, 3.5.3.2."""
    start = (x + radius * math.cos(first), y + radius * math.sin(first), -0.1)
    end = (x + radius * math.cos(first + sweep), y + radius * math.sin(first + sweep))
    arc = Move("arc_ccw", *end, -0.1, x - start[0], y - start[1], 300.0)
    at = (round(start[0], 3), round(start[1], 3))
    written = list(on_grid([arc], start, 3))
    for m in written:
        assert (m.x, m.y) == (round(m.x, 3), round(m.y, 3))
        if m.i is not None and m.j is not None:
            centre = (at[0] + m.i, at[1] + m.j)
            assert abs(math.hypot(m.i, m.j) - math.dist(centre, (m.x, m.y))) < 0.0019
            assert math.dist(centre, (x, y)) < 0.002 + 0.002 * radius / math.dist(at, (m.x, m.y))
        at = (m.x, m.y)
    assert math.dist(at, end) < 0.0008
    if len(written) > 1:
        assert math.dist(start[:2], end) < 0.0215, "only short ones become lines"


@pytest.mark.parametrize("decimals", [2, 3])
def test_feeds_and_heights_are_rounded_as_well(decimals: int) -> None:
    moves = [Move("feed", 1.23456, 2.34567, -0.98765, feed=123.45678)]
    (move,) = on_grid(moves, (0.0, 0.0, 5.0), decimals)
    assert move.feed == round(123.45678, decimals)
    assert (move.x, move.z) == (round(1.23456, decimals), round(-0.98765, decimals))
