"""Slots as moves: the area they sweep is the slot, and no way down is straight."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from millprep.gcode import slots
from millprep.model.cut import HoleCut
from millprep.model.program import Move
from tests.helpers.chance import examples
from tests.helpers.gcode_trail import START, allowed_rapid, pen, program, read_back, trail
from tests.helpers.workshop import mill

QUICK = examples(30)
RAMP = 3.0
DEPTH = 1.8

sizes = st.tuples(
    st.floats(0.05, 15), st.floats(0, 360), st.floats(0.6, 3.0), st.floats(0.0, 6.0)
)  # fmt: skip
"""Length, direction, cutter, and how much wider the slot is."""


def cut(length: float, degrees: float, width: float) -> HoleCut:
    turn = math.radians(degrees)
    end = (60 + length * math.cos(turn), 60 + length * math.sin(turn))
    return HoleCut((60.0, 60.0), width, "mill", DEPTH, "bore", 0, "h1", None, end)


def moves_of(one: HoleCut, cutter: float, step: float = 0.5) -> list[Move]:
    made = pen(mill(cutter, step=step))
    slots.slot(made, one, RAMP)
    return made.moves


@pytest.mark.law
@QUICK
@given(sizes)
def test_the_swept_area_is_the_slot(size: tuple[float, float, float, float]) -> None:
    """At full depth to 5 µm on every edge, and nothing beside it on the way down."""
    length, degrees, cutter, wider = size
    one = cut(length, degrees, cutter + wider)
    fine = trail(START, moves_of(one, cutter), 0.02)
    exact = one.spine.buffer(one.diameter / 2, quad_segs=128)
    level = [p[:, :2] for _, p in fine if p[:, 2].max() <= -DEPTH + 1e-9 and len(p) > 1]
    swept = shapely.MultiLineString(level).buffer(cutter / 2, quad_segs=64)
    assert isinstance(swept, shapely.Polygon)
    assert not [ring for ring in swept.interiors if shapely.Polygon(ring).area > 1e-6], "a core"
    assert swept.difference(exact.buffer(0.005)).is_empty
    whole = shapely.Polygon(swept.exterior)
    assert exact.buffer(-0.005, quad_segs=128).difference(whole).is_empty
    below = shapely.points(np.vstack([p[:, :2] for _, p in fine if p[:, 2].min() < 0]))
    assert float(shapely.distance(below, one.spine).max()) <= wider / 2 + 0.001


@pytest.mark.law
@QUICK
@given(sizes, st.floats(0.1, 1.0))
@example((1.0, 0.0, 1.0, 0.0625), 1.0)
@example((1.0, 0.0, 1.0, 0.015625), 1.0)
def test_the_way_down_is_a_ramp(size: tuple[float, float, float, float], step: float) -> None:
    length, degrees, cutter, wider = size
    one = cut(length, degrees, cutter + wider)
    made = moves_of(one, cutter, step)
    fine = trail(START, made, 0.05)
    for move, points in fine:
        fall = points[0, 2] - points[-1, 2]
        chords = np.hypot(*np.diff(points[:, :2], axis=0).T)
        if move.i is not None and move.j is not None:
            # along the arc, not along its chords
            radius = math.hypot(move.i, move.j)
            chords = 2 * radius * np.arcsin(np.minimum(chords / (2 * radius), 1.0))
        run = float(chords.sum())
        if fall <= 0 or move.motion == "rapid":
            assert fall <= 0 or allowed_rapid(points)
            continue
        if points[-1, 2] >= 0:
            continue
        # no deeper than the step in one lap, no steeper than the ramp unless it nibbles
        assert fall <= step + 1e-9
        assert fall / run <= max(math.tan(math.radians(RAMP)), slots.LEAST_FALL / length) + 1e-3
        assert move.feed is not None
        assert move.feed * fall / math.hypot(run, fall) <= 100.0 + 0.1
    assert min(m.z for m in made) == -DEPTH


def test_a_narrow_slot_goes_to_and_fro_and_ends_level() -> None:
    made = moves_of(cut(10.0, 0.0, 1.0), 1.0)
    below = [m for m in made if m.z < 0]
    # 10 mm at 3° falls 0.524 mm, more than the step: four times 0.45 mm
    assert [round(m.z, 6) for m in below] == [-0.45, -0.9, -1.35, -1.8, -1.8]
    assert [m.x for m in below] == [70.0, 60.0, 70.0, 60.0, 70.0]


def test_a_wide_slot_is_cut_from_the_middle_outward_and_climbing() -> None:
    laps = slots.slot_paths((0.0, 0.0), (10.0, 0.0), 4.0, 1.0)
    reach = [float(lap.flattened()[:, 1].max()) for lap in laps]
    assert reach == sorted(reach)
    assert reach[0] <= 0.5
    assert reach[-1] == pytest.approx(1.5)
    assert all(b - a <= 0.9 + 1e-9 for a, b in itertools.pairwise(reach))
    assert all(shapely.LinearRing(lap.flattened()).is_ccw for lap in laps)


def test_one_lap_alone_would_leave_a_core() -> None:
    outer = slots.slot_paths((0.0, 0.0), (10.0, 0.0), 4.0, 1.0)[-1]
    assert list(outer.line().buffer(0.5).interiors)


def test_the_file_says_the_same() -> None:
    """Written with four digits and read again, the moves end where they did."""
    made = moves_of(cut(5.0, 33.0, 2.2), 1.0)
    trace = read_back(program(made, mill(1.0), works=("bore",)))
    assert len(trace.moves) >= len(made)
    # a program ends with a move up
    ends = [m.end for m in trace.moves][-len(made) - 1 : -1]
    assert np.allclose(ends, [(m.x, m.y, m.z) for m in made], atol=6e-5)
