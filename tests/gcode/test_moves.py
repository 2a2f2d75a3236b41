"""Rings and holes as moves."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode import moves, travel
from millprep.gcode.head import HOVER
from millprep.geometry.path import Path
from millprep.model.cut import HoleCut, Lap
from millprep.model.dialect import Dialect
from tests.helpers.chance import examples
from tests.helpers.gcode_trail import START, allowed_rapid, apart, pen, trail
from tests.helpers.paths import paths
from tests.helpers.workshop import MACHINE, drill, mill, vee

QUICK = examples(30)


def lap(path: Path) -> Lap:
    return Lap(path, 0, "c1", 0, "vee", 0.1)


@pytest.mark.law
@QUICK
@given(paths(), st.integers(0, 7))
def test_a_lap_is_followed_at_depth_and_a_closed_one_over_its_start(
    path: Path, vertex: int
) -> None:
    one = pen(vee())
    moves.lap(one, lap(path), vertex)
    fine = trail(START, one.moves, 0.5)
    at_depth = [(m, p) for m, p in fine if p[:, 2].max() <= -0.1 + 1e-12]
    line = shapely.LineString(np.vstack([p[:, :2] for _, p in at_depth]))
    assert apart(np.vstack([p[:, :2] for _, p in at_depth]), path.line(1e-4)) <= 2e-4
    over = min(moves.OVERLAP, path.length / 2) if path.closed else 0.0
    assert line.length == pytest.approx(path.length + over, rel=0.04)
    assert all(m.feed == 400.0 for m, _ in at_depth)
    for move, points in fine:
        if move.motion == "rapid":
            assert allowed_rapid(points)
        elif points[0, 2] != points[-1, 2]:
            assert move.feed == 100.0


def test_the_way_down_is_rapid_to_the_approach_height_and_no_farther() -> None:
    """Over a groove that is there already as well, and for every peck."""
    one = pen(mill(1.0))
    one.over(20.0, 10.0)
    one.plunge(-0.1)
    one.plunge(-0.2)
    one.rise()
    one.plunge(-0.3)
    rapid, feed = ("rapid", MACHINE.approach), "feed"
    assert [(m.motion, m.z) for m in one.moves[1:]] == [
        rapid, (feed, -0.1), (feed, -0.2), ("rapid", MACHINE.clearance), rapid, (feed, -0.3),
    ]  # fmt: skip
    pecked = pen(drill(0.5))
    moves.hole(pecked, hole("drill", 0.5, 2.1))
    pecked.rise()
    assert [m.z for m in pecked.moves[1:]] == [
        z for depth in (1.0, 1.5, 2.1) for z in (MACHINE.approach, -depth, MACHINE.clearance)
    ]


@pytest.mark.parametrize(
    ("approach", "highest", "decimals", "height"),
    [(0.5, 0.0, 4, 0.5), (0.5, 0.02, 4, 0.52), (0.5, 0.125, 2, 0.63), (0.125, 0.0, 3, 0.125)],
)
def test_the_approach_height_is_one_that_the_digits_can_say(
    approach: float, highest: float, decimals: int, height: float
) -> None:
    machine = replace(MACHINE, approach=approach, dialect=Dialect(arcs=False, decimals=decimals))
    assert travel.approach_height(machine, highest) == height


def test_as_high_as_clearance_it_feeds_all_the_way() -> None:
    one = pen(vee())
    one.approach = MACHINE.clearance
    moves.lap(one, lap(Path.lines([(1, 1), (9, 1)])), 0)
    assert [m.motion for m in one.moves] == ["rapid", "feed", "feed"]


def test_feeds_stay_within_the_machine() -> None:
    fast = pen(mill(0.3))
    fast.cutter = type(fast.cutter)(
        **{**{f: getattr(fast.cutter, f) for f in fast.cutter.__dataclass_fields__},
           "feed": 5000.0, "plunge": 5000.0}
    )  # fmt: skip
    moves.lap(fast, lap(Path.circle((10.0, 10.0), 3.0)), 0)
    feeds = {m.feed for m in fast.moves if m.feed is not None}
    assert feeds == {MACHINE.max_feed, MACHINE.max_plunge}


def hole(cutter: str, diameter: float, depth: float) -> HoleCut:
    return HoleCut((20.0, 10.0), diameter, cutter, depth, "drill", 0, "h1")


@pytest.mark.parametrize(
    ("diameter", "depth", "stops"),
    [
        (1.0, 2.1, [2.1]),
        (1.0, 3.0, [3.0]),
        (0.6, 2.0, [1.2, 2.0]),  # the last 0.2 mm are no step of their own: 0.8 is 1.33 diameters
        (0.5, 2.1, [1.0, 1.5, 2.1]),
        (0.3, 2.0, [0.6, 0.9, 1.2, 1.5, 1.8, 2.0]),
    ],
)
def test_deep_holes_are_pecked(diameter: float, depth: float, stops: list[float]) -> None:
    """In one go to 3 diameters; deeper: first 2, then steps of about 1, going all the way up.

    Common practice, no source.
    """
    one = pen(drill(diameter))
    moves.hole(one, hole("drill", diameter, depth))
    bottoms = [-m.z for m in one.moves if m.z < 0]
    assert bottoms[-1] == depth
    if depth <= 3 * diameter:
        assert bottoms == [depth]
    else:
        steps = np.diff([0.0, *bottoms])
        assert steps[0] == pytest.approx(2 * diameter)
        assert steps[1:].max() <= 1.25 * diameter + 1e-9
        assert len(bottoms) == pytest.approx(len(stops), abs=1)
    for a, b in zip(one.moves, one.moves[1:], strict=False):
        if a.z < 0:
            assert b.z == MACHINE.clearance
    assert {(m.x, m.y) for m in one.moves} == {(20.0, 10.0)}


def test_an_end_mill_winds_down_and_levels_the_bottom() -> None:
    one = pen(mill(1.0, step=0.5))
    moves.hole(one, hole("mill", 3.2, 1.8))
    low = [(m, p) for m, p in trail(START, one.moves) if p[:, 2].min() < 0 and m.feed]
    assert all(m.motion == "arc_ccw" for m, _ in low)
    radii = []
    for _, points in low:
        away = np.hypot(points[:, 0] - 20.0, points[:, 1] - 10.0)
        assert np.ptp(away) < 1e-9
        radii.append(round(float(away[0]), 9))
    # from the middle outward, every helix down to the bottom
    assert radii == sorted(radii)
    assert sorted(set(radii)) == pytest.approx([0.45, 1.1])
    for radius in set(radii):
        ends = [p[-1, 2] for r, (_, p) in zip(radii, low, strict=True) if r == radius]
        assert min(ends) == -1.8
    # no deeper in one turn than half the step, and a level turn at the end
    falls = [p[0, 2] - p[-1, 2] for _, p in low]
    assert max(falls) * 2 <= 0.25 + 1e-9
    assert falls[-2:] == [0.0, 0.0]
    assert low[-1][1][-1, 2] == -1.8


@pytest.mark.law
@QUICK
@given(
    st.floats(1e-4, 0.02),
    st.floats(-6.2, 6.2).filter(lambda a: abs(a) > 1e-3),
    st.floats(0, 6.28),
)
def test_short_arcs_never_turn_into_full_circles(radius: float, sweep: float, begin: float) -> None:
    """Whatever a segment is, its moves end where it ends and stay within 1 µm of it."""
    start = np.array([10 + radius * math.cos(begin), 10 + radius * math.sin(begin)])
    end = np.array([10 + radius * math.cos(begin + sweep), 10 + radius * math.sin(begin + sweep)])
    path = Path(np.vstack((start, end)), np.array([math.tan(sweep / 4)]))
    one = pen(vee())
    one.over(*path.start)
    before = len(one.moves)
    one.follow(path)
    made = one.moves[before:]
    assert (made[-1].x, made[-1].y) == path.end
    at = (*path.start, MACHINE.clearance)
    points = np.vstack([p for _, p in trail(at, made, 2e-4)])
    line = shapely.LineString(points[:, :2])
    true = path.line(1e-6)
    assert apart(points[:, :2], true) <= 0.0011
    assert apart(path.flattened(1e-6), line) <= 0.0011
    assert line.length <= path.length + 0.001


@pytest.mark.parametrize(("hole", "cutter"), [(1.05, 1.0), (1.9, 1.0), (3.2, 1.0), (7.0, 0.8)])
def test_a_bored_hole_leaves_no_core(hole: float, cutter: float) -> None:
    radii = moves.turn_radii(hole, cutter)
    swept = shapely.union_all(
        [shapely.Point(0, 0).buffer(r).exterior.buffer(cutter / 2) for r in radii]
    )
    assert swept.geom_type == "Polygon"
    assert swept.area == pytest.approx(shapely.convex_hull(swept).area)
    assert max(radii) == pytest.approx((hole - cutter) / 2)
    assert all(b - a <= 0.9 * cutter + 1e-9 for a, b in itertools.pairwise(radii))


def test_a_single_wide_helix_would_leave_one() -> None:
    alone = shapely.Point(0, 0).buffer(1.1).exterior.buffer(0.5)
    assert list(alone.interiors)


def test_where_clearance_is_the_height_of_the_look_the_tip_just_waits() -> None:
    low = replace(MACHINE, clearance=HOVER)
    one = moves.Pen(low, vee(), (5.0, 5.0, low.clearance))
    moves.look(one, (20.0, 10.0))
    (across,) = one.moves
    assert (across.motion, across[1:4], across.wait) == ("rapid", (20.0, 10.0, 1.0), moves.LOOK)


def test_the_way_down_to_above_the_approach_height_is_fed() -> None:
    one = pen(mill(1.0))
    one.plunge(MACHINE.approach + 1.0)
    assert [(m.motion, m.z) for m in one.moves] == [("feed", MACHINE.approach + 1.0)]
