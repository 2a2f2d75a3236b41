"""Bilinear surfaces against a published example and against scipy's interpolator."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from millprep.model.surface_map import SurfaceMap
from millprep.verify.over_copper import heights


def test_the_worked_example_of_an_encyclopaedia() -> None:
    """ "Bilinear interpolation", section "Example" of an encyclopaedia's article, on an image:
    intensities 91 and 210 in row 20, 162 and 95 in row 21, columns 14 and 15; in row 20.2 at column
    14.5 it gives 150.5 and 128.5 along the rows, then 146.1. A third row and column, which a map
    needs, are added here and change nothing."""
    surface = SurfaceMap(
        np.array([14.0, 15.0, 16.0]),
        np.array([20.0, 21.0, 22.0]),
        np.array([[91.0, 210.0, 0.0], [162.0, 95.0, 0.0], [0.0, 0.0, 0.0]]),
    )
    at = np.array([(14.5, 20.0), (14.5, 21.0), (14.5, 20.2)])
    assert surface.heights(at) == pytest.approx([150.5, 128.5, 146.1])
    assert heights(surface, at) == pytest.approx([150.5, 128.5, 146.1])


def test_a_bent_blank_by_hand() -> None:
    """Computed by hand: corners 0.00, 0.10, 0.06, -0.04 of a cell of 100 × 60."""
    surface = SurfaceMap(
        np.array([0.0, 100.0, 200.0]),
        np.array([0.0, 60.0, 120.0]),
        np.array([[0.0, 0.10, 0.0], [0.06, -0.04, 0.0], [0.0, 0.0, 0.0]]),
    )
    at = np.array([(25.0, 45.0), (50.0, 30.0), (100.0, 60.0)])
    assert surface.heights(at) == pytest.approx([0.0325, 0.03, -0.04])
    assert heights(surface, at) == pytest.approx([0.0325, 0.03, -0.04])
    # along the diagonal the height is off its chord by a quarter of the twist, most in the middle
    ends = surface.heights([(0.0, 0.0), (100.0, 60.0)])
    middle = surface.heights([(50.0, 30.0)])[0]
    assert abs(middle - ends.mean()) == pytest.approx(0.20 / 4)


@pytest.mark.parametrize("seed", range(5))
def test_as_scipy_interpolates_a_grid(seed: int) -> None:
    """scipy.interpolate.RegularGridInterpolator, method "linear"."""
    some = np.random.default_rng(seed)
    x, y = np.cumsum(some.uniform(5, 40, 9)), np.cumsum(some.uniform(5, 40, 6))
    z = some.normal(0, 0.1, (6, 9))
    theirs = RegularGridInterpolator((y, x), z, method="linear")
    at = np.column_stack((some.uniform(x[0], x[-1], 2000), some.uniform(y[0], y[-1], 2000)))
    surface = SurfaceMap(x, y, z)
    expected = theirs(at[:, ::-1])
    assert np.abs(surface.heights(at) - expected).max() < 1e-12
    assert np.abs(heights(surface, at) - expected).max() < 1e-12
