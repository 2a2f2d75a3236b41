"""Programs that follow a bent blank: where they go, how deep, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode.level import CHORD, Arc, levelled
from millprep.model.finding import Refusal
from millprep.model.program import Move, Program
from millprep.model.surface_map import SurfaceMap
from tests.helpers.chance import examples
from tests.helpers.flat_programs import UP, cut, program
from tests.helpers.workshop import MACHINE


def bent(twist: float = 2e-5, bow: float = 1e-5) -> SurfaceMap:
    """A bowed and twisted blank of 100 × 80 mm, nodes 10 mm apart."""
    x, y = np.linspace(0, 100, 11), np.linspace(0, 80, 9)
    u, v = np.meshgrid(x, y)
    return SurfaceMap(x, y, bow * (u - 40) ** 2 + twist * (u - 50) * (v - 40))


def sampled(made: Program) -> list[tuple[float, float, float]]:
    """Many places of a program's feeds below the clearance."""
    found = []
    x, y, z = made.start
    for move in made.moves:
        if move.motion != "rapid" and z < UP:
            for share in np.linspace(0, 1, 21).tolist():
                at = (x + (move.x - x) * share, y + (move.y - y) * share)
                if move.i is not None:
                    at = Arc.of((x, y), move).at(share)
                found.append((*at, z + (move.z - z) * share))
        x, y, z = move.x, move.y, move.z
    return found


def worst(made: Program, surface: SurfaceMap, depth: float = 0.1) -> float:
    places = np.array(sampled(made))
    return float(np.abs(places[:, 2] + depth - surface.heights(places[:, :2])).max())


@pytest.mark.law
@given(
    st.floats(1, 99), st.floats(1, 79), st.floats(1, 99), st.floats(1, 79), st.floats(-4e-4, 4e-4)
)
def test_a_line_keeps_its_depth_below_the_copper(
    x: float, y: float, u: float, v: float, twist: float
) -> None:
    surface = bent(twist)
    made = levelled(cut(Move("feed", u, v, -0.1, feed=300.0), at=(x, y)), surface, MACHINE)
    assert worst(made, surface) <= CHORD + 1e-5
    assert made.moves[-2].x == u
    # the way in the plane is what it was
    slack = 1e-6 * max(math.dist((x, y), (u, v)), 1)
    for a, b, _ in sampled(made):
        assert abs((a - x) * (v - y) - (b - y) * (u - x)) <= slack


@pytest.mark.law
@examples(60)
@given(
    st.floats(20, 80), st.floats(20, 60), st.floats(0.1, 18), st.floats(0, 6.28),
    st.floats(0.05, 6.2), st.booleans(), st.floats(-4e-4, 4e-4),
)  # fmt: skip
def test_an_arc_keeps_its_depth_its_centre_and_its_turn(
    x: float, y: float, r: float, first: float, sweep: float, ccw: bool, twist: float
) -> None:
    surface = bent(twist)
    turn = sweep if ccw else -sweep
    start = (x + r * math.cos(first), y + r * math.sin(first))
    end = (x + r * math.cos(first + turn), y + r * math.sin(first + turn))
    arc = Move("arc_ccw" if ccw else "arc_cw", *end, -0.1, x - start[0], y - start[1], feed=300.0)
    made = levelled(cut(arc, at=start), surface, MACHINE)
    assert worst(made, surface) <= CHORD + 2e-5
    for a, b, _ in sampled(made):
        assert math.hypot(a - x, b - y) == pytest.approx(r, abs=6e-4)
    pieces = [m for m in made.moves if m.i is not None]
    assert {m.motion for m in pieces} <= {arc.motion}


def test_flat_copper_changes_nothing() -> None:
    flat = SurfaceMap(np.array([0.0, 50, 100]), np.array([0.0, 40, 80]), np.zeros((3, 3)))
    before = cut(
        Move("feed", 90.0, 70.0, -0.1, feed=300.0),
        Move("arc_ccw", 80.0, 70.0, -0.1, -5.0, 0.0, 300.0),
    )
    made = levelled(before, flat, MACHINE)
    assert [m.z for m in made.moves if m.motion != "rapid"] == [-0.1] * (len(made.moves) - 2)
    assert made.moves[-1] == before.moves[-1]


