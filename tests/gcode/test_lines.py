from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode.post_processor import lines_of_arc
from millprep.model.dialect import FLATTENED
from millprep.model.program import Move

RADII = st.floats(0.005, 200.0)
TURNS = st.floats(0.01, 2 * math.pi)


@pytest.mark.law
@given(RADII, TURNS, st.floats(-3, 3), st.booleans())
def test_lines_stay_by_their_arc_and_end_where_it_ends(
    radius: float, sweep: float, first: float, clockwise: bool
) -> None:
    sign = -1 if clockwise else 1
    x, y = radius * math.cos(first), radius * math.sin(first)
    last = first + sign * sweep
    arc = Move(
        "arc_cw" if clockwise else "arc_ccw",
        radius * math.cos(last), radius * math.sin(last), -1.0, -x, -y, 300.0,
    )  # fmt: skip
    moves = list(lines_of_arc(arc, (x, y, 0.0)))
    assert moves[-1] == arc._replace(motion="feed", i=None, j=None)
    assert {m.motion for m in moves} == {"feed"}
    assert {m.feed for m in moves} == {300.0}
    at = (x, y)
    for n, m in enumerate(moves, 1):
        assert math.isclose(math.hypot(m.x, m.y), radius, rel_tol=1e-9)
        assert math.isclose(m.z, -n / len(moves))
        middle = math.hypot((at[0] + m.x) / 2, (at[1] + m.y) / 2)
        assert radius - middle <= FLATTENED + 1e-9
        at = (m.x, m.y)
    # one line fewer would not do
    if len(moves) > 3:
        widest = 2 * math.acos(1 - FLATTENED / radius)
        assert sweep > widest * (len(moves) - 1) - 1e-6
