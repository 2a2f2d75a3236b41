"""The narrowest copper, on shapes whose necks are known."""

from __future__ import annotations

import pytest
import shapely

from millprep.proof.necks import STEP, narrowest_copper

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
    found = narrowest_copper([shape])
    assert found is not None
    assert found[0] == pytest.approx(width, abs=STEP)
    assert shapely.dwithin(shape, shapely.Point(found[1]), 1e-6)


def test_where_the_neck_is() -> None:
    for shape, area in (
        (DUMBBELL, shapely.box(2.9, 0.9, 6.1, 1.5)),
        (WASHER, shapely.box(1.2, -1.6, 2.1, 1.6)),
    ):
        found = narrowest_copper([shape])
        assert found is not None
        assert area.contains(shapely.Point(found[1]))


def test_the_narrowest_of_many_wherever_it_stands() -> None:
    boxes: list[shapely.Geometry] = [
        shapely.box(0, 10 * i, 20, 10 * i + 1 + i / 10) for i in range(9)
    ]
    for place in (0, 4, 9):
        found = narrowest_copper([*boxes[:place], DUMBBELL, *boxes[place:]])
        assert found is not None
        assert found[0] == pytest.approx(0.4, abs=STEP)
        assert DUMBBELL.contains(shapely.Point(found[1]))


def test_a_taper_is_no_neck() -> None:
    """A drop that runs out to a point is as wide as its body: nothing hangs on the point."""
    drop = shapely.Polygon([(0, 0), (10, 1), (10, -1)])
    found = narrowest_copper([drop])
    assert found is not None
    assert found[0] > 1.5


def test_no_copper() -> None:
    assert narrowest_copper([]) is None
