"""The course of a ring: whole where it fits, else changed over where it harms least."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.random import default_rng

from millprep.geometry.path import FloatArray, Path
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.cut import HoleCut, Lap
from millprep.model.milling_pass import RegistrationHole
from millprep.passes import joins, lap_splitting
from millprep.passes.error_budget import ErrorBudget, HoleErrors
from millprep.passes.joins import JoinPlan, survey_laps
from millprep.passes.lap_splitting import JoinCosts, SplitLap
from millprep.passes.shift import ShiftPlan
from millprep.toolpaths.isolation import Island, isolate
from tests.helpers.chance import examples
from tests.helpers.workshop import disc, isolation, one

MARGIN = 2.0
HOLES = ((120.0, 5.0), (130.0, 95.0))


def windows(*bounds: tuple[float, float]) -> ShiftPlan:
    """Passes along x with these windows, 100 mm high."""
    boxes = tuple(Box(a, 0.0, b, 100.0) for a, b in bounds)
    shift = bounds[1][0] - bounds[0][0] if len(bounds) > 1 else 0.0
    poses = tuple(Pose.shift(-k * shift, 0.0) for k in range(len(bounds)))
    return ShiftPlan(0, shift, poses, boxes)


TWO = windows((0.0, 150.0), (100.0, 250.0))
THREE = windows((0.0, 150.0), (100.0, 250.0), (200.0, 350.0))


def join_costs(count: int = 1, pads: FloatArray | None = None) -> JoinCosts:
    tree = shapely.STRtree([shapely.LineString([(-9.0, -9.0), (-8.0, -9.0)])])
    none = np.zeros((0, 3)) if pads is None else pads
    return JoinCosts(none, (tree, np.array([5])), 0, 0.5, hole_errors(count))


def hole_errors(count: int = 1) -> HoleErrors:
    """Two holes between every two passes, 100 mm from those before."""
    holes = [
        RegistrationHole(f"r{k}", (x + 100.0 * k, y), (x, y), 3.0, "locate", k + 1, k + 2)
        for k in range(count)
        for x, y in HOLES
    ]
    return HoleErrors.of(holes, count + 1, keys=False)


ERRORS = ErrorBudget(hole_errors(), None, 0.03)


def around(x0: float, x1: float, y: float = 50.0, width: float = 2.0) -> Path:
    """A ring around a straight track."""
    low, high = y - width / 2, y + width / 2
    return Path.lines([(x0, low), (x1, low), (x1, high), (x0, high), (x0, low)])


def planned(path: Path, shift: ShiftPlan = TWO, by: JoinCosts | None = None) -> SplitLap:
    found = lap_splitting.plan(path, shift, MARGIN, by or join_costs(len(shift.windows) - 1))
    assert found is not None
    return found


@pytest.mark.parametrize(("x0", "x1", "k"), [(5.0, 95.0, 0), (160.0, 240.0, 1), (99.0, 110.0, 0)])
def test_a_ring_that_fits_is_not_joined(x0: float, x1: float, k: int) -> None:
    found = planned(around(x0, x1))
    assert (found.first, found.joins) == (k, ())


@pytest.mark.parametrize(("shift", "x1", "count"), [(TWO, 240.0, 2), (THREE, 340.0, 4)])
def test_a_long_ring_changes_over_once_a_side_for_every_seam(
    shift: ShiftPlan, x1: float, count: int
) -> None:
    found = planned(around(5.0, x1), shift)
    assert len(found.joins) == count
    for join in found.joins:
        assert abs(join.before - join.after) == 1
        low, high = (shift.windows[k] for k in sorted((join.before, join.after)))
        assert high.x0 + MARGIN - 0.5 <= join.at[0] <= low.x1 - MARGIN + 0.5
        assert abs(join.across[1]) == pytest.approx(1.0)


def test_passes_follow_each_other_round_the_ring() -> None:
    found = planned(around(5.0, 340.0), THREE)
    for before, after in itertools.pairwise([*found.joins, found.joins[0]]):
        assert before.after == after.before
    assert found.first == found.joins[0].before == found.joins[-1].after
    total = found.path.length
    for s in np.linspace(0.0, total, 400, endpoint=False).tolist():
        k = found.pass_at(s)
        x = found.path.point_at(s)[0]
        assert THREE.windows[k].x0 <= x <= THREE.windows[k].x1


def test_where_nothing_disturbs_joins_are_where_the_holes_help_most() -> None:
    """Straight copper everywhere: at the holes' middle, where the mismatch is least."""
    for join in planned(around(5.0, 240.0)).joins:
        assert join.at[0] == pytest.approx(125.0, abs=lap_splitting.STEP)


