"""Isolation: the asked gap and no more copper lost than that."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from millprep.geometry.path import SAGITTA
from millprep.model.cutter import EndMill, Vee
from millprep.toolpaths.isolation import GOUGE, LapSpacing, _paths, isolate
from tests.helpers.chance import examples
from tests.helpers.islands import islands, shapes, swept
from tests.helpers.workshop import COPPER, disc, isolation, less, mill, one, vee

EDGE = shapely.box(-50, -50, 50, 50)
QUICK = examples(25)


@pytest.mark.parametrize("cutter", [vee(), vee(tip=0.2, angle=60.0), mill(0.3), mill(0.1)])
@pytest.mark.parametrize("gap", [0.25, 0.4, 1.0])
def test_the_gap_is_opened_at_the_foot_and_not_more(cutter: Vee | EndMill, gap: float) -> None:
    """The band around a convex land is P (r2 - r1) + pi (r2² - r1²): Steiner's formula."""
    plan = isolation(cutter, gap=gap)
    laps, tight = isolate(islands(shapely.box(0, 0, 10, 10)), EDGE, plan, COPPER)
    surface, foot = cutter.width(plan.depth), cutter.width(plan.depth, COPPER)
    r1 = (surface - foot) / 2
    r2 = r1 + max(gap, foot)
    exact = 40 * (r2 - r1) + math.pi * (r2**2 - r1**2)
    band = swept(laps, [cutter], COPPER, plan)
    assert band.area == pytest.approx(exact, rel=2e-3)
    assert len(shapely.get_parts(band)) == 1
    # laps overlap: nothing stands between them
    lap = shapely.box(0, 0, 10, 10)
    inside = shapely.Polygon(one(band).exterior).difference(band)
    assert inside.area == pytest.approx(lap.buffer(r1, quad_segs=64).area, abs=0.05)
    # the copper itself keeps its size at the surface
    assert swept(laps, [cutter], 0.0, plan).intersection(lap).area < 40 * SAGITTA
    assert not tight


def test_laps_are_as_few_as_the_overlap_allows() -> None:
    def laps_for(gap: float) -> LapSpacing:
        plan = isolation(mill(0.3), gap=gap, overlap=0.2)
        return LapSpacing.for_gap(plan.uses[0], plan, COPPER)

    laps = laps_for(0.78)
    assert laps.distances == pytest.approx((0.15, 0.39, 0.63))
    assert laps.pitch == pytest.approx(0.24)
    assert len(laps_for(0.77).distances) == 3
    assert len(laps_for(0.5).distances) == 2
    single = laps_for(0.2)
    assert single.distances == (0.15,)
    assert single.pitch == 0.3


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_a_climbing_cutter_has_the_copper_on_its_right(direction: str) -> None:
    """Climb milling with a spindle that turns clockwise: the trade's definition."""
    land = less(shapely.box(-10, -10, 10, 10), disc(0, 0, 5))
    plan = isolation(direction=direction)
    laps, _ = isolate(islands(land), EDGE, plan, COPPER)
    assert {r.number for r in laps} == {0, 1, 2, 3}
    sides = 1 if direction == "climb" else -1
    for lap in laps:
        reach = 0.2 + vee().width(plan.depth) / 2 + lap.number * 0.2
        for s in (0.1, 0.4, 0.77):
            at = s * lap.path.length
            (x0, y0), (x1, y1) = lap.path.point_at(at), lap.path.point_at(at + 0.01)
            right = ((y1 - y0) / 0.01, -(x1 - x0) / 0.01)
            there = (x0 + sides * reach * right[0], y0 + sides * reach * right[1])
            other = (x0 - sides * reach * right[0], y0 - sides * reach * right[1])
            assert land.contains(shapely.Point(there))
            assert not land.contains(shapely.Point(other))


def test_a_land_with_a_hole_is_isolated_inside_too() -> None:
    land = less(disc(0, 0, 8), disc(0, 0, 3))
    plan = isolation()
    laps, _ = isolate(islands(land), EDGE, plan, COPPER)
    inner = [r for r in laps if r.path.length < 2 * math.pi * 5]
    assert len(inner) == len(laps) / 2 == 4
    for lap in inner:
        radius = lap.path.length / 2 / math.pi
        step = (lap.number * (0.4 - vee().width(0.1, COPPER))) / 3
        assert radius == pytest.approx(3 - vee().width(0.1) / 2 - step, abs=0.003)
        assert len(lap.path) == 2


