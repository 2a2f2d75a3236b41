"""Swept areas against closed forms.

Sources: Steiner's formula for the parallel set of a convex body, area A + P r + pi r² (Santaló,
Integral Geometry and Geometric Probability); its form for polygons with reflex corners is
elementary. Width of a vee groove: w = tip + 2 d tan(angle / 2), geometry.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.cutter import Cutter
from millprep.verify.as_cut import unite
from millprep.verify.reader import read
from millprep.verify.sweep import segments, sweep
from tests.helpers.programs import HEAD, TAIL, cut, drill, end_mill, plunge, vee


def area(text: str, cutter: Cutter, level: float = 0.0) -> shapely.MultiPolygon:
    steps = segments(read(HEAD + text + TAIL, file="a"))
    return unite([sweep(steps, cutter, Pose(), level)])[0]


# A polygon of the disc lies at most 1 µm inside it, an arc's chord 2 µm inside.
def within(exact: float, rim: float, inside: float = 0.001) -> tuple[float, float]:
    """Bounds of an area whose round rims of this length may lie inside by so much."""
    return exact - rim * inside, exact + 1e-6


@pytest.mark.parametrize("radius", [0.05, 0.4, 1.5])
def test_a_slot_is_a_stadium(radius: float) -> None:
    """Slot of length L by a cutter of radius r: 2 r L + pi r²."""
    low, high = within(2 * radius * 50 + math.pi * radius**2, math.tau * radius)
    assert low <= area(cut([(2, 2), (52, 2)]), end_mill(2 * radius)).area <= high


def test_segment_of_50_by_0_4() -> None:
    """The table's case: 40.5026548."""
    low, high = within(40.5026548, math.tau * 0.4)
    assert low <= area(cut([(2, 2), (52, 2)]), end_mill(0.8)).area <= high


def test_lap_around_a_square_adds_up() -> None:
    """Square of 10 grown by 2: 192.5663706; the lap of a cutter of r 0.25 on that offset takes
    the area between the offsets 1.75 and 2.25: P (r2 - r1) + pi (r2² - r1²)."""
    corners = np.asarray(shapely.box(10, 10, 20, 20).buffer(2.0, quad_segs=256).exterior.coords)
    exact = 40 * 0.5 + math.pi * (2.25**2 - 1.75**2)
    found = area(cut(corners.tolist()), end_mill(0.5)).area
    assert abs(found - exact) < 52.6 * 2 * 0.001


def test_circle_by_arcs() -> None:
    """A ring of radius 5 cut by a cutter of r 0.5: pi (5.5² - 4.5²)."""
    text = "G0 X15. Y10.\nG1 Z-0.1 F60.\nG3 X15. Y10. I-5. J0. F300.\nG0 Z2.\n"
    exact = math.pi * (5.5**2 - 4.5**2)
    assert abs(area(text, end_mill(1.0)).area - exact) < math.tau * 10 * 0.003


def test_two_half_turns_are_one_turn() -> None:
    whole = "G0 X15. Y10.\nG1 Z-0.1 F60.\nG2 X15. Y10. I-5. J0. F300.\nG0 Z2.\n"
    halves = whole.replace("G2 X15. Y10. I-5. J0.", "G2 X5. Y10. I-5. J0.\nG2 X15. Y10. I5. J0.")
    one, two = (area(text, end_mill(1.0)) for text in (whole, halves))
    assert shapely.symmetric_difference(one, two).area < math.tau * 10 * 0.003


def test_a_vee_has_two_widths() -> None:
    """30 degrees, tip 0.1, depth 0.05, copper 0.035: 0.127 at the surface, 0.108 at the foot."""
    text = cut([(2, 2), (52, 2)], -0.05)
    for level, width in ((0.0, 0.12679), (0.035, 0.10804)):
        across = shapely.bounds(area(text, vee(0.1, 30.0), level))
        assert across[3] - across[1] == pytest.approx(width, abs=1e-5)


