"""Laws of a bilinear surface, and what is no map."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.surface_map import Levelling, SurfaceMap

X, Y = np.array([0.0, 20.0, 55.0, 90.0]), np.array([-5.0, 10.0, 40.0])
heights = st.lists(st.floats(-0.5, 0.5, allow_nan=False), min_size=12, max_size=12).map(
    lambda z: SurfaceMap(X, Y, np.array(z).reshape(3, 4))
)
places = st.tuples(st.floats(0.0, 90.0), st.floats(-5.0, 40.0))


@given(heights, places)
def test_nowhere_outside_the_corners_of_its_cell(
    surface: SurfaceMap, at: tuple[float, float]
) -> None:
    (z,) = surface.heights([at])
    i = min(int(np.searchsorted(X, at[0], side="right")) - 1, 2)
    j = min(int(np.searchsorted(Y, at[1], side="right")) - 1, 1)
    corners = surface.z[j : j + 2, i : i + 2]
    assert corners.min() - 1e-12 <= z <= corners.max() + 1e-12


@given(heights, st.floats(-5.0, 40.0), st.floats(0.0, 90.0))
def test_continuous_over_shared_edges(surface: SurfaceMap, v: float, u: float) -> None:
    step = 1e-7
    for edge in X[1:-1]:
        before, after = surface.heights([(edge - step, v), (edge + step, v)])
        assert before == pytest.approx(after, abs=1e-7)
    for edge in Y[1:-1]:
        before, after = surface.heights([(u, edge - step), (u, edge + step)])
        assert before == pytest.approx(after, abs=1e-7)


@pytest.mark.law
@given(*(st.floats(-0.01, 0.01) for _ in range(4)), places)
def test_exact_for_planes_and_twists(
    a: float, b: float, c: float, d: float, at: tuple[float, float]
) -> None:
    def shape(x: float, y: float) -> float:
        return a + b * x + c * y + d * x * y

    surface = SurfaceMap(X, Y, np.array([[shape(x, y) for x in X] for y in Y]))
    assert surface.heights([at])[0] == pytest.approx(shape(*at), abs=1e-12)


def test_nodes_are_met_and_nothing_is_known_beyond_them() -> None:
    surface = SurfaceMap(X, Y, np.arange(12.0).reshape(3, 4))
    assert surface.heights([(20.0, 10.0), (90.0, 40.0)]).tolist() == [5.0, 11.0]
    assert surface.covers([(0.0, -5.0), (90.01, 0.0)]).tolist() == [True, False]
    with pytest.raises(ValueError, match="outside the map"):
        surface.heights([(90.01, 0.0)])
    assert (surface.lowest, surface.highest) == (0.0, 11.0)


def test_equal_maps_are_equal() -> None:
    one, other = (SurfaceMap(X, Y, np.ones((3, 4))) for _ in range(2))
    assert one == other
    assert hash(one) == hash(other)
    assert one != SurfaceMap(X, Y, np.zeros((3, 4)))
    with pytest.raises(ValueError, match="read-only"):
        one.z[0, 0] = 2.0


@pytest.mark.parametrize(
    ("x", "y", "z", "words"),
    [
        (X, Y, np.zeros((4, 3)), "has z"),
        (X[:2], Y, np.zeros((3, 2)), "3 nodes either way"),
        (X[::-1], Y, np.zeros((3, 4)), "must rise"),
        (X, Y, np.full((3, 4), np.nan), "finite"),
    ],
)
def test_what_is_no_map(x: np.ndarray, y: np.ndarray, z: np.ndarray, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SurfaceMap(x, y, z)


def test_a_levelling_leaves_something() -> None:
    with pytest.raises(ValueError, match="more than 0"):
        Levelling(1, 1, SurfaceMap(X, Y, np.zeros((3, 4))), "map.csv", 0.005, False, 0.0)