def test_a_tilted_blank_splits_no_line_but_at_rims() -> None:
    x, y = np.array([0.0, 50, 100]), np.array([0.0, 40, 80])
    tilted = SurfaceMap(x, y, np.array([[0.001 * u + 0.002 * v for u in x] for v in y]))
    made = levelled(cut(Move("feed", 90.0, 70.0, -0.1, feed=300.0)), tilted, MACHINE)
    # down, and three pieces over four cells' rims
    assert len([m for m in made.moves if m.motion == "feed"]) == 1 + 3


def test_rapids_and_waits_stay_as_they_were() -> None:
    line = Move("feed", 90.0, 70.0, -0.1, feed=300.0, wait=2.0, stop="look")
    made = levelled(cut(line), bent(4e-4), MACHINE)
    rapids = [m for m in made.moves if m.motion == "rapid"]
    assert [(m.x, m.y, m.z) for m in rapids] == [(12.0, 13.0, UP), (90.0, 70.0, UP)]
    waits = [m for m in made.moves if m.wait or m.stop]
    assert [(m.x, m.y) for m in waits] == [(90.0, 70.0)]
    assert made.depth == pytest.approx(-min(m.z for m in made.moves))


def test_a_helix_follows_as_well() -> None:
    surface = bent(4e-4)
    moves = [Move("feed", 60.0, 50.0, 0.0, feed=100.0)]
    for n in range(4):
        z = -0.25 * (n + 1)
        for side, (x, i) in enumerate(((56.0, -2.0), (60.0, 2.0))):
            there = z + (0.125 if side == 0 else 0.0)
            moves.append(Move("arc_ccw", x, 50.0, there, i, 0.0, 200.0))
    before = cut(*moves, at=(60.0, 50.0), depth=0.0)
    made = levelled(before, surface, MACHINE)
    ends = {(round(m.x, 6), round(m.y, 6)): m.z for m in made.moves if m.motion != "rapid"}
    assert ends[(60.0, 50.0)] == pytest.approx(-1.0 + surface.heights([(60.0, 50.0)])[0])
    assert ends[(56.0, 50.0)] == pytest.approx(-0.875 + surface.heights([(56.0, 50.0)])[0])


def test_a_ramp_over_falling_copper_goes_down_no_faster_than_it_may() -> None:
    x, y = np.array([0.0, 50, 100]), np.array([0.0, 40, 80])
    falling = SurfaceMap(x, y, np.array([[-0.01 * u for u in x] for _ in y]))
    # a ramp that already uses all of the plunge feed
    ramp = Move("feed", 22.0, 13.0, -1.1, feed=100.0 * math.hypot(10, 1))
    made = levelled(cut(ramp), falling, MACHINE)
    last = made.moves[-2]
    fall = made.moves[-3].z - last.z
    assert fall > 1.0
    assert last.feed is not None
    length = math.hypot(10, fall)
    assert last.feed * fall / length <= 100.0


def test_a_cut_beyond_the_map_is_refused_with_its_place() -> None:
    arc = Move("arc_ccw", 98.0, 40.0, -0.1, 0.0, 5.0, 300.0)
    with pytest.raises(Refusal) as refused:
        levelled(cut(arc, at=(98.0, 30.0)), bent(), MACHINE)
    (finding,) = refused.value.findings
    assert finding.code == "map-too-small"
    assert finding.at == pytest.approx((103.0, 35.0))


def test_copper_near_the_rapids_is_refused() -> None:
    high = replace(bent(), z=bent().z + 2.0)
    with pytest.raises(Refusal) as refused:
        levelled(cut(Move("feed", 20.0, 13.0, -0.1, feed=300.0)), high, MACHINE)
    assert [f.code for f in refused.value.findings] == ["map-above-clearance"]


def test_a_low_rapid_that_the_copper_raises_to_clearance_is_left_out() -> None:
    x, y = np.array([0.0, 50.0, 100.0]), np.array([0.0, 40.0, 80.0])
    high = SurfaceMap(x, y, np.full((3, 3), 1.2))
    across, *others = cut(Move("feed", 20.0, 13.0, -0.1, feed=300.0)).moves
    for low, heights in ((1.5, [UP, 1.1, 1.1, UP]), (0.5, [UP, 1.7, 1.1, 1.1, UP])):
        down = Move("rapid", 12.0, 13.0, low)
        made = levelled(program(across, down, *others), high, MACHINE)
        assert [m.z for m in made.moves] == pytest.approx(heights)