def test_a_ramp_by_a_vee_is_a_hull_of_two_discs() -> None:
    """Radii r0 and r1 at a distance d: with a = asin((r1 - r0) / d), area is
    d cos(a) (r0 + r1) + pi (r0² + r1²) / 2 + a (r1² - r0²)."""
    text = "G0 X10. Y10.\nG1 Z-0.1 F60.\nG1 X12. Y10. Z-0.5 F60.\nG0 Z2.\n"
    tan = math.tan(math.radians(30))
    r0, r1, d = 0.1 + 0.1 * tan, 0.1 + 0.5 * tan, 2.0
    a = math.asin((r1 - r0) / d)
    exact = d * math.cos(a) * (r0 + r1) + math.pi * (r0**2 + r1**2) / 2 + a * (r1**2 - r0**2)
    low, high = within(exact, math.pi * (r0 + r1))
    assert low <= area(text, vee(0.2, 60.0)).area <= high


def test_a_ramp_leaves_the_foot_where_it_is_not_deep_enough() -> None:
    """An end mill that ramps from 0 to 0.1 over 10 mm reaches 0.035 after 3.5 mm."""
    text = "G0 X10. Y10.\nG1 Z0. F60.\nG1 X20. Y10. Z-0.1 F60.\nG0 Z2.\n"
    foot = area(text, end_mill(1.0), 0.035)
    assert shapely.bounds(foot)[0] == pytest.approx(13.5 - 0.5, abs=1e-6)
    low, high = within(6.5 + math.pi / 4, math.pi)
    assert low <= foot.area <= high


def test_a_drill_leaves_its_cone_at_the_foot() -> None:
    """Point of 118 degrees, tip 0.2 below the foot: width 2 · 0.2 · tan 59° = 0.6657."""
    foot = area(plunge(10, 10, -0.235), drill(1.0), 0.035)
    low, high = within(math.pi / 4 * 0.66571**2, math.pi * 0.66571)
    assert low <= foot.area <= high


def test_a_plunge_that_starts_a_cut_is_not_lost() -> None:
    """Deeper at its start than along the way: the disc of the plunge stays."""
    text = "G0 X10. Y10.\nG1 Z-0.5 F60.\nG1 Z-0.1\nG1 X20. Y10. F300.\nG0 Z2.\n"
    swept = area(text, vee(0.2, 60.0))
    deep, flat = 0.1 + 0.5 * math.tan(math.radians(30)), 0.1 + 0.1 * math.tan(math.radians(30))
    bounds = shapely.bounds(swept)
    assert bounds[1] == pytest.approx(10 - deep, abs=1e-6)
    assert bounds[2] == pytest.approx(20 + flat, abs=1e-6)


def test_rapids_in_the_work_cut_as_well() -> None:
    text = "G0 X10. Y10.\nG1 Z-0.1 F60.\nG0 X20. Y10.\nG0 Z2.\n"
    low, high = within(10 + math.pi / 4, math.pi)
    assert low <= area(text, end_mill(1.0)).area <= high


@pytest.mark.parametrize("level", [0.0, 0.035])
def test_pixels_agree(level: float) -> None:
    """Distance to the nearest segment, pixel by pixel, says cut or not as the sweep does."""
    points = [(10, 10), (14, 11), (13, 14), (10.5, 12), (10, 10)]
    cutter = vee(0.4, 60.0)
    swept = area(cut(points, -0.2), cutter, level)
    half = cutter.width(0.2, level) / 2
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9, 15.5, 0.05), np.arange(9, 15.5, 0.05)))
    near = shapely.distance(shapely.LineString(points), shapely.points(x, y))
    inside = shapely.contains_xy(swept, x, y)
    sure = np.abs(near - half) > 0.002
    assert (inside[sure] == (near[sure] < half)).all()
    assert inside.sum() > 500
