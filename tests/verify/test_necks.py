"""The narrowest copper of every piece, on shapes whose necks are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity

from millprep.verify.narrowest import STEP, every_neck, necks_below

DUMBBELL = shapely.union_all(
    [shapely.box(0, 0, 3, 3), shapely.box(3, 1, 6, 1.4), shapely.box(6, 0, 9, 3)]
)
TRACK = shapely.union_all(
    [
        shapely.LineString([(0, 0), (9, 0), (9, 9)]).buffer(0.5, quad_segs=64),
        shapely.Point(0, 0).buffer(1.2),
        shapely.Point(9, 9).buffer(1.2),
    ]
)
WASHER = shapely.Point(0, 0).buffer(2, quad_segs=256) - shapely.Point(0.3, 0).buffer(
    1, quad_segs=256
)


@pytest.mark.parametrize(
    ("shape", "width"),
    [
        (DUMBBELL, 0.4),
        (WASHER, 0.7),
        (shapely.box(0, 0, 40, 0.8), 0.8),
        (shapely.box(0, 0, 40, 5.0), 5.0),
        (TRACK, 1.0),
    ],
)
def test_known_necks(shape: shapely.Geometry, width: float) -> None:
    (found,) = every_neck([("c1", shape)])
    assert found.width == pytest.approx(width, abs=STEP)
    assert shapely.dwithin(shape, shapely.Point(found.at), 1e-6)


def test_where_the_neck_is() -> None:
    for shape, area in (
        (DUMBBELL, shapely.box(2.9, 0.9, 6.1, 1.5)),
        (WASHER, shapely.box(1.2, -1.6, 2.1, 1.6)),
    ):
        (found,) = every_neck([("c1", shape)])
        assert area.contains(shapely.Point(found.at))


def test_copper_between_holes_is_measured_itself() -> None:
    holes = [shapely.Point(x, 5).buffer(1, quad_segs=64) for x in (3, 5.7, 9)]
    (found,) = every_neck([("c1", shapely.box(0, 0, 20, 10) - shapely.union_all(holes))])
    assert found.width == pytest.approx(0.7, abs=1e-9)
    assert found.at == pytest.approx((4.35, 5.0), abs=1e-6)


@pytest.mark.parametrize("mouth", [0.3, 0.4, 0.9])
def test_copper_that_a_bent_hole_nearly_surrounds_hangs_on_a_neck(mouth: float) -> None:
    around = shapely.Point(10, 10).buffer(3, quad_segs=64).exterior.buffer(0.2)
    hole = around - shapely.box(10, 10 - mouth / 2, 20, 10 + mouth / 2)
    (found,) = every_neck([("c1", shapely.box(0, 0, 20, 20) - hole)])
    assert found.width == pytest.approx(mouth, abs=STEP)
    assert shapely.Point(found.at).distance(shapely.Point(13, 10)) < 0.6


def test_every_neck_of_many() -> None:
    boxes: list[shapely.Geometry] = [
        shapely.box(0, 10 * i, 20, 10 * i + 1 + i / 10) for i in range(9)
    ]
    shapes = [*boxes[:4], DUMBBELL, *boxes[4:], shapely.box(0, 0, 9, 0.03)]
    found = every_neck([(f"c{i}", shape) for i, shape in enumerate(shapes, 1)])
    widths = [1.0, 1.1, 1.2, 1.3, 0.4, 1.4, 1.5, 1.6, 1.7, 1.8, 0.03]
    assert [one.width for one in found] == pytest.approx(widths, abs=STEP)
    assert [one.piece for one in found] == [f"c{i}" for i in range(1, 12)]
    for one, shape in zip(found, shapes, strict=True):
        assert shapely.dwithin(shape, shapely.Point(one.at), 1e-6)


def test_a_neck_is_as_wide_among_others_as_alone() -> None:
    widths = [0.3, 0.31, 0.3, 0.45, 0.62, 0.3, 0.45, 0.31, 0.3, 0.447, 0.45, 0.301, 0.62, 0.3, 0.31]
    shapes = [("c1", lollipop(width, 3 * width)) for width in [*widths, *reversed(widths)]]
    assert every_neck(shapes) == tuple(every_neck([shape])[0] for shape in shapes)


@pytest.mark.parametrize("turn", range(4))
def test_of_equal_necks_the_leftmost_counts(turn: int) -> None:
    """The ends lie left and right of the plane, or above and below it."""
    both = shapely.union_all(
        [shapely.box(-3, -3, 3, 3), shapely.box(-6, -0.2, 6, 0.2)]
        + [shapely.box(x - 1, -1, x + 1, 1) for x in (-6, 6)]
    )
    (found,) = every_neck([("c1", shapely.affinity.rotate(both, 90 * turn, (0, 0)))])
    assert found.width == pytest.approx(0.4, abs=STEP)
    assert sum(found.at) == pytest.approx(-4, abs=0.1)


def lollipop(neck: float, end: float) -> shapely.Geometry:
    """A track out of a plane of 6 mm, to a round end."""
    pad = shapely.Point(9, 3).buffer(end / 2, quad_segs=64)
    return shapely.union_all(
        [shapely.box(0, 0, 6, 6), shapely.box(6, 3 - neck / 2, 9, 3 + neck / 2), pad]
    )


@pytest.mark.parametrize("neck", [0.2, 0.3, 0.6, 0.8, 1.2])
@pytest.mark.parametrize("wider", [1.51, 1.8, 2.0, 2.5, 3.0])
def test_a_track_to_an_end_half_as_wide_again_is_a_neck(neck: float, wider: float) -> None:
    """Of a wide piece the end is gone long before all of it is."""
    (found,) = every_neck([("c1", lollipop(neck, neck * wider))])
    assert found.width == pytest.approx(neck, abs=STEP)
    assert 5.9 < found.at[0] < 9.0


def test_a_neck_below_a_width() -> None:
    shapes = np.array([DUMBBELL, WASHER], dtype=object)
    assert necks_below(shapes, 0.5) == pytest.approx([0.4, 0.5], abs=STEP)
    assert necks_below(shapes, 0.401) == pytest.approx([0.4, 0.401], abs=STEP)
    assert necks_below(shapes, 0.39).tolist() == [0.39, 0.39]
    assert necks_below(shapes, 0.1).tolist() == [0.1, 0.1]


def test_a_neck_below_a_width_when_edges_are_worn() -> None:
    pad = shapely.box(0, 0, 4, 4)
    holes = [shapely.Point(x, 2).buffer(0.5).exterior for x in (1.2, 2.8)]
    square = shapely.box(1, 1, 3, 3).exterior
    shapes = np.array([pad, shapely.Polygon(pad.exterior, holes), pad.difference(
        shapely.Polygon(square)), DUMBBELL], dtype=object)  # fmt: skip
    worn = np.array([0.1, 0.1, 0.05, 0.2, 0.1, 0.1, 0.1])
    # between the holes 0.6 less both, or to the edge 0.7 less 0.15; off the dumbbell both sides
    assert necks_below(shapes, 9.0, worn) == pytest.approx([3.8, 0.35, 0.8, 0.2], abs=STEP)
    # what is worn away has no neck left
    assert necks_below(shapes, 9.0, 9 * worn)[[1, 3]].max() <= STEP


def test_a_taper_is_no_neck() -> None:
    """A drop that runs out to a point is as wide as its body: nothing hangs on the point."""
    drop = shapely.Polygon([(0, 0), (10, 1), (10, -1)])
    (found,) = every_neck([("c1", drop)])
    assert found.width > 1.5


def test_no_copper() -> None:
    assert every_neck([]) == ()
