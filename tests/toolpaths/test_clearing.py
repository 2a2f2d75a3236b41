"""Clearing: what was to go is gone, what stays is not touched, wide cutters do most of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from fixtures.valve_boards import valve_board
from millprep.geometry.offset import offsets
from millprep.model.cut import Clearing
from millprep.model.cutter import Cutter
from millprep.toolpaths.clearing import Cleared, clear
from millprep.toolpaths.isolation import GOUGE, isolate
from tests.helpers.chance import examples
from tests.helpers.islands import islands, swept
from tests.helpers.workshop import COPPER, disc, isolation, less, mill, vee

DEPTH = 0.1
FINE = 0.015
"""What stays may be as thin as this, mm: curves are rounded to 2 µm on either side."""
QUICK = examples(25)


def cleared(
    area: BaseGeometry,
    keep: Sequence[shapely.Polygon] = (),
    cutters: Sequence[Cutter] = (mill(0.8),),
    overlap: float = 0.2,
    beyond: float = 0.1,
    direction: str = "climb",
) -> Cleared:
    return clear(
        area, keep, cutters, depth=DEPTH, copper=COPPER, overlap=overlap,
        direction="climb" if direction == "climb" else "conventional", placement=0, beyond=beyond,
    )  # fmt: skip


def taken(clearings: Sequence[Clearing], cutters: Sequence[Cutter], level: float) -> BaseGeometry:
    """Two lines at a time: around more that cross or touch each other GEOS makes mistakes."""
    named = {cutter.name: cutter for cutter in cutters}
    swept = []
    for one in clearings:
        xy = shapely.get_coordinates(one.path.line(2e-4))
        pieces = [shapely.LineString(xy[k : k + 3]) for k in range(0, len(xy) - 1, 2)]
        radius = named[one.cutter].width(DEPTH, level) / 2
        swept += shapely.buffer(pieces, radius, quad_segs=64).tolist()
    return shapely.union_all(swept)


def coarse(area: BaseGeometry) -> float:
    """Area of what of an area is thicker than `FINE`."""
    thick = shapely.buffer(shapely.buffer(area, -FINE / 2), FINE / 2)
    return float(thick.area)


def reachable(
    area: BaseGeometry, keep: Sequence[shapely.Polygon], cutter: Cutter, spare: float
) -> BaseGeometry:
    """What of an area a cutter can take that stays this much clear of copper."""
    distance = cutter.width(DEPTH) / 2 + spare + 0.002
    axis = area.envelope.buffer(1).difference(shapely.union_all(offsets(keep, distance)))
    foot = cutter.width(DEPTH, COPPER) / 2
    return area.intersection(shapely.buffer(axis, foot, quad_segs=32))


def length(clearings: Sequence[Clearing], name: str) -> float:
    return sum(one.path.length for one in clearings if one.cutter == name)


@pytest.mark.parametrize("cutter", [mill(0.8), mill(1.5), vee(), vee(tip=0.3, angle=60)])
def test_an_open_area_goes_whole_and_hardly_more(cutter: Cutter) -> None:
    area = shapely.box(0, 0, 7, 4)
    done = cleared(area, cutters=[cutter], beyond=0.05)
    foot = taken(done.clearings, [cutter], COPPER)
    assert coarse(area.difference(foot)) == 0
    assert done.left.area < 1e-3
    # not farther beyond its edge than allowed, but in the corners, where a round cutter must
    corners = shapely.MultiPoint(list(area.exterior.coords)).buffer(cutter.width(DEPTH, COPPER))
    assert area.buffer(0.05 + 0.003).union(corners).contains(foot)


def test_laps_are_as_few_as_the_overlap_allows() -> None:
    """A disc needs rings in steps of the pitch, the inmost no wider than the cutter."""
    area = disc(0, 0, 5)
    done = cleared(area, cutters=[mill(1.0)], overlap=0.2, beyond=0.1)
    radii = [5 - 0.5 + 0.1 - 0.8 * k for k in range(6)]
    # run in one go: five ways of a pitch each lead from ring to ring, and a turn no longer than
    # that of the 0.1 mm left in the middle ends it
    (one,) = done.clearings
    laps = sum(2 * math.pi * radius for radius in radii) + 5 * 0.8
    assert laps < one.path.length < laps + 2 * math.pi * 0.1 + 0.8
    away = np.hypot(*one.path.xy.T)
    assert all(np.abs(away - radius).min() < 0.005 for radius in radii)


def test_what_stays_is_not_touched_and_a_finer_cutter_does_what_the_wider_left() -> None:
    """A slit of 0.5 mm leads into a wide bay: the wide mill does the bay, the vee the slit."""
    land = less(shapely.box(-10, -10, 10, 10), shapely.box(-4, -4, 4, 4))
    land = less(land, shapely.box(3, -0.25, 10, 0.25))
    area = shapely.box(-10, -10, 10, 10).difference(land.buffer(0.02))
    cutters = [vee(), mill(2.0, "wide"), mill(0.8, "narrow")]
    done = cleared(area, [land], cutters, beyond=0.01)
    gone = taken(done.clearings, cutters, COPPER)
    assert coarse(reachable(area, [land], vee(), 0.01).difference(gone)) == 0
    touched = taken(done.clearings, cutters, 0.0).intersection(land.buffer(-GOUGE))
    assert touched.area == 0
    assert length(done.clearings, "wide") > 15
    fine = shapely.union_all([one.path.line() for one in done.clearings if one.cutter == "vee"])
    # the slit, and the four corners of the bay
    assert fine.intersection(shapely.box(-3, -3, 3, 3)).length == 0
    names = [one.cutter for one in done.clearings]
    assert names == sorted(names, key=["wide", "narrow", "vee"].index)


def test_what_no_cutter_reaches_is_left_and_reported() -> None:
    land = less(shapely.box(-10, -10, 10, 10), shapely.box(-4, -0.2, 4, 0.2))
    area = shapely.box(-4, -0.2, 4, 0.2)
    done = cleared(area, [land], [mill(0.8)])
    assert done.clearings == ()
    assert done.left.area == pytest.approx(3.2)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_a_climbing_cutter_has_what_stays_on_its_right(direction: str) -> None:
    done = cleared(disc(0, 0, 4), direction=direction)
    for one in done.clearings:
        lap = shapely.LinearRing(one.path.flattened())
        assert lap.is_ccw == (direction == "climb")


def floating(board_shapes: Sequence[shapely.Polygon], edge: shapely.Polygon) -> BaseGeometry:
    plan = isolation(gap=0.4)
    skirt = (vee().width(DEPTH) - vee().width(DEPTH, COPPER)) / 2
    return edge.difference(shapely.union_all(offsets(list(board_shapes), skirt + plan.gap)))


@pytest.mark.parametrize("seed", [1, 5])
def test_all_floating_copper_of_a_valve_board_goes(seed: int) -> None:
    board = valve_board(seed, 60.0).board
    shapes = [piece.shape for piece in board.pieces]
    plan = isolation(gap=0.4)
    laps, _ = isolate(islands(*shapes), board.outline, plan, COPPER)
    cutters = [mill(2.0, "wide"), mill(0.8, "narrow"), vee()]
    done = cleared(floating(shapes, board.outline), shapes, cutters, beyond=0.2)
    swept_foot = shapely.union_all(
        [swept(laps, [vee()], COPPER, plan), taken(done.clearings, cutters, COPPER)]
    )
    skirts = shapely.union_all(offsets(shapes, 0.03))
    left = board.outline.difference(swept_foot)
    # nothing is left but the pieces, each with the skirt of its groove
    assert coarse(left.difference(skirts)) == 0
    surface = taken(done.clearings, cutters, 0.0)
    assert max(surface.intersection(shape.buffer(-GOUGE)).area for shape in shapes) == 0
    # and there is no sliver beside what stays: parts that hold no piece are rounding
    parts = shapely.get_parts(left)
    tree = shapely.STRtree([shape.buffer(-0.05) for shape in shapes])
    held = {int(n) for n in tree.query(parts, predicate="intersects")[0]}
    assert sum(part.area for n, part in enumerate(parts) if n not in held) < 1e-3


bays = st.lists(
    st.tuples(st.integers(-40, 40), st.integers(-40, 40), st.integers(3, 30), st.integers(3, 30)),
    min_size=1,
    max_size=6,
)


@QUICK
@given(bays, st.sampled_from([(mill(0.8),), (mill(1.5, "wide"), mill(0.5)), (vee(),)]))
# its path goes there and back, which lost the area around eight lines of it
@example(
    [
        (6, 10, 23, 20), (4, -4, 12, 15), (12, 9, 11, 16),
        (0, 9, 16, 10), (-11, 10, 24, 17), (0, 0, 29, 24),
    ],
    (mill(0.8),),
)  # fmt: skip
def test_any_area_in_the_open_goes_whole(
    drawn: list[tuple[int, int, int, int]], cutters: tuple[Cutter, ...]
) -> None:
    boxes = [shapely.box(x / 10, y / 10, (x + w) / 10, (y + h) / 10) for x, y, w, h in drawn]
    area = shapely.union_all(boxes)
    done = cleared(area, cutters=cutters)
    assert coarse(area.difference(taken(done.clearings, cutters, COPPER))) == 0


@pytest.mark.law
@QUICK
@given(bays, st.sampled_from([(mill(0.8),), (mill(1.5, "wide"), mill(0.5)), (vee(),)]))
@example([(-13, 18, 15, 8)], (mill(0.8),))
# the closest paths along two pads left a strip between them
@example([(1, -17, 30, 14), (-11, -3, 29, 25), (-25, -31, 5, 23)], (vee(),))
def test_whatever_stays_is_untouched_and_all_that_can_be_reached_goes(
    drawn: list[tuple[int, int, int, int]], cutters: tuple[Cutter, ...]
) -> None:
    lands = [disc(x / 10, y / 10, w / 20 + h / 40) for x, y, w, h in drawn]
    area = shapely.box(-5, -5, 5, 5).difference(shapely.union_all(offsets(lands, 0.02)))
    done = cleared(area, lands, cutters, beyond=0.01)
    surface = taken(done.clearings, cutters, 0.0)
    assert all(surface.intersection(land.buffer(-GOUGE)).area == 0 for land in lands)
    finest = min(cutters, key=lambda cutter: cutter.width(DEPTH))
    gone = taken(done.clearings, cutters, COPPER)
    assert coarse(reachable(area, lands, finest, 0.01).difference(gone)) == 0


def test_the_tests_can_fail() -> None:
    area = shapely.box(0, 0, 7, 4)
    done = cleared(area)
    assert coarse(area.difference(taken(done.clearings[1:], [mill(0.8)], COPPER))) > 0.1
    thin = taken(done.clearings, [mill(0.6)], COPPER)
    assert coarse(area.difference(thin)) > 0.1
    assert math.isclose(coarse(shapely.box(0, 0, 1, FINE * 0.9)), 0.0)


def test_a_wide_mill_saves_most_of_the_way() -> None:
    """Ways go as one over the pitch: 0.12 mm against 0.8 mm is more than five to one."""
    area = shapely.box(0, 0, 12, 9)
    fine = length(cleared(area, cutters=[vee()]).clearings, "vee")
    wide = length(cleared(area, cutters=[mill(0.8)]).clearings, "mill")
    assert fine / wide > 5
