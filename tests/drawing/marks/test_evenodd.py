from __future__ import annotations

import numpy as np
import pytest
import shapely

from millprep.drawing.marks.evenodd import Crossing, area_of, fill, nest


def square(x: float, y: float, size: float) -> np.ndarray:
    return np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)], dtype=float)


def total(rings: list[np.ndarray]) -> float:
    found = fill(rings)
    assert not isinstance(found, Crossing)
    return float(sum(area.area for area in found))


def test_inside_an_odd_number_is_filled() -> None:
    rings = [square(0, 0, 10), square(1, 1, 8), square(2, 2, 6), square(3, 3, 1), square(6, 6, 1)]
    assert total(rings) == pytest.approx(100 - 64 + 36 - 1 - 1)


def test_depth_six() -> None:
    rings = [square(k, k, 20 - 2 * k) for k in range(7)]
    assert total(rings) == pytest.approx(sum((-1) ** k * (20 - 2 * k) ** 2 for k in range(7)))


def test_a_repeated_outline_counts_once() -> None:
    assert total([square(0, 0, 4), square(0, 0, 4)[::-1]]) == pytest.approx(16)


def test_neighbours_that_share_an_edge_do_not_cross() -> None:
    assert total([square(0, 0, 2), square(2, 0, 2)]) == pytest.approx(8)


def test_overlap_is_no_nest() -> None:
    found = fill([square(0, 0, 2), square(1, 1, 2)])
    assert isinstance(found, Crossing)
    assert (found.first, found.second) == (0, 1)
    assert found.at == pytest.approx((1.5, 1.5))


def test_a_bow_tie_has_no_clear_inside() -> None:
    found = area_of(np.array([(0, 0), (2, 2), (2, 0), (0, 2)], dtype=float))
    assert isinstance(found, Crossing)
    assert found.at == pytest.approx((1, 1))


def test_a_bridge_to_an_inner_ring_is_followed() -> None:
    keyhole = np.array(
        [(0, 0), (10, 0), (10, 10), (0, 10), (0, 5), (3, 5), (3, 7), (7, 7), (7, 3), (3, 3), (3, 5),
         (0, 5)], dtype=float,
    )  # fmt: skip
    area = area_of(keyhole)
    assert not isinstance(area, Crossing)
    assert area.area == pytest.approx(100 - 16)
    assert not shapely.contains(area, shapely.Point(5, 5))


def test_far_from_the_origin_the_same() -> None:
    rings = [square(1e6, -2e6, 10), square(1e6 + 1, -2e6 + 1, 8)]
    assert total(rings) == pytest.approx(36, rel=1e-6)


def test_depths() -> None:
    found = nest([square(0, 0, 10), square(1, 1, 2), square(5, 5, 2), square(5.5, 5.5, 1)])
    assert not isinstance(found, Crossing)
    assert found.depth.tolist() == [0, 1, 1, 2]
