"""Which pass cuts what, by hand: pieces whole or joined, pads to keep off, places along a lap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.cut import HoleCut, Lap
from millprep.model.milling_pass import RegistrationHole
from millprep.passes import joins
from millprep.passes.error_budget import QUANTILE, ErrorBudget, HoleErrors
from millprep.passes.joins import JoinPlan, LapSurvey, survey_laps
from millprep.passes.lap_splitting import PlannedJoin, SplitLap
from millprep.passes.shift import ShiftPlan
from millprep.passes.spurs import wanted

TWO = ShiftPlan(
    0, 100.0, (Pose(), Pose.shift(-100.0, 0.0)),
    (Box(0.0, 0.0, 150.0, 100.0), Box(100.0, 0.0, 250.0, 100.0)),
)  # fmt: skip
TALL = ShiftPlan(
    1, 100.0, (Pose(), Pose.shift(0.0, -100.0)),
    (Box(0.0, 0.0, 100.0, 150.0), Box(0.0, 100.0, 100.0, 250.0)),
)  # fmt: skip
GRID = ShiftPlan(
    0, 100.0, tuple(Pose.shift(-100.0 * i, -60.0 * j) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))),
    tuple(
        Box(100.0 * i, 60.0 * j, 100.0 * i + 150.0, 60.0 * j + 100.0)
        for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))
    ),
    ((0, 0), (1, 0), (1, 1), (0, 1)),
)  # fmt: skip
PINS = [
    RegistrationHole(f"r{k}", (x, y), (x, y), 3.0, "locate", 1, 2)
    for k, (x, y) in enumerate([(120.0, 5.0), (130.0, 95.0)])
]
ERRORS = ErrorBudget(HoleErrors.of(PINS, 2, keys=False), None, 0.03)
COARSE = replace(ERRORS, sigma=0.2)


def ring(x0: float, y0: float, x1: float, y1: float) -> Path:
    return Path.lines([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


def lap(path: Path, piece: str = "c1", number: int = 0, placement: int = 0) -> Lap:
    return Lap(path, placement, piece, number, "vee", 0.1)


def survey(*laps: Lap, shift: ShiftPlan = TWO, **more: object) -> LapSurvey:
    return survey_laps(shift, laps, **{"holes": (), **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("box", "shift", "meant", "fits"),
    [
        ((10, 10, 20, 20), TWO, 0, (0,)),
        ((160, 10, 170, 20), TWO, 1, (1,)),
        # in both windows: the pass on whose side of the middle, 125, it lies
        ((110, 10, 139, 20), TWO, 0, (0, 1)),
        ((111, 10, 140, 20), TWO, 1, (0, 1)),
        ((0, 0, 150, 100), TWO, 0, (0,)),
        ((99.9, 10, 150.1, 20), TWO, None, None),
        ((10, 10, 20, 100.1), TWO, None, None),
        ((10, -0.1, 20, 90), TWO, None, None),
        # the middles of a grid are x 125 and y 80
        ((110, 65, 130, 90), GRID, 0, (0, 1, 2, 3)),
        ((120, 65, 140, 90), GRID, 1, (0, 1, 2, 3)),
        ((120, 70, 140, 95), GRID, 2, (0, 1, 2, 3)),
        ((110, 70, 130, 95), GRID, 3, (0, 1, 2, 3)),
        ((120, 80.5, 149, 155), GRID, 2, (2, 3)),
        ((90, 62, 149, 99), GRID, 3, (0, 3)),
    ],
)
def test_a_piece_is_whole_in_a_pass_whose_window_holds_it(
    box: tuple[float, float, float, float],
    shift: ShiftPlan,
    meant: int | None,
    fits: tuple[int, ...] | None,
) -> None:
    seen = survey(lap(ring(*box)), shift=shift)
    assert seen.meant.get((0, "c1")) == meant
    assert seen.fits.get((0, "c1")) == fits


def test_all_laps_of_a_piece_decide_together_and_the_first_run_next_to_it() -> None:
    near, far = lap(ring(20, 20, 140, 30), number=1), lap(ring(10, 10, 151, 40), number=2)
    other = lap(ring(30, 22, 40, 28), number=1)
    seen = survey(far, near, other, lap(ring(160, 10, 170, 20), "c2"))
    assert (0, "c1") not in seen.meant
    assert seen.meant == {(0, "c2"): 1}
    assert seen.first == {(0, "c1"): [near, other], (0, "c2"): [seen.laps_by_piece[0, "c2"][0]]}
    assert seen.owner.tolist() == [0, 0, 1]
    # the lap nearest to a place is that of its piece
    assert seen.owner[seen.tree.nearest(shapely.Point(165.0, 9.0))] == 1


@pytest.mark.parametrize(
    ("x", "bulge", "fits"),
    [(10.02, -1, (0,)), (9.98, -1, None), (9.0, -1, None), (11.0, -1, (0,)), (1.0, 1, (0,))],
)
def test_arcs_are_followed_where_they_decide(
    x: float, bulge: int, fits: tuple[int, ...] | None
) -> None:
    """A half circle of 10 mm reaches 10 mm to the left of its ends, or to the right."""
    half = Path(np.array([(x, 40.0), (x, 60.0), (x, 40.0)]), np.array([bulge, 0.0]))
    assert survey(lap(half)).fits.get((0, "c1")) == fits


@pytest.mark.parametrize(
    ("ends", "inwards"),
    [
        (((11, 60), (11, 40)), (-2, 0)),
        (((139, 40), (139, 60)), (2, 0)),
        (((40, 11), (60, 11)), (0, -2)),
        (((60, 89), (40, 89)), (0, 2)),
    ],
)
def test_an_arc_that_reaches_past_a_window_is_found_on_every_side(
    ends: tuple[Point, Point], inwards: Point
) -> None:
    one = ShiftPlan(0, 0.0, (Pose(),), (Box(0.0, 0.0, 150.0, 100.0),))
    half = np.array(ends, dtype=float)
    for places, fits in ((half, (0,)), (half + np.array(inwards), None)):
        seen = survey(lap(Path(places, np.array([1.0]))), shift=one)
        assert seen.fits.get((0, "c1")) == fits


def test_a_board_that_one_pass_alone_cuts_stays_with_it() -> None:
    both, one = lap(ring(110, 10, 120, 20)), lap(ring(10, 10, 20, 20), "c2")
    away = lap(ring(110, 10, 120, 20), "c3", placement=1)
    seen = survey(both, one, away, sole_pass={0: 1})
    assert seen.meant == {(0, "c1"): 1, (0, "c2"): 0, (1, "c3"): 0}


def hole(at: Point, diameter: float = 1.0, piece: str | None = "c1", **more: object) -> HoleCut:
    return HoleCut(at, diameter, "drill", 2.0, "drill", 0, "h1", piece, **more)  # type: ignore[arg-type]


def test_pads_reach_to_the_first_lap_but_not_across_wide_copper() -> None:
    track = lap(ring(90, 49, 160, 51))
    holes = [
        hole((120.0, 50.0), piece="c9"),  # of copper without a lap
        hole((120.0, 50.5)),  # 0.5 from the lap
        hole((120.0, 50.9)),  # nearer than its own rim
        hole((120.0, 50.0), 0.4),  # as far as twice its diameter, and the lap is farther off
        hole((120.0, 50.0), piece=None),
        HoleCut((120.0, 50.0), 3.0, "drill", 2.0, "register", None, "r1", "c1"),
    ]
    seen = survey(track, holes=holes)
    assert seen.pads == pytest.approx(
        np.array([(120, 50.5, 0.5), (120, 50.9, 0.5), (120, 50, 0.8)])
    )


def test_a_slot_has_pads_all_along() -> None:
    track = lap(ring(90, 49, 160, 51))
    seen = survey(track, holes=[hole((120.0, 50.0), 1.0, end=(121.0, 50.0))])
    assert seen.pads == pytest.approx(np.array([(120, 50, 1.0), (120.5, 50, 1.0), (121, 50, 1.0)]))


def test_where_nothing_is_joined_no_pads_are_looked_for() -> None:
    assert survey(lap(ring(10, 10, 20, 20)), holes=[hole((15.0, 15.0))]).pads.shape == (0, 3)
    assert survey(lap(ring(90, 10, 160, 20))).pads.shape == (0, 3)


def test_pieces_where_windows_overlap_are_pairs() -> None:
    inside = [lap(ring(110, 10, 120, 20)), lap(ring(120.2, 10, 130, 20), "c2")]
    outside = [lap(ring(10, 10, 20, 20), "c3"), lap(ring(20.2, 10, 30, 20), "c4")]
    found = {frozenset((pair.piece[1], pair.other[1])) for pair in survey(*inside, *outside).pairs}
    assert found == {frozenset(("c1", "c2"))}


def test_bounds_are_those_of_the_arcs_that_reach_farthest() -> None:
    round_one, square = Path.circle((5.0, 5.0), 3.0), ring(0, 1, 4, 4)
    assert joins.extent_of([round_one]) == pytest.approx((2, 2, 8, 8), abs=0.003)
    assert joins.extent_of([round_one, square]) == pytest.approx((0, 1, 8, 8), abs=0.003)
    assert joins.extent_of([square]) == (0, 1, 4, 4)
    # arcs within the bounds of others change nothing
    assert joins.extent_of([Path.circle((5.0, 5.0), 1.0), ring(0, 0, 10, 10)]) == (0, 0, 10, 10)
    assert joins.extent(square) == pytest.approx((-0.01, 0.99, 4.01, 4.01))
    x0, y0, x1, y1 = joins.extent(round_one)
    assert 1.98 <= x0 <= 2.0
    assert 1.98 <= y0 <= 2.0
    assert 8.0 <= x1 <= 8.02
    assert 8.0 <= y1 <= 8.02
    half = Path(np.array([(0.0, 0.0), (10.0, 10.0)]), np.array([1.0]))
    _, low, right, _ = joins.extent(half)
    assert 5 + 50**0.5 <= right <= 5.02 + 50**0.5
    assert 4.98 - 50**0.5 <= low <= 5 - 50**0.5
    assert joins.around([(0, 5, 1, 6), (-1, 7, 0.5, 8)]) == (-1, 5, 1, 8)


@pytest.mark.parametrize(
    ("ends", "bounds"),
    [
        (((5, 60), (5, 40)), (-5, 0, 100, 100)),
        (((95, 40), (95, 60)), (0, 0, 105, 100)),
        (((40, 5), (60, 5)), (0, -5, 100, 100)),
        (((60, 95), (40, 95)), (0, 0, 100, 105)),
    ],
)
def test_an_arc_counts_on_the_side_that_it_reaches_past(
    ends: tuple[Point, Point], bounds: tuple[float, float, float, float]
) -> None:
    half = Path(np.array(ends, dtype=float), np.array([1.0]))
    found = joins.extent_of([ring(0, 0, 100, 100), half])
    assert found == pytest.approx(bounds, abs=0.003)


def test_overlaps_hold_both_overruns_a_gap_and_straight_laps() -> None:
    assert joins.least_overlap(0.5, 0.4) == pytest.approx(2 * (0.5 + 0.4 + 1.0) + 2 * 1.5)
    assert joins.near_join(0.4) == pytest.approx(0.6)


def split(path: Path, first: int, *places: tuple[float, int]) -> SplitLap:
    """A lap with joins at these distances, each with the pass that takes over."""
    made, before = [], first
    for distance, after in places:
        made.append(PlannedJoin(distance, path.point_at(distance), before, after, (0.0, 1.0)))
        before = after
    return SplitLap(path, first, tuple(made))


LONG = ring(90, 40, 160, 50)
SPLIT = split(LONG, 0, (30.0, 1), (125.0, 0))
"""From (90, 40): pass 0 to x 120, pass 1 around the right end, pass 0 from x 115 back."""
INNER = split(Path.lines([(100, 45), (150, 45)]), 0, (20.0, 1))
KEY = (0, "c1")
PLAN = JoinPlan({(0, "c2"): 1}, {KEY: (SPLIT, INNER), (0, "c3"): ()})


@pytest.mark.parametrize(
    ("key", "at", "expected"),
    [
        ((0, "c2"), (5, 5), 1),
        ((0, "c3"), (5, 5), None),
        ((0, "c4"), (5, 5), None),
        (KEY, (119, 39), 0),
        (KEY, (121, 39), 1),
        (KEY, (161, 48), 1),
        (KEY, (116, 51), 1),
        (KEY, (114, 51), 0),
        (KEY, (119, 45.5), 0),
        (KEY, (121, 45.5), 1),
    ],
)
def test_the_pass_near_a_place_is_that_of_the_nearest_lap(
    key: tuple[int, str], at: Point, expected: int | None
) -> None:
    assert PLAN.pass_at(key, at) == expected


def test_other_laps_change_over_next_to_the_first() -> None:
    assert PLAN.leads(lap(LONG))
    assert PLAN.leads(lap(INNER.path))
    assert not PLAN.leads(lap(ring(90, 40, 160, 50)))
    assert not PLAN.leads(lap(LONG, "c2"))
    assert PLAN.cuts(lap(LONG), 0.5) == [(30.0, SPLIT.joins[0]), (125.0, SPLIT.joins[1])]
    # a lap 0.4 mm outside of the first has its joins 0.4 mm from those
    outer = lap(ring(89.6, 39.6, 160.4, 50.4), number=1)
    found = PLAN.cuts(outer, 0.6)
    assert [join for _, join in found] == list(SPLIT.joins)
    assert [along for along, _ in found] == pytest.approx([30.4, 70.8 + 10.8 + 45.4])
    assert PLAN.cuts(outer, 0.39) == []
    # from its other end, the later join comes first
    back = lap(Path.lines(outer.path.xy[::-1].tolist()), number=1)
    assert [join for _, join in PLAN.cuts(back, 0.6)] == [SPLIT.joins[1], SPLIT.joins[0]]
    assert [along for along, _ in PLAN.cuts(back, 0.6)] == pytest.approx([10.8 + 25.4, 132.8])


def plan(
    *laps: Lap, holes: Sequence[HoleCut] = (), gap: float = 0.4, errors: ErrorBudget = ERRORS
) -> JoinPlan:
    return joins.plan(survey(*laps, holes=holes), errors, 0.5, gap)


def test_what_fits_is_whole_and_the_rest_is_joined_where_windows_overlap() -> None:
    found = plan(lap(ring(10, 10, 20, 20), "c2"), lap(ring(50, 49, 200, 51)))
    assert found.whole == {(0, "c2"): 0}
    (made,) = found.split_laps[KEY]
    assert [(join.before, join.after) for join in made.joins] == [(0, 1), (1, 0)]
    # inside both windows by overrun, gap and slack
    assert all(101.9 - 1e-6 <= join.at[0] <= 148.1 + 1e-6 for join in made.joins)


def test_a_lap_that_no_window_reaches_has_no_join() -> None:
    assert plan(lap(ring(50, 49, 251, 51))).split_laps[KEY] == ()


def turned(path: Path) -> Path:
    """The same with x and y changed."""
    return Path.lines([(y, x) for x, y in path.xy.tolist()])


SIDES = {"over": (TWO, 51.0, 1), "under": (TWO, 49.0, -1),
         "right": (TALL, 51.0, 1), "left": (TALL, 49.0, -1)}  # fmt: skip
"""Passes along x or along y, a side of a track, and the way out from it."""


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("own", [True, False])
def test_joins_keep_off_pads_of_the_piece_and_of_its_neighbours(side: str, own: bool) -> None:
    shift, edge, out = SIDES[side]
    swap = shift is TALL
    track, other = ring(50, 49, 200, 51), edge + 0.8 * out
    neighbour = ring(50, min(edge + 0.2 * out, edge + 1.4 * out), 200,
                  max(edge + 0.2 * out, edge + 1.4 * out))  # fmt: skip
    free = 138.0
    places = [(x, 50.0 if own else other) for x in np.arange(101, 149.5, 1.5).tolist()
              if abs(x - free) > 3]  # fmt: skip
    pads = [hole((y, x) if swap else (x, y), 1.0, "c1" if own else "c2") for x, y in places]
    laps = [lap(turned(path) if swap else path, piece)
            for path, piece in ((track, "c1"), (neighbour, "c2"))]  # fmt: skip
    seen = survey(*(laps[:1] if own else laps), shift=shift, holes=pads)
    (made,) = joins.plan(seen, ERRORS, 0.5, 0.4).split_laps[KEY]
    here = [at[::-1] if swap else at for at in (join.at for join in made.joins)]
    found = [x for x, y in here if (y - 50) * out > 0]
    assert found
    assert all(abs(x - free) < 3 for x in found)


def test_a_whole_piece_goes_with_the_pass_that_cuts_what_is_next_to_it() -> None:
    """Right of the middle, 125, it would be pass 1; the track next to it is cut by pass 0."""
    track, small = lap(ring(50, 49, 200, 51)), lap(ring(128, 51.1, 136, 53), "c2")
    pads = [hole((x, 50.0)) for x in np.arange(101.0, 141.0, 1.5).tolist()]
    assert plan(small).whole == {(0, "c2"): 1}
    made = plan(track, small, holes=pads, errors=COARSE)
    assert made.pass_at(KEY, (132.0, 51.0)) == 0
    assert made.whole == {(0, "c2"): 0}


def test_a_lap_where_no_nearer_one_runs_is_split_by_itself() -> None:
    first = lap(ring(50, 49, 200, 51))
    neighbour = lap(ring(49.6, 48.6, 200.4, 51.4), number=1)
    stray = lap(Path.lines([(60, 70), (190, 70)]), number=2)
    again = lap(Path.lines([(60, 70.5), (190, 70.5)]), number=3)
    found = plan(again, stray, neighbour, first).split_laps[KEY]
    assert [made.path for made in found] == [first.path, stray.path]


def upper(made: JoinPlan) -> float:
    """Where the upper side of a track changes over."""
    return next(join.at[0] for join in made.split_laps[KEY][0].joins if join.at[1] > 50)


def test_joins_keep_from_other_copper_by_two_gaps_and_the_ticks() -> None:
    track, middle = lap(ring(50, 49, 200, 51)), np.array([(125.0, 50.0)])
    most = QUANTILE * COARSE.sigma * float(COARSE.hole_errors.spread(0, 1, middle)[0])
    reach = 0.8 + wanted(0.4, most)
    assert reach > 0.9
    for errors, near in ((COARSE, reach), (ERRORS, 0.8)):
        alone = upper(plan(track, errors=errors))
        for distance, crowded in ((near - 0.02, True), (near + 0.02, False)):
            # a neighbour along the upper side, but for a stretch
            y = 51 + distance
            others = [
                lap(Path.lines([(a, y), (b, y)]), piece)
                for a, b, piece in ((100, 138, "c2"), (142, 150, "c3"))
            ]
            found = upper(plan(track, *others, errors=errors))
            assert (138 < found < 142) == crowded, (distance, found)
            assert crowded or found == pytest.approx(alone)
