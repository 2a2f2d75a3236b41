"""What a join stands, against exact polygons of the two grooves."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from numpy.random import default_rng
from shapely.geometry.base import BaseGeometry

from millprep.passes import tolerances
from tests.helpers.registered import sigma_across

LONG = 4.0
"""How far from the join the copper is looked at, mm; far beyond any width here."""
SEGMENTS = 64
"""Of a quarter circle: a chord lies r · 7.5e-5 inside, under 0.1 µm here."""


def cut(width: float, overrun: float, along: float, across: float) -> BaseGeometry:
    """The groove of both sides about a join at the origin, the second side off by a mismatch."""
    first = shapely.LineString([(-2 * LONG, 0.0), (overrun, 0.0)])
    second = shapely.LineString([(along - overrun, across), (2 * LONG, across)])
    grown = [side.buffer(width / 2, quad_segs=SEGMENTS) for side in (first, second)]
    return shapely.union_all(grown)


def exact_gap(width: float, overrun: float, along: float, across: float) -> float:
    """Distance between the copper on either side of the path near the join; 0 where it holds."""
    window = shapely.box(-LONG, -LONG, LONG, LONG)
    copper = shapely.get_parts(window.difference(cut(width, overrun, along, across)))
    if len(copper) < 2:
        return 0.0
    above, below = sorted(copper, key=lambda part: -part.area)[:2]
    return float(above.distance(below))


def cases(count: int, seed: int) -> list[tuple[float, float, float, float]]:
    """Widths, overruns and mismatches of every kind: lapped, just lapped, drawn apart, open."""
    random = default_rng(seed)
    found = []
    for _ in range(count):
        width = random.uniform(0.08, 0.6)
        overrun = random.choice([0.0, random.uniform(0.0, 0.1), random.uniform(0.1, 0.5)])
        along = random.normal(0.0, 0.15) + random.choice([0.0, 2 * overrun])
        found.append((width, float(overrun), float(along), random.uniform(-1.1, 1.1) * width))
    return found


@pytest.mark.parametrize("seed", range(4))
def test_the_gap_left_is_that_of_the_exact_grooves(seed: int) -> None:
    kinds = [0, 0, 0]
    for width, overrun, along, across in cases(100, seed):
        exact = exact_gap(width, overrun, along, across)
        ours = tolerances.gap_left(width, across, overrun, along)
        # beside a cusp the chords of the arcs move the neck by the root of their sagitta
        assert ours == pytest.approx(exact, abs=2e-3), (width, overrun, along, across)
        kinds[0 if ours == 0 else 1 if ours < width - 1e-9 else 2] += 1
    assert min(kinds) >= 10, "cases of every kind: open, narrowed, whole"


def test_the_check_sees_a_wrong_rule() -> None:
    """What is left between two sides beside each other is not the width less the mismatch."""
    width, overrun, across = 0.2, 0.05, 0.1
    assert abs(exact_gap(width, overrun, 0.0, across) - (width - across)) > 0.05


def test_a_cusp_between_two_round_ends() -> None:
    """0.2 wide, drawn apart by 0.1: 0.173, worked by hand as √(0.2² - 0.1²)."""
    assert tolerances.gap_left(0.2, 0.0, 0.0, 0.1) == pytest.approx(math.sqrt(0.03), abs=1e-12)


@pytest.mark.parametrize("laps", [1, 2, 4])
def test_a_band_leaks_first_at_its_tolerance(laps: int) -> None:
    """Of all mismatches across the path the first that leaves a bridge is W = w + (k - 1)·pitch."""
    random = default_rng(laps)
    for _ in range(15):
        foot = random.uniform(0.08, 0.2)
        pitch = foot * random.uniform(0.6, 0.95)
        limit = tolerances.tolerance_electrical(foot, laps, pitch)
        window = shapely.box(-LONG, -LONG, LONG, LONG)
        for share, parts in ((0.99, 2), (1.01, 1)):
            grooves = shapely.union_all(
                [shapely.affinity.translate(cut(foot, 0.4, 0.0, share * limit), 0.0, k * pitch)
                 for k in range(laps)]
            )  # fmt: skip
            left = shapely.get_parts(window.difference(grooves))
            top, low = (0.0, LONG - 0.01), (0.0, -LONG + 0.01)
            joined = any(p.contains(shapely.Point(top)) and p.contains(shapely.Point(low))
                         for p in left)  # fmt: skip
            assert joined == (parts == 1)


def test_up_to_its_tolerance_a_join_keeps_the_asked_gap_and_beyond_it_does_not() -> None:
    random = default_rng(11)
    narrowed = 0
    for _ in range(60):
        foot, laps = random.uniform(0.08, 0.2), int(random.integers(1, 5))
        pitch = foot * 0.85
        width = tolerances.tolerance_electrical(foot, laps, pitch)
        gap = width * random.uniform(0.4, 1.0)
        overrun = random.uniform(0.0, 0.5)
        limit = tolerances.tolerance_gap(foot, laps, pitch, gap, overrun)
        if not limit:
            assert exact_gap(width, overrun, 0.0, 0.0) < gap
            continue
        narrowed += 1
        for share in (0.2, 0.6, 0.98):
            assert exact_gap(width, overrun, 0.0, share * limit) >= gap - 2e-3
        if limit < width - 1e-6:
            beyond = limit + 0.02 * width
            assert exact_gap(width, overrun, 0.0, beyond) <= gap + 2e-3
    assert narrowed > 20


def test_a_band_narrower_than_the_asked_gap_has_nothing_to_spare() -> None:
    assert tolerances.tolerance_gap(0.1, 2, 0.08, 0.2, 0.4) == 0.0


def test_mismatch_across_the_path_alone_counts() -> None:
    """Turned with the path, the error of the holes is the same as in a turned frame."""
    holes = np.array([(0.0, 0.0), (80.0, 100.0), (30.0, 5.0)])
    cos, sin = math.cos(0.7), math.sin(0.7)
    turn = np.array([[cos, -sin], [sin, cos]])
    at, across = np.array([50.0, -20.0]), np.array([0.8, 0.6])
    here = sigma_across(holes, (50.0, -20.0), (0.8, 0.6), 0.03)
    x, y = (turn @ at).tolist()
    u, v = (turn @ across).tolist()
    assert sigma_across(holes @ turn.T, (x, y), (u, v), 0.03) == pytest.approx(here)


def ticked(
    foot: float, laps: int, pitch: float, tick: float, overrun: float, across: float
) -> BaseGeometry:
    """Both sides of a band at the origin, laps upward, each with a tick at its end."""
    sides = []
    top = (laps - 1) * pitch
    for end, off, away in ((overrun, 0.0, -2 * LONG), (-overrun, across, 2 * LONG)):
        lines = [[(away, k * pitch + off), (end, k * pitch + off)] for k in range(laps)]
        lines[-1].append((end, top + off + tick))
        sides += [shapely.LineString(line) for line in lines]
    grown = [side.buffer(foot / 2, quad_segs=SEGMENTS) for side in sides]
    return shapely.union_all(grown)


def ticked_gap(
    foot: float, laps: int, pitch: float, tick: float, overrun: float, across: float
) -> float:
    """Distance from the copper inside to whatever else there is; 0 where the join leaks."""
    window = shapely.box(-LONG, -LONG, LONG, LONG)
    grooves = ticked(foot, laps, pitch, tick, overrun, across)
    copper = shapely.get_parts(window.difference(grooves))
    inner = [p for p in copper if p.contains(shapely.Point(0.0, -LONG + 0.01))]
    outer = [p for p in copper if p.contains(shapely.Point(0.0, LONG - 0.01))]
    if inner[0] is outer[0]:
        return 0.0
    return min(float(inner[0].distance(p)) for p in outer)


@pytest.mark.parametrize("laps", [1, 2, 4])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_ticks_add_their_length_to_what_a_band_stands(laps: int, way: float) -> None:
    random = default_rng(laps)
    for _ in range(15):
        foot = random.uniform(0.08, 0.2)
        pitch = foot * random.uniform(0.6, 0.95)
        tick = random.uniform(0.1, 0.6)
        e = random.uniform(0.3, 0.6)
        limit = tolerances.tolerance_electrical(foot, laps, pitch, tick)
        assert limit == tolerances.tolerance_electrical(foot, laps, pitch) + tick
        for share, holds in ((0.3, True), (0.7, True), (0.99, True), (1.01, False)):
            left = ticked_gap(foot, laps, pitch, tick, e, way * share * limit)
            assert (left > 0) == holds, (foot, pitch, tick, e, share)


@pytest.mark.parametrize("laps", [1, 3])
def test_with_ticks_the_asked_gap_stays_up_to_the_tolerance(laps: int) -> None:
    random = default_rng(20 + laps)
    kinds = set()
    for _ in range(40):
        foot = random.uniform(0.08, 0.2)
        pitch, tick = foot * 0.85, random.uniform(0.1, 0.5)
        width = tolerances.tolerance_electrical(foot, laps, pitch)
        gap = random.choice([foot * random.uniform(0.5, 1.0), width])
        e = width / 2 + random.uniform(0.0, 0.3)
        limit = tolerances.tolerance_gap(foot, laps, pitch, float(gap), e, tick)
        kinds.add(limit > width + 1e-9)
        for share in (0.2, 0.6, 0.98):
            for way in (1.0, -1.0):
                left = ticked_gap(foot, laps, pitch, tick, e, way * share * limit)
                assert left >= gap - 2e-3
        assert ticked_gap(foot, laps, pitch, tick, e, limit + 0.02 * width) <= gap + 2e-3
    assert True in kinds
    assert kinds == {True, False} or laps == 1


def test_the_check_sees_a_tick_that_is_too_short() -> None:
    args = (0.15, 2, 0.12, 0.3, 0.4)
    beyond = 0.9 * tolerances.tolerance_electrical(0.15, 2, 0.12, 0.3)
    assert ticked_gap(*args, beyond) > 0
    assert ticked_gap(0.15, 2, 0.12, 0.1, 0.4, beyond) == 0


def test_the_overrun_leaves_the_full_gap_at_a_join_drawn_apart() -> None:
    for width in (0.14, 0.45, 1.2):
        e = tolerances.overrun(0.4, width, 0.03)
        assert e >= 0.4
        for across in (0.0, 0.5 * width, 0.99 * width):
            assert tolerances.gap_left(width, across, e, 3 * 0.03) == pytest.approx(width)
            assert exact_gap(width, e, 3 * 0.03, across) == pytest.approx(width, abs=2e-3)
    # the asked one alone would not have done
    assert exact_gap(1.2, 0.4, 0.0, 0.99 * 1.2) < 1.1