def test_a_hole_too_small_for_the_cutter_stays_as_it_is() -> None:
    """Nothing stands in it, so nothing needs to be set apart from it."""
    land = less(disc(0, 0, 8), disc(0, 0, 0.06))
    laps, tight = isolate(islands(land), EDGE, isolation(), COPPER)
    assert len(laps) == 4
    assert not tight


def test_laps_beyond_the_edge_of_the_board_are_dropped() -> None:
    board = shapely.box(0, 0, 20, 20)
    plan = isolation(gap=1.5)
    laps, _ = isolate(islands(shapely.box(0.3, 5, 10, 10)), board, plan, COPPER)
    surface = vee().width(plan.depth)
    allowed = board.buffer(surface + SAGITTA)
    assert all(allowed.contains(r.path.line()) for r in laps)
    assert not all(r.path.closed for r in laps)
    # what lies on the board is cleared to the full gap all the same
    foot = swept(laps, [vee()], COPPER, plan)
    r1 = (surface - vee().width(plan.depth, COPPER)) / 2
    land = shapely.box(0.3, 5, 10, 10)
    wanted = land.buffer(r1 + 1.5 - 0.005).difference(land.buffer(r1 + 0.005)).intersection(board)
    assert wanted.difference(foot).area < 1e-6


def test_copper_that_touches_the_edge_of_the_board() -> None:
    board = shapely.box(0, 0, 20, 20)
    land = shapely.box(0, 5, 10, 10)
    laps, tight = isolate(islands(land), board, isolation(), COPPER)
    assert not tight
    first = [r for r in laps if r.number == 0]
    assert len(first) == 1
    assert first[0].path.closed
    clear = land.buffer(0.3).difference(land.buffer(0.03)).intersection(board)
    assert clear.difference(swept(laps, [vee()], COPPER, isolation())).area < 1e-6


def pair(gap: float) -> tuple[shapely.Polygon, shapely.Polygon]:
    """Two long lands that stand `gap` apart over 4 mm of their length and 3 mm elsewhere."""
    low = shapely.box(-20, -5, 20, 0)
    high = shapely.union_all([shapely.box(-20, 3, 20, 8), shapely.box(-2, gap, 2, 3)])
    return low, one(high)


def test_the_finer_cutter_works_only_where_the_wider_does_not_fit() -> None:
    fine, wide = vee(), mill(0.5, "wide")
    plan = isolation(fine, wide)
    low, high = pair(0.3)
    laps, tight = isolate(islands(low, high), EDGE, plan, COPPER)
    assert not tight
    assert laps[0].cutter == "wide"
    names = [r.cutter for r in laps]
    assert names == sorted(names, reverse=True)
    fine_rings = [r for r in laps if r.cutter == "vee"]
    assert fine_rings
    assert all(abs(x) < 3.5 for r in fine_rings for x in r.path.xy[:, 0])
    # and the two together clear the place from side to side
    foot = swept(laps, [fine, wide], COPPER, plan)
    between = shapely.box(-1.9, 0.02, 1.9, 0.28)
    assert between.difference(foot).area < 1e-6
    assert {r.number for r in laps if r.cutter == "wide"} == {0}


def test_one_cutter_that_fits_everywhere_is_enough() -> None:
    low, high = pair(0.6)
    laps, tight = isolate(islands(low, high), EDGE, isolation(vee(), mill(0.5, "wide")), COPPER)
    assert {r.cutter for r in laps} == {"wide"}
    assert not tight


@pytest.mark.parametrize("gap", [0.0, 0.05, 0.1, 0.14])
def test_a_gap_too_tight_for_all_is_reported_once_with_its_distance(gap: float) -> None:
    low, high = pair(gap)
    if gap == 0:
        low, high = shapely.box(-20, -5, 20, 0), shapely.box(-2, 0, 2, 6)
    _, tight = isolate(islands(low, high), EDGE, isolation(), COPPER)
    assert len(tight) == 1
    (result,) = tight
    assert result.gap == pytest.approx(gap, abs=1e-9)
    assert result.width == pytest.approx(vee().width(0.1))
    assert {i.piece for i in result.pieces} == {"c1", "c2"}
    assert abs(result.at[0]) <= 2.1
    assert -0.01 <= result.at[1] <= gap + 0.01


def test_two_tight_places_between_the_same_pieces_are_two() -> None:
    low = shapely.box(-20, -5, 20, 0)
    teeth = [shapely.box(x, 0.1 + y, x + 2, 3) for x, y in ((-10, 0.0), (6, 0.02))]
    high = shapely.union_all([shapely.box(-20, 3, 20, 8), *teeth])
    _, tight = isolate(islands(low, one(high)), EDGE, isolation(), COPPER)
    assert sorted(round(t.gap, 6) for t in tight) == [0.1, 0.12]


