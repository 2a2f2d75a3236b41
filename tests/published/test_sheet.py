"""Sheets of copper with a known resistance, and a solver by finite differences.

Closed forms: a strip is as many squares as it is times longer than wide; a ring and a sector of
it are ln(r2/r1) over its angle (both elementary). A right-angled bend counts its corner square
as 0.5588 squares: P. M. Hall, Thin Solid Films 1 (1967/68) 277, from memory. A step in one edge
of a strip adds (1/π)·[(α² + 1)/α·ln((1 + α)/(1 − α)) − 2·ln(4α/(1 − α²))] squares, α the ratio of
the widths: the capacitance of a step in a parallel-plate line, N. Marcuvitz, Waveguide Handbook
(1951), from memory; a current between insulating edges is a field between plates, turned. A
small hole in a wide strip adds the field of a dipole and its images, worked out here.

Finite differences: `tests/helpers/finite_differences.py`, which shares nothing with what it checks.
"""

from __future__ import annotations

import math

import pytest
import shapely

from millprep.standards.copper import sheet_resistance
from millprep.verify.rules.conduction import Solution, solve
from tests.helpers.finite_differences import contact_volts
from tests.helpers.rules_scene import joined, less


def through(shape: shapely.Polygon, *ends: shapely.Polygon, sheet: float = 1.0) -> Solution:
    """1 A in at the first end and out at the second."""
    return solve([shape], ends, [-1.0, 1.0], sheet)


def test_the_heater_run() -> None:
    """480 × 3 mm of 35 µm: 160 squares, 78.818 mΩ."""
    ends = shapely.box(-1, 0, 0, 3), shapely.box(480, 0, 481, 3)
    found = through(shapely.box(0, 0, 480, 3), *ends, sheet=sheet_resistance(0.035))
    assert found.ohms[1] * 1000 == pytest.approx(78.818, abs=5e-4)
    assert found.volts[1] == pytest.approx(-found.ohms[1])


@pytest.mark.parametrize("outer", [2.0, 10.0])
def test_a_ring(outer: float) -> None:
    rim = shapely.Point(0, 0).buffer(outer, quad_segs=64)
    inner = shapely.Point(0, 0).buffer(1, quad_segs=64)
    around = less(shapely.box(-20, -20, 20, 20), rim)
    found = through(rim, inner, around)
    assert found.ohms[1] == pytest.approx(math.log(outer) / (2 * math.pi), rel=2e-3)
    assert found.error < 3e-3


def test_a_sector_along_its_rays() -> None:
    """A quarter ring from r 1 to r 3, current along its arcs: its squares are angle / ln 3."""
    ring = less(
        shapely.Point(0, 0).buffer(3, quad_segs=128), shapely.Point(0, 0).buffer(1, quad_segs=128)
    )
    quarter = shapely.intersection(ring, shapely.box(0, 0, 5, 5))
    assert isinstance(quarter, shapely.Polygon)
    found = through(quarter, shapely.box(0.5, -1, 4, 0), shapely.box(-1, 0.5, 0, 4))
    assert found.ohms[1] == pytest.approx(math.pi / 2 / math.log(3), rel=2e-3)


def test_a_bend() -> None:
    bend = joined(shapely.box(0, 0, 6, 1), shapely.box(5, 0, 6, 6))
    found = through(bend, shapely.box(-1, 0, 0, 1), shapely.box(5, 6, 6, 7))
    assert found.ohms[1] - 10 == pytest.approx(0.5588, abs=0.02)
    assert found.ohms[1] == pytest.approx(10.5588, rel=2e-3)


