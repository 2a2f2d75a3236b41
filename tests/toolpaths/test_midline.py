"""Isolation in the middle of gaps: nothing joined, nothing gouged, as far from one as the other."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from shapely import affinity

from fixtures.valve_boards import valve_board
from millprep.geometry.medial_axis import medial_axis
from millprep.model.cut import Lap
from millprep.model.cutter import Cutter, EndMill, Vee
from millprep.model.job.isolation import IsolationPlan
from millprep.toolpaths.isolation import GOUGE, Island
from millprep.toolpaths.medial_chains import MedialChain, extended
from millprep.toolpaths.midline import MedialLaps, _paths, isolate_along_medial_axis
from tests.helpers.chance import examples
from tests.helpers.islands import islands, swept
from tests.helpers.workshop import COPPER, disc, isolation, less, mill, one, vee

EDGE = shapely.box(-10, -10, 10, 10)
SMALL = shapely.box(-4, -4, 4, 4)
CENTRED = 0.005
QUICK = examples(30)


def in_the_middle(
    shapes: Sequence[shapely.Polygon], plan: IsolationPlan, edge: shapely.Polygon = EDGE
) -> list[Lap]:
    laps, tight = isolate_along_medial_axis(islands(*shapes), {0: edge}, plan, COPPER)
    assert not tight
    return list(laps)


def joined(
    shapes: Sequence[shapely.Polygon],
    laps: Sequence[Lap],
    cutters: Sequence[Cutter],
    plan: IsolationPlan,
    edge: shapely.Polygon = EDGE,
) -> list[tuple[int, int]]:
    """Pairs of lands that one part of the copper left holds, at the foot."""
    parts = shapely.get_parts(edge.difference(swept(laps, cutters, COPPER, plan)))
    tree = shapely.STRtree(parts)
    held = [set(tree.query(land.buffer(-0.01), predicate="intersects").tolist()) for land in shapes]
    return [(a, b) for a, b in itertools.combinations(range(len(shapes)), 2) if held[a] & held[b]]


def gouged(
    shapes: Sequence[shapely.Polygon],
    laps: Sequence[Lap],
    cutters: Sequence[Cutter],
    plan: IsolationPlan,
) -> float:
    """Area of copper taken from lands beyond the 3 µm allowed."""
    surface = swept(laps, cutters, 0.0, plan)
    return max((surface.intersection(land.buffer(-GOUGE)).area for land in shapes), default=0.0)


def test_laps_across_a_gap_are_as_few_as_the_overlap_allows() -> None:
    assert MedialLaps.of(0.3, 0.2, 0.2) == MedialLaps((), True)
    assert MedialLaps.of(0.3, 0.5, 0.2) == MedialLaps((0.1,), False)
    three = MedialLaps.of(0.3, 0.78, 0.2)
    assert three.pairs == pytest.approx((0.24,))
    assert three.centre
    four = MedialLaps.of(0.3, 1.02, 0.2)
    assert four.pairs == pytest.approx((0.36, 0.12))
    assert not four.centre


def test_between_parallel_edges_the_middle_is_a_straight_line() -> None:
    low, high = shapely.box(-8, -8, 8, -1), shapely.box(-8, 0, 8, 8)
    laps = in_the_middle([low, high], isolation(gap=0.1))
    between = shapely.MultiLineString([r.path.line() for r in laps]).intersection(
        shapely.box(-7.9, -1, 7.9, 0)
    )
    xy = shapely.get_coordinates(shapely.line_merge(between))
    assert len(xy) == 2
    assert np.abs(xy[:, 1] + 0.5).max() < 1e-6


def test_around_a_land_in_a_round_hole_the_middle_is_a_circle() -> None:
    outer = less(EDGE, disc(0, 0, 3))
    laps, _ = isolate_along_medial_axis(
        islands(disc(0, 0, 2), outer), {0: EDGE}, isolation(gap=0.1), COPPER
    )
    (one,) = laps
    assert one.path.closed
    assert one.path.length == pytest.approx(2 * math.pi * 2.5, abs=0.01)
    assert np.abs(np.hypot(*one.path.flattened().T) - 2.5).max() < CENTRED


def test_between_a_point_and_a_line_the_middle_is_a_parabola() -> None:
    """As far from focus as from directrix: y = (x² + p²) / 2p; the definition of the curve."""
    wall, dot = shapely.box(-10, -10, 10, 0), shapely.Point(0, 4).buffer(1e-3)
    net = medial_axis([wall, dot])
    x, y = net.places[np.abs(net.places[:, 0]) < 8].T
    assert len(x) > 20
    p, r = 4.0, 1e-3
    # the disc's radius moves the focus' circle: sqrt(x² + (y - p)²) - r = y
    exact = (x**2 + p**2 - r**2) / (2 * (p + r))
    assert np.abs(y - exact).max() < 1e-5


@pytest.mark.parametrize("gap", [0.1, 0.2, 0.3, 0.4])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_valve_board_comes_apart_and_no_copper_is_gouged(seed: int, gap: float) -> None:
    board = valve_board(seed, 90.0).board
    shapes = [piece.shape for piece in board.pieces]
    plan = isolation(gap=gap)
    laps = in_the_middle(shapes, plan, board.outline)
    assert joined(shapes, laps, [vee()], plan, board.outline) == []
    assert gouged(shapes, laps, [vee()], plan) == 0
    # the gap is opened all along: what is left stands so far apart
    parts = shapely.get_parts(board.outline.difference(swept(laps, [vee()], COPPER, plan)))
    large = parts[shapely.area(parts) > 0.5]
    assert len(large) == len(shapes) + 1
    wide = max(gap, vee().width(plan.depth, COPPER))
    near = min(
        float(one.distance(other)) for one, other in itertools.combinations(large.tolist(), 2)
    )
    assert near == pytest.approx(wide, abs=0.004)
    # and nothing stands between, the rounding of curves apart
    assert parts[shapely.area(parts) > 1e-5].size == len(large)


def off_centre(
    laps: Sequence[Lap], shapes: Sequence[shapely.Polygon], edge: shapely.Polygon
) -> float:
    """The most by which any place of the laps is nearer to one side than to the other, halved."""
    sides = np.array([*shapes, edge.boundary], dtype=object)
    worst = 0.0
    for lap in laps:
        # the ends lie a little beyond the curve they meet
        path, ends = lap.path, 0.0 if lap.path.closed else 0.2
        if path.length <= 2 * ends:
            continue
        path = path.part(ends, path.length - ends)
        line = path.line(2e-4)
        places = shapely.get_coordinates(shapely.segmentize(line, 0.03))
        places = places[shapely.contains_xy(edge, *places.T)]
        points = np.asarray(shapely.points(places))
        away = np.sort(shapely.distance(points[:, None], sides[None, :]), axis=1)
        worst = max(worst, float((away[:, 1] - away[:, 0]).max(initial=0.0)) / 2)
    return worst


def test_laps_keep_to_the_middle() -> None:
    board = valve_board(4, 50.0).board
    shapes = [piece.shape for piece in board.pieces]
    laps = in_the_middle(shapes, isolation(gap=0.1), board.outline)
    assert off_centre(laps, shapes, board.outline) < CENTRED


def test_a_lap_off_the_middle_is_seen() -> None:
    low, high = shapely.box(-10, -10, 10, -1), shapely.box(-10, 0, 10, 10)
    wider = shapely.box(-10, -10, 10, -1.012)
    laps = in_the_middle([low, high], isolation(gap=0.1))
    assert off_centre(laps, [wider, high], EDGE) > CENTRED


lands = st.one_of(
    st.tuples(st.integers(5, 30), st.integers(5, 30), st.integers(0, 90)).map(
        lambda t: affinity.rotate(shapely.box(0, 0, t[0] / 10, t[1] / 10), t[2])
    ),
    st.integers(3, 15).map(lambda r: disc(0, 0, r / 10)),
    st.integers(5, 40).map(
        lambda n: shapely.LineString([(0, 0), (n / 10, n / 20), (n / 10, 3)]).buffer(0.25)
    ),
    st.integers(6, 15).map(lambda r: less(disc(0, 0, r / 10), disc(0, 0, r / 10 - 0.4))),
)


gaps = st.sampled_from([0.1, 0.25, 0.5])
cutter_sets = st.sampled_from([(vee(),), (vee(), mill(0.5, "wide")), (mill(0.3),)])
TILTED = affinity.rotate(shapely.box(0, 0, 1.6, 2.8), 48)
STUBBORN = [
    (affinity.rotate(shapely.box(0, 0, 3, 0.5), 61), -41, -47),
    (disc(0, 0, 0.7), 69, -67),
    (affinity.rotate(shapely.box(0, 0, 1.5, 1.6), 58), -60, -57),
    (affinity.rotate(shapely.box(0, 0, 2.9, 3), 1), 40, -23),
    (shapely.LineString([(0, 0), (0.8, 0.4), (0.8, 3)]).buffer(0.25), -65, 26),
]
"""GEOS 3.14 finds no triangles between the samples of these."""


@pytest.mark.law
@QUICK
@given(
    st.lists(st.tuples(lands, st.integers(-70, 70), st.integers(-70, 70)), min_size=2, max_size=7),
    gaps,
    cutter_sets,
)
# none of them lies on the board
@example([(TILTED, 0, 90), (TILTED, 0, 90)], 0.1, (vee(),))
@example(STUBBORN, 0.1, (vee(),))
# its corner comes nearer to the edge than the cutter is wide
@example([(TILTED, 7, 66)], 0.1, (vee(), mill(0.5, "wide")))
def test_lands_of_any_shape_come_apart(
    drawn: list[tuple[shapely.Polygon, int, int]], gap: float, cutters: tuple[Vee | EndMill, ...]
) -> None:
    shapes: list[shapely.Polygon] = []
    for shape, x, y in drawn:
        moved = affinity.translate(shape, x / 10, y / 10)
        if all(land.distance(moved) > 0.32 for land in shapes) and EDGE.contains(moved):
            shapes.append(moved)
    plan = isolation(*cutters, gap=gap)
    laps = in_the_middle(shapes, plan)
    assert joined(shapes, laps, cutters, plan) == []
    assert gouged(shapes, laps, cutters, plan) == 0


@QUICK
@given(
    st.lists(st.tuples(lands, st.integers(-40, 40), st.integers(-40, 40)), min_size=1, max_size=7),
    gaps,
    cutter_sets,
)
def test_lands_at_the_edge_come_apart(
    drawn: list[tuple[shapely.Polygon, int, int]], gap: float, cutters: tuple[Vee | EndMill, ...]
) -> None:
    """Lands whose copper the board's edge cuts off, as a plane's is."""
    shapes: list[shapely.Polygon] = []
    for shape, x, y in drawn:
        cut = affinity.translate(shape, x / 10, y / 10).intersection(SMALL)
        apart = all(land.distance(cut) > 0.32 for land in shapes)
        if isinstance(cut, shapely.Polygon) and cut.area > 0.3 and apart:
            shapes.append(cut)
    plan = isolation(*cutters, gap=gap)
    laps = in_the_middle(shapes, plan, SMALL)
    assert joined(shapes, laps, cutters, plan, SMALL) == []
    assert gouged(shapes, laps, cutters, plan) == 0


@pytest.mark.parametrize(
    ("shapes", "gap"),
    [
        # the lap between it and the right edge must not end over the upper one
        ([shapely.Polygon([(8, 8), (9.8, 9.97), (9.85, 10), (7, 10)])], 0.25),
        # the edge between them bears no samples, so the lap between them ends beyond it
        ([one(disc(9.8, 0.7, 0.6) & EDGE), one(disc(9.6, -1.5, 1.2) & EDGE)], 0.5),
    ],
)
def test_copper_at_the_edge_is_not_gouged(shapes: list[shapely.Polygon], gap: float) -> None:
    plan = isolation(gap=gap)
    laps = in_the_middle(shapes, plan)
    assert joined(shapes, laps, [vee()], plan) == []
    assert gouged(shapes, laps, [vee()], plan) == 0


def test_edges_on_a_grid_have_a_middle() -> None:
    """Their samples lie on a grid too, where many triangles fit equally well."""
    shapes = [shapely.box(-5, -5, 0, 5), shapely.box(0.5, -5, 5, 5)]
    cutters = [mill(0.5, "wide")]
    plan = isolation(*cutters, gap=0.1)
    laps = in_the_middle(shapes, plan)
    assert sorted(lap.path.closed for lap in laps) == [False, True]
    assert joined(shapes, laps, cutters, plan) == []
    assert gouged(shapes, laps, cutters, plan) == 0


@pytest.mark.parametrize("lacking", [0.0, 0.003, 0.004, 0.005, 0.006])
@pytest.mark.parametrize("radius", [0.25, 0.4, 1.0])
def test_a_cutter_hardly_wider_than_the_gap_gouges_nothing(radius: float, lacking: float) -> None:
    for low in (disc(0, -radius, radius), shapely.box(-1, -2, 1, 0)):
        shapes = [low, disc(0, 0.5 - lacking + 2, 2)]
        cutters: list[Vee | EndMill] = [vee(), mill(0.5, "wide")]
        plan = isolation(*cutters, gap=0.1)
        laps = in_the_middle(shapes, plan)
        (used,) = {lap.cutter for lap in laps}
        # curves are chords, of the disc as of the lap: 2 µm of what may lack are left open
        lacks = 0.5 - shapes[0].distance(shapes[1])
        assert used == "wide" or lacks > 0.002
        assert used == "vee" or lacks <= 0.004
        assert gouged(shapes, laps, cutters, plan) == 0


def test_the_test_for_what_is_joined_can_fail() -> None:
    shapes = [disc(-1, 0, 0.8), disc(1, 0, 0.8), disc(0, 2, 0.8)]
    plan = isolation(gap=0.1)
    laps = in_the_middle(shapes, plan)
    assert joined(shapes, laps, [vee()], plan) == []
    assert joined(shapes, laps[1:], [vee()], plan) != []


def test_copper_that_touches_the_edge_needs_no_cut_there() -> None:
    edge = shapely.box(0, 0, 20, 20)
    low, high = shapely.box(0, 5, 10, 10), shapely.box(0, 12, 10, 15)
    plan = isolation(gap=0.1)
    laps = in_the_middle([low, high], plan, edge)
    assert joined([low, high], laps, [vee()], plan, edge) == []
    assert gouged([low, high], laps, [vee()], plan) == 0


@pytest.mark.parametrize("gap", [0.05, 0.1, 0.13])
def test_a_gap_too_tight_is_reported_once(gap: float) -> None:
    low = shapely.box(-8, -5, 8, 0)
    high = shapely.union_all([shapely.box(-8, 3, 8, 8), shapely.box(-2, gap, 2, 3)])
    assert isinstance(high, shapely.Polygon)
    _, tight = isolate_along_medial_axis(islands(low, high), {0: EDGE}, isolation(gap=0.1), COPPER)
    (result,) = tight
    assert result.gap == pytest.approx(gap, abs=1e-6)
    assert result.width == pytest.approx(vee().width(0.1))
    assert abs(result.at[0]) <= 2.2


def test_the_widest_cutter_that_fits_everywhere_serves_the_board() -> None:
    shapes = [disc(-1.3, 0, 1), disc(1.3, 0, 1)]
    plan = isolation(vee(), mill(0.5, "wide"), gap=0.1)
    assert {lap.cutter for lap in in_the_middle(shapes, plan)} == {"wide"}
    near = [disc(-1.2, 0, 1), disc(1.2, 0, 1)]
    assert {lap.cutter for lap in in_the_middle(near, plan)} == {"vee"}


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("gap", [0.1, 0.3])
def test_a_climbing_cutter_has_its_copper_on_its_right(direction: str, gap: float) -> None:
    shapes = [disc(-3, 0, 2), disc(3, 0, 2), disc(0, 6, 2)]
    laps = in_the_middle(shapes, isolation(direction=direction, gap=gap))
    named = {f"c{n}": shape for n, shape in enumerate(shapes, 1)}
    for lap in laps:
        if lap.path.closed and len(shapes) == sum(
            shapely.Polygon(lap.path.flattened()).contains(shape) for shape in shapes
        ):
            # the side of the rim has the rim on its right
            continue
        (x0, y0), (x1, y1) = lap.path.point_at(1.0), lap.path.point_at(1.001)
        to = named[lap.piece].centroid
        side = (x1 - x0) * (to.y - y0) - (y1 - y0) * (to.x - x0)
        assert (side < 0) == (direction == "climb")


def test_two_copies_on_a_blank_are_each_their_own() -> None:
    outlines = {0: shapely.box(0, 0, 10, 10), 1: shapely.box(20, 0, 30, 10)}
    here = [
        Island(k, f"c{n}", disc(x + 20 * k, 5, 1.5))
        for k in (0, 1)
        for n, x in enumerate((3, 7), 1)
    ]
    laps, _ = isolate_along_medial_axis(here, outlines, isolation(gap=0.1), COPPER)
    for k in (0, 1):
        mine = [lap for lap in laps if lap.placement == k]
        assert mine
        assert all(outlines[k].buffer(0.2).contains(lap.path.line()) for lap in mine)


def test_a_board_that_copper_fills_has_no_gap_to_cut() -> None:
    """Nor has one gap of a single lap a place where three meet."""
    for gap in (0.1, 0.2, 0.3):
        assert in_the_middle([EDGE], isolation(gap=gap)) == []


def test_crumbs_of_a_lap_are_dropped() -> None:
    crumbs = shapely.MultiLineString([[(0, 0), (5, 0)], [(6, 0), (6.01, 0)], [(7, 0), (7.03, 0)]])
    assert [path.length for path in _paths(crumbs)] == pytest.approx([5.0, 0.03])


BOARD = shapely.box(0, 0, 10, 10)


@pytest.mark.parametrize(
    ("ends", "reaches", "longer"),
    [
        # over the curve that an end meets, as far as copper leaves room
        ((2.0, 8.0), (0.3, 0.12), (1.9, 8.07)),
        ((2.0, 8.0), (0.05, 0.04), (2.0, 8.0)),
        # over the board's edge by the width of the cut
        ((1.0, 9.0), (None, None), (-0.1, 10.1)),
        ((0.0, 10.0), (None, None), (-0.1, 10.1)),
        ((1e-9, 10.0 - 1e-9), (None, None), (-0.1, 10.1)),
        ((-0.04, 10.04), (None, None), (-0.1, 10.1)),
        ((-0.2, 10.2), (None, None), (-0.2, 10.2)),
    ],
)
def test_ends_of_chains_go_on(
    ends: tuple[float, float],
    reaches: tuple[float | None, float | None],
    longer: tuple[float, float],
) -> None:
    chain = MedialChain(np.array([[ends[0], 5.0], [5.0, 5.0], [ends[1], 5.0]]), 0, reaches)
    points = extended(chain, BOARD, 0.1)
    assert (points[0, 0], points[-1, 0]) == pytest.approx(longer, abs=1e-6)
    assert points[:, 1] == pytest.approx(5.0, abs=1e-6)


def test_a_closed_chain_has_no_ends() -> None:
    ring = np.array([[4.0, 4.0], [6.0, 4.0], [5.0, 6.0], [4.0, 4.0]])
    assert extended(MedialChain(ring, 0, (0.3, 0.3)), BOARD, 0.1) is ring