@pytest.mark.law
@QUICK
@given(
    st.lists(st.tuples(shapes, st.integers(-20, 20), st.integers(-20, 20)), min_size=2, max_size=5),
    st.sampled_from([(vee(),), (vee(), mill(0.5, "wide")), (mill(0.3),)]),
)
def test_no_lap_gouges_copper(
    drawn: list[tuple[shapely.Polygon, int, int]], cutters: tuple[Vee | EndMill, ...]
) -> None:
    lands: list[shapely.Polygon] = []
    for shape, x, y in drawn:
        moved = affinity.translate(shape, x / 10, y / 10)
        if all(land.distance(moved) > 0 for land in lands):
            lands.append(moved)
    plan = isolation(*cutters)
    laps, tight = isolate(islands(*lands), EDGE, plan, COPPER)
    surface = swept(laps, cutters, 0.0, plan)
    for land in lands:
        assert surface.intersection(land.buffer(-GOUGE - 2 * SAGITTA)).area < 1e-9
    if not tight:
        # nothing joins two lands any more
        copper = EDGE.difference(swept(laps, cutters, COPPER, plan))
        parts = shapely.get_parts(copper)
        holders = [
            [n for n, part in enumerate(parts) if part.intersection(land).area > 1e-3]
            for land in lands
        ]
        assert all(len(set(a) & set(b)) == 0 for a, b in pairwise(holders))


def test_the_gouge_test_can_fail() -> None:
    land = shapely.box(0, 0, 1, 1)
    laps, _ = isolate(islands(land), EDGE, isolation(), COPPER)
    blunt = swept(laps, [vee(tip=0.12)], 0.0, isolation())
    assert blunt.intersection(land.buffer(-GOUGE - 2 * SAGITTA)).area > 1e-3


def test_what_is_left_of_a_lap_between_neighbours_is_no_crumb() -> None:
    """Between the zones of two pieces above 0.01 mm of the lap are left, and dropped."""
    wide = 0.2
    bar, zone = shapely.box(-5, -1, 5, 0), wide / 2 - GOUGE
    for left, count in ((0.01, 0), (0.03, 1)):
        # corners 0.05 mm above the lap
        half = math.sqrt(zone**2 - 0.05**2) + left / 2
        above = [shapely.box(half, 0.15, 3, 2), shapely.box(-3, 0.15, -half, 2)]
        laps, tight = isolate(islands(bar, *above), EDGE, isolation(mill(wide), gap=0.2), COPPER)
        between = [
            lap
            for lap in laps
            if lap.piece == "c1" and lap.path.length < 1 and abs(lap.path.start[0]) < 0.1
        ]
        assert len(between) == count
        assert [gap.pieces[0].piece for gap in tight] == ["c1", "c1"]
        assert [gap.gap for gap in tight] == pytest.approx([0.15, 0.15])


@pytest.mark.parametrize(("narrower", "reports"), [(-1e-5, []), (1e-4, ["c2"]), (0.02, ["c1"])])
def test_a_lap_that_a_neighbour_hardly_touches_lacks_nothing(
    narrower: float, reports: list[str]
) -> None:
    """A tip takes a crumb of the bar's lap, and the bar 0.08 mm of the tip's: that one reports."""
    low = 0.2 - GOUGE - narrower
    tip = shapely.Polygon([(0, low), (0.1, low + 2), (-0.1, low + 2)])
    bar = shapely.box(-5, -1, 5, 0)
    _, tight = isolate(islands(bar, tip), EDGE, isolation(mill(0.2), gap=0.2), COPPER)
    assert [gap.pieces[0].piece for gap in tight] == reports
    assert [gap.gap for gap in tight] == pytest.approx([low] * len(reports))


@pytest.mark.parametrize("climb", [True, False])
def test_a_piece_of_a_lap_runs_as_its_lap_however_it_was_cut(climb: bool) -> None:
    boundary = shapely.LinearRing([(0, 0), (10, 0), (10, 10), (0, 10)])
    for way in ([(2.0, 0.0), (8.0, 0.0)], [(8.0, 0.0), (2.0, 0.0)]):
        (path,) = _paths(shapely.LineString(way), boundary, climb)
        assert (path.start, path.end) == (
            ((8.0, 0.0), (2.0, 0.0)) if climb else ((2.0, 0.0), (8.0, 0.0))
        )
    for ring in (boundary.coords, list(boundary.coords)[::-1]):
        (path,) = _paths(shapely.LineString(ring), boundary, climb)
        assert shapely.LinearRing(path.flattened()).is_ccw != climb
