"""Specks and jumps among honest readings: found and named, and never seen where none is."""

from __future__ import annotations

import numpy as np
import pytest

from millprep.at_machine.height_map_readings import (
    HeightFault,
    bends,
    interpolation_error,
    worst_fault,
)
from millprep.geometry.path import FloatArray
from millprep.model.surface_map import SurfaceMap

SIGMA = 0.004


def bowed(nx: int, ny: int, seed: int, bow: float = 0.4, uneven: bool = False) -> SurfaceMap:
    """A blank of 480 mm that bows by `bow` and is twisted as well, read with noise."""
    some = np.random.default_rng(seed)
    x, y = np.linspace(0, 280, nx), np.linspace(0, 110, ny)
    if uneven:
        x[1:-1] += some.uniform(-0.3, 0.3, nx - 2) * (x[1] - x[0])
    u, v = np.meshgrid(x, y)
    z = bow * (1 - ((u - 240) / 240) ** 2) + 0.15 * (u / 280) * (v / 110 - 0.5)
    return SurfaceMap(x, y, z + some.normal(0, SIGMA, z.shape))


def serpentine(nx: int, ny: int) -> FloatArray:
    order = np.arange(nx * ny, dtype=float).reshape(ny, nx)
    order[1::2] = order[1::2, ::-1]
    return order


def judged(surface: SurfaceMap, confirmed: FloatArray | None = None) -> HeightFault | None:
    ny, nx = surface.z.shape
    none = np.zeros((ny, nx))
    return worst_fault(surface, serpentine(nx, ny), none if confirmed is None else confirmed, SIGMA)


SIZES = [(3, 3), (4, 3), (6, 4), (11, 5), (20, 9)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("bow", [0.0, 0.4, 1.0])
def test_an_honest_blank_has_no_fault(size: tuple[int, int], bow: float) -> None:
    for seed in range(40):
        assert judged(bowed(*size, seed, bow, uneven=seed % 2 == 1)) is None


@pytest.mark.parametrize("size", SIZES[1:])
def test_a_speck_is_found_and_named(size: tuple[int, int]) -> None:
    for seed in range(40):
        surface = bowed(*size, seed)
        some = np.random.default_rng(1000 + seed)
        i, j = int(some.integers(size[0])), int(some.integers(size[1]))
        z = surface.z.copy()
        z[j, i] += 0.12 * (1 if seed % 2 else -1)
        found = judged(SurfaceMap(surface.x, surface.y, z))
        assert found is not None
        # of a dozen readings one that is off looks much like a few that are shifted
        assert found.node == (i, j) or (size[1] == 3 and found.jump)


def test_a_speck_that_was_read_twice_is_none() -> None:
    surface = bowed(11, 5, 1)
    z = surface.z.copy()
    z[2, 4] += 0.1
    spoilt = SurfaceMap(surface.x, surface.y, z)
    found = judged(spoilt)
    assert found is not None
    assert found.node == (4, 2)
    assert found.by == pytest.approx(0.1, abs=0.02)
    assert found.expected == pytest.approx(surface.z[2, 4], abs=0.02)
    confirmed = np.zeros((5, 11))
    confirmed[2, 4] = 1
    again = judged(spoilt, confirmed)
    assert again is None or again.node != (4, 2)


@pytest.mark.parametrize("size", SIZES[2:])
def test_a_jump_is_found_with_its_first_reading(size: tuple[int, int]) -> None:
    nx, ny = size
    order = serpentine(nx, ny)
    for seed in range(30):
        surface = bowed(nx, ny, seed)
        first = int(np.random.default_rng(seed).integers(3, nx * ny - 3))
        found = judged(SurfaceMap(surface.x, surface.y, surface.z + 0.1 * (order >= first)))
        assert found is not None
        assert found.jump
        if nx > 10:
            # on few rows a shift of one row looks much like one of the next
            assert order[found.node[1], found.node[0]] == first


def test_planes_do_not_bend_even_on_uneven_lines() -> None:
    surface = bowed(7, 5, 3, uneven=True)
    u, v = np.meshgrid(surface.x, surface.y)
    plane = 0.3 + 0.01 * u - 0.02 * v
    assert np.abs(bends(surface) @ plane.ravel()).max() < 1e-12


def test_what_is_left_between_nodes_bounds_the_truth() -> None:
    x, y = np.linspace(0, 280, 10), np.linspace(0, 110, 5)

    def shape(u: FloatArray, v: FloatArray) -> FloatArray:
        bent: FloatArray = 0.4 * (1 - ((u - 240) / 240) ** 2) - 0.05 * (v / 60) ** 2
        return bent

    surface = SurfaceMap(x, y, shape(*np.meshgrid(x, y)))
    some = np.random.default_rng(0)
    at = np.column_stack((some.uniform(0, 280, 5000), some.uniform(0, 110, 5000)))
    off = np.abs(surface.heights(at) - shape(at[:, 0], at[:, 1])).max()
    result = interpolation_error(surface)
    # exact for a parabola, whose error is the same on all cells
    assert off <= result
    assert off == pytest.approx(result, rel=0.02)
