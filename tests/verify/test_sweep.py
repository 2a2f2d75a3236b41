"""What a cutter sweeps, against closed forms, and what that leaves of a sheet."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose
from millprep.model.cutter import Cutter, slope
from millprep.verify.as_cut import _copper
from millprep.verify.reader import read
from millprep.verify.sweep import DISC_TOLERANCE, arc_samples, bends_of, segments, sweep
from tests.helpers.programs import HEAD, TAIL, end_mill, plunge, vee


def swept(text: str, cutter: Cutter, level: float = 0.0) -> BaseGeometry:
    return shapely.union_all(
        sweep(segments(read(HEAD + text + TAIL, file="a")), cutter, Pose(), level)
    )


def hull_of_discs(apart: float, small: float, large: float) -> float:
    """Area of the convex hull of two discs: two tangents and what they leave of each disc."""
    lean = math.asin((large - small) / apart)
    tangents = math.sqrt(apart**2 - (large - small) ** 2) * (small + large)
    return tangents + large**2 * (math.pi / 2 + lean) + small**2 * (math.pi / 2 - lean)


@pytest.mark.parametrize(("level", "first"), [(0.0, 0.05), (0.035, 0.05), (0.035, 0.035)])
def test_a_vee_on_a_ramp_sweeps_the_hull_of_its_discs(level: float, first: float) -> None:
    cutter = vee(tip=0.2, angle=60.0)
    ramp = f"G0 X10. Y10.\nG1 Z{-first} F60.\nG1 X13. Y14. Z-1.\nG0 Z2.\n"
    small, large = (0.1 + (deep - level) * slope(cutter) for deep in (first, 1.0))
    area = swept(ramp, cutter, level)
    exact = hull_of_discs(5.0, small, large)
    assert exact - 20 * DISC_TOLERANCE < area.area < exact
    assert area.bounds[2:] == pytest.approx((13 + large, 14 + large), abs=2 * DISC_TOLERANCE)


def test_a_vee_without_a_tip_sweeps_a_drop_from_where_it_enters() -> None:
    keen = vee(tip=0.0, angle=90.0)
    down = "G0 X10. Y10.\nG1 Z0. F60.\nG1 X15. Z-1.\nG0 Z2.\n"
    area = swept(down, keen)
    assert area.area == pytest.approx(hull_of_discs(5.0, 0.0, 1.0), abs=20 * DISC_TOLERANCE)
    assert area.bounds[0] == pytest.approx(10.0, abs=1e-6)


def test_a_plunge_alone_is_one_disc() -> None:
    area = swept(plunge(10, 10), end_mill(2.0))
    assert area.area == pytest.approx(math.pi, abs=2 * math.pi * DISC_TOLERANCE)


@pytest.mark.parametrize(
    ("end", "clockwise", "sweep_"),
    [
        ((1.0, 0.0), False, math.tau), ((1.0, 0.0), True, -math.tau),
        ((0.0, 1.0), False, math.pi / 2), ((0.0, 1.0), True, -3 * math.pi / 2),
        ((0.0, -1.0), False, 3 * math.pi / 2), ((0.0, -1.0), True, -math.pi / 2),
    ],
)  # fmt: skip
def test_an_arc_is_followed_the_way_it_turns(
    end: tuple[float, float], clockwise: bool, sweep_: float
) -> None:
    angles, radii, heights = arc_samples(
        (1.0, 0.0, 0.0), (*end, -1.0), (0.0, 0.0), clockwise, 0.001
    )
    assert angles[-1] - angles[0] == pytest.approx(sweep_)
    assert radii == pytest.approx(1.0)
    assert heights == pytest.approx(np.linspace(0.0, -1.0, len(angles)))
    # no chord is farther from the circle than 0.001
    assert 1 - math.cos(abs(angles[1] - angles[0]) / 2) <= 0.001 + 1e-12


RING = shapely.box(2, 2, 8, 8) - shapely.box(3, 3, 7, 7)
INNER = shapely.box(4, 4, 6, 6) - shapely.box(4.5, 4.5, 5.5, 5.5)


@pytest.mark.parametrize(
    ("areas", "parts"),
    [
        ([], 1),
        ([RING], 2),
        ([RING, INNER], 3),
        ([RING, INNER, shapely.box(4.8, 4.8, 5.2, 5.2), shapely.box(8.5, 1, 9, 2)], 3),
        # two corners meet; a corner on the edge of the sheet or of a hole; off the sheet; all of it
        ([shapely.box(1, 1, 2, 2), shapely.box(2, 2, 3, 3)], 1),
        ([RING, shapely.Polygon([(3, 5), (5, 4), (5, 6)])], 2),
        ([shapely.Polygon([(0, 5), (5, 4), (5, 6)])], 1),
        ([shapely.box(3, -1, 4, 11)], 2),
        # areas that overlap: across, one in another, the same twice, over a hole and its edge
        ([shapely.box(1, 4, 9, 6), shapely.box(4, 1, 6, 9)], 1),
        ([shapely.box(1, 1, 9, 9), shapely.box(4, 4, 6, 6)], 1),
        ([RING, RING], 2),
        ([RING, shapely.box(2.5, 2.5, 7.5, 7.5)], 1),
        ([RING, shapely.box(2.5, 4, 5, 6)], 2),
        ([RING, shapely.box(2.5, 4, 7.5, 6)], 3),
        ([RING, INNER, shapely.box(2.5, 2.5, 6.5, 6.5) - shapely.box(3.5, 3.5, 4.2, 4.2)], 3),
        ([shapely.box(-1, -1, 11, 11)], 0),
    ],
)
def test_what_areas_leave_of_a_sheet(areas: list[shapely.Polygon], parts: int) -> None:
    sheet = shapely.box(0, 0, 10, 10)
    left = _copper(sheet, areas)
    assert len(left) == parts
    assert shapely.is_valid(left).all()
    apart = shapely.symmetric_difference(shapely.union_all(left), sheet - shapely.union_all(areas))
    assert apart.area == 0


def test_areas_that_meet_twice_part_a_sheet() -> None:
    """Each is valid, and so are all together: they touch at points alone."""
    bent = (
        shapely.Polygon([(3, 3), (5, 1), (7, 3), (5, 2)]),
        shapely.Polygon([(3, 3), (5, 5), (7, 3), (5, 4)]),
    )
    assert len(_copper(shapely.box(0, 0, 10, 10), bent)) == 2


def test_an_end_mill_that_cuts_deeper_each_time_sweeps_its_way_once() -> None:
    ways = [f"G1 Z{-z} F60.\nG1 X20. F90.\nG1 X10.\n" for z in (0.4, 0.8, 1.2)]
    pieces = sweep(
        segments(read(f"{HEAD}G0 X10. Y10.\n{''.join(ways)}G0 Z2.\n{TAIL}", file="a")),
        end_mill(2.0), Pose(), 0.0,
    )  # fmt: skip
    assert len(pieces) == 1
    assert shapely.union_all(pieces).area == pytest.approx(20 + math.pi, abs=0.01)


@pytest.mark.parametrize("beyond", [0.0, 0.002])
def test_chords_stay_near_their_arc(beyond: float) -> None:
    """Short arcs and long ones, wide and narrow, to both ends of each."""
    wide = np.geomspace(0.004, 300, 60)
    far = np.append(np.geomspace(1e-3, 6.28, 60), math.tau)
    radius, turn = np.stack(np.meshgrid(wide, far)).reshape(2, -1)
    ends = np.column_stack((radius, 0 * radius, 0 * radius,
                            radius * np.cos(turn), radius * np.sin(turn), -turn))  # fmt: skip
    bends = bends_of(ends, np.zeros((len(ends), 2)), np.zeros(len(ends), dtype=bool))
    chords, owner = bends.chords(0.002, beyond)
    share = np.linspace(0, 1, 11)[:, None, None]
    places = chords[:, :2] + (chords[:, 3:5] - chords[:, :2]) * share
    off = np.hypot(places[..., 0], places[..., 1]) - radius[owner]
    assert off.min() > -0.002 - 1e-9
    assert off.max() < beyond + 1e-9
    same = np.diff(owner) == 0
    assert (chords[1:, :3] == chords[:-1, 3:])[same].all()
    first = np.searchsorted(owner, np.arange(len(ends)))
    assert np.array_equal(chords[first, :3], ends[:, :3])