@pytest.mark.law
@given(vertex=st.integers(1, 3), reverse=st.booleans())
@examples(10)
def test_it_does_not_matter_where_a_ring_starts_or_which_way_it_runs(
    vertex: int, reverse: bool
) -> None:
    path = around(5.0, 340.0)
    other = path.started_at(vertex)
    if reverse:
        other = other.reversed()
    a, b = (sorted((c.at[1], c.at[0]) for c in planned(p, THREE).joins) for p in (path, other))
    assert len(a) == len(b) == 4
    for (y0, x0), (y1, x1) in zip(a, b, strict=True):
        assert y0 == pytest.approx(y1, abs=1e-9)
        assert x0 == pytest.approx(x1, abs=2 * lap_splitting.STEP)


def test_joins_keep_away_from_pads_and_bends() -> None:
    pads = np.array([(125.0, 50.0, 1.5), (119.0, 50.0, 1.5)])
    for join in planned(around(5.0, 240.0), TWO, join_costs(1, pads)).joins:
        assert np.hypot(pads[:, 0] - join.at[0], pads[:, 1] - join.at[1]).min() >= 3.0
    zigzag = [(5.0, 49.0), *((110.0 + 4 * k, 49.0 + k % 2) for k in range(9)), (240.0, 49.0)]
    path = Path.lines([*zigzag, (240.0, 60.0), (5.0, 60.0), (5.0, 49.0)])
    for join in planned(path).joins:
        x, y = join.at
        assert min(math.dist((x, y), corner) for corner in zigzag) >= lap_splitting.STRAIGHT


def test_a_ring_out_of_reach_has_no_path() -> None:
    assert lap_splitting.plan(around(5.0, 300.0), TWO, MARGIN, join_costs()) is None
    apart = windows((0.0, 100.0), (99.0, 250.0))
    assert lap_splitting.plan(around(5.0, 240.0), apart, MARGIN, join_costs()) is None


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("closed", [True, False])
def test_the_walk_is_the_cheapest_of_all(seed: int, closed: bool) -> None:
    """Against every walk there is, for few steps and passes."""
    random = default_rng(seed)
    n, passes = 8, 3
    allowed = random.random((n, passes)) < 0.75
    changes = {(k, k + 1): random.uniform(0.0, 4.0, n) for k in (0, 1)}

    def price(walk: tuple[int, ...]) -> float:
        if not all(allowed[t, k] for t, k in enumerate(walk)):
            return math.inf
        total = 0.0
        for t in range(0 if closed else 1, n):
            before, after = walk[t - 1], walk[t]
            if abs(before - after) > 1:
                return math.inf
            if before != after:
                total += float(changes[min(before, after), max(before, after)][t])
        return total

    best = min(price(walk) for walk in itertools.product(range(passes), repeat=n))
    if math.isinf(best):
        return
    turns = lap_splitting._turns(allowed)
    some = {pair: cost[turns] for pair, cost in changes.items()}
    states = np.repeat(lap_splitting._walk(allowed[turns], some, closed), np.diff(turns, append=n))
    assert price(tuple(states.tolist())) == pytest.approx(best)