@pytest.mark.parametrize("ratio", [0.25, 0.5, 0.8])
def test_a_step(ratio: float) -> None:
    wide = 2.0
    narrow = ratio * wide
    shape = joined(shapely.box(0, 0, 6, narrow), shapely.box(6, 0, 14, wide))
    more = (
        (ratio**2 + 1) / ratio * math.log((1 + ratio) / (1 - ratio))
        - 2 * math.log(4 * ratio / (1 - ratio**2))
    ) / math.pi
    found = through(shape, shapely.box(-1, 0, 0, narrow), shapely.box(14, 0, 15, wide))
    exact = 6 / narrow + 8 / wide + more
    assert found.ohms[1] == pytest.approx(exact, rel=2e-3)
    assert abs(found.ohms[1] / exact - 1) <= max(found.error, 2e-4)


def test_a_small_hole() -> None:
    """A hole of radius r in the middle of a strip w wide weakens the sheet like a dipole.

    Alone it adds 2π·r²/w² squares. Its images across the edges, w apart, each act on it with
    (r/kw)²; their sum over k ≠ 0 is (π²/3)·(r/w)², so that it adds 2π·r²/w² / (1 − that).
    """
    r, w = 0.3, 3.0
    hole = shapely.Point(6, w / 2).buffer(r, quad_segs=64)
    strip = less(shapely.box(0, 0, 12, w), hole)
    found = through(strip, shapely.box(-1, 0, 0, w), shapely.box(12, 0, 13, w))
    more = 2 * math.pi * (r / w) ** 2 / (1 - math.pi**2 / 3 * (r / w) ** 2)
    assert found.ohms[1] - 12 / w == pytest.approx(more, rel=0.02)
    assert found.ohms[1] == pytest.approx(12 / w + more, rel=1e-3)


CELL, RADIUS, STEP = 3.0, 0.55, 0.05
SIDES = (shapely.box(-0.2, 0, 0, CELL), shapely.box(CELL, 0, CELL + 0.2, CELL))


def circle(x: float) -> shapely.Polygon:
    return shapely.Point(x, CELL / 2).buffer(RADIUS, quad_segs=16)


@pytest.mark.parametrize("outer", [2.0, 4.0])
def test_finite_differences_of_a_ring(outer: float) -> None:
    """What the other solvers are compared with meets a closed form itself."""
    inner = shapely.Point(0, 0).buffer(1, quad_segs=64)
    rim = shapely.Point(0, 0).buffer(outer, quad_segs=64)
    around = less(shapely.box(-outer - 1, -outer - 1, outer + 1, outer + 1), rim)
    volts = contact_volts(less(rim, inner), [inner, around], [-1.0, 1.0], STEP)
    assert -volts[1] == pytest.approx(math.log(outer) / (2 * math.pi), rel=1e-3)


def test_a_large_hole_against_finite_differences() -> None:
    shape = less(shapely.box(0, 0, CELL, CELL), circle(CELL / 2))
    other = contact_volts(shape, SIDES, [-1.0, 1.0], STEP)
    found = through(shape, *SIDES)
    assert found.volts[1] == pytest.approx(other[1], rel=1e-3)


def test_loads_along_a_rail_against_finite_differences() -> None:
    """Feed at the first pin, five loads on the way, each drawing something else."""
    amperes = [-2.0, 0.3, 0.3, 0.6, 0.2, 0.6]
    pins = [circle(CELL * (k + 0.5)) for k in range(len(amperes))]
    rail = less(shapely.box(0, 0, CELL * len(amperes), CELL), *pins)
    other = contact_volts(rail, pins, amperes, STEP)
    found = solve([rail], pins, amperes, 1.0)
    assert found.volts == pytest.approx(other, rel=1.5e-3)
    assert found.error < 1e-3


def test_the_comparison_can_fail() -> None:
    """A rail a tenth narrower is told apart."""
    shape = less(shapely.box(0, 0, CELL, CELL), circle(CELL / 2))
    other = contact_volts(shape, SIDES, [-1.0, 1.0], STEP)
    narrow = less(shapely.box(0, 0, CELL, CELL - 0.3), circle(CELL / 2))
    assert abs(through(narrow, *SIDES).volts[1] / other[1] - 1) > 0.1