def joined(track: shapely.Polygon, *others: shapely.Polygon, pads: list[HoleCut]) -> JoinPlan:
    islands = [Island(0, f"c{n}", shape) for n, shape in enumerate((track, *others))]
    edge = shapely.box(0.0, 0.0, 250.0, 100.0)
    laps, tight = isolate(islands, edge, isolation(gap=0.3), 0.035)
    assert not tight
    return joins.plan(survey_laps(TWO, laps, pads), ERRORS, 0.4, 0.3)


def hole(x: float, y: float, diameter: float, piece: str) -> HoleCut:
    return HoleCut((x, y), diameter, "drill", 2.0, "drill", 0, f"h{x:g}", piece)


def places(plan: JoinPlan) -> list[shapely.Point]:
    found = [shapely.Point(c.at) for one in plan.split_laps[0, "c0"] for c in one.joins]
    assert len(found) == 2
    return found


TRACK = shapely.box(5.0, 49.5, 240.0, 50.5)


def test_joins_keep_away_from_a_neighbours_pad() -> None:
    """0.8 mm beside the place that would be best otherwise."""
    pad = disc(125.0, 52.3, 1.0)
    for place in places(joined(TRACK, pad, pads=[hole(125.0, 52.3, 1.0, "c1")])):
        assert place.distance(pad) >= 1.0


def test_joins_keep_away_from_the_straight_sides_of_a_large_pad() -> None:
    """5 mm square around a hole of 1.3 mm: no bend near the middle of its sides."""
    square = shapely.box(122.5, 47.5, 127.5, 52.5)
    track = one(shapely.union_all([TRACK, square]))
    for place in places(joined(track, pads=[hole(125.0, 50.0, 1.3, "c0")])):
        assert place.distance(square) >= 1.0


def test_windows_that_share_the_least_overlap_leave_every_band_a_place() -> None:
    least = joins.least_overlap(0.4, 0.3)
    narrow = windows((0.0, 150.0), (150.0 - least, 250.0))
    islands = [Island(0, "c0", TRACK)]
    laps, _ = isolate(islands, shapely.box(0.0, 0.0, 250.0, 100.0), isolation(gap=0.3), 0.035)
    plan = joins.plan(survey_laps(narrow, laps, []), ERRORS, 0.4, 0.3)
    assert len(plan.split_laps[0, "c0"][0].joins) == 2


def test_an_open_lap_changes_over_once() -> None:
    found = planned(Path.lines([(5.0, 50.0), (240.0, 50.0)]))
    (join,) = found.joins
    assert (found.first, join.before, join.after) == (0, 0, 1)
    assert 100.0 + MARGIN <= join.at[0] <= 150.0 - MARGIN
    assert abs(join.across[1]) == pytest.approx(1.0)


def test_a_lap_that_runs_by_no_first_one_is_split_by_itself() -> None:
    """In the middle of gaps the lap nearest to copper may end where there is no room for it."""
    short = Lap(Path.lines([(5.0, 50.0), (60.0, 50.0)]), 0, "c0", 0, "vee", 0.1)
    beyond = Lap(Path.lines([(5.0, 50.2), (240.0, 50.2)]), 0, "c0", 1, "vee", 0.1)
    plan = joins.plan(survey_laps(TWO, [short, beyond], []), ERRORS, 0.4, 0.3)
    first, second = plan.split_laps[0, "c0"]
    assert (first.path, len(first.joins)) == (short.path, 0)
    assert (second.path, len(second.joins)) == (beyond.path, 1)
    assert plan.leads(beyond)


def test_a_hole_in_copper_without_laps_is_no_pad_to_keep_off() -> None:
    islands = [Island(0, "c0", TRACK)]
    laps, _ = isolate(islands, shapely.box(0.0, 0.0, 250.0, 100.0), isolation(gap=0.3), 0.035)
    seen = survey_laps(TWO, laps, [hole(125.0, 52.3, 1.0, "not cut"), hole(9.0, 50.0, 0.8, "c0")])
    assert seen.pads[:, :2].tolist() == [[9.0, 50.0]]
