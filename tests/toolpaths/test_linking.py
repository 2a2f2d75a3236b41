"""Courses in chains: none is lost, rings are entered anywhere, only free ways are taken."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.toolpaths.linking import linked

RINGS = [
    shapely.LineString(shapely.Point(0, 0).buffer(radius).exterior.coords)
    for radius in (5.0, 4.0, 3.0)
]


def anywhere(_: shapely.LineString) -> bool:
    return True


def test_rings_in_one_another_become_one_chain() -> None:
    (chain,) = linked(RINGS, 1.5, anywhere)
    assert chain.length == pytest.approx(sum(lap.length for lap in RINGS) + 2.0, abs=0.01)
    for lap in RINGS:
        assert chain.buffer(1e-6).contains(lap)


def test_what_lies_too_far_stays_apart() -> None:
    assert linked(RINGS, 0.9, anywhere) == RINGS


def test_a_way_that_is_not_free_is_not_taken() -> None:
    wall = shapely.LineString([(0, -10), (0, 10)])
    lines = [shapely.LineString([(-3, 0), (-1, 0)]), shapely.LineString([(1, 0), (3, 0)])]
    assert len(linked(lines, 3, anywhere)) == 1
    assert linked(lines, 3, lambda way: not way.intersects(wall)) == lines


def test_open_lines_keep_their_direction() -> None:
    lines = [shapely.LineString([(0, 0), (1, 0)]), shapely.LineString([(3, 0), (1.5, 0)])]
    # the second one ends near the first one's end, but starts too far from it
    assert linked(lines, 1, anywhere) == lines


@given(
    st.lists(st.tuples(st.floats(-9, 9), st.floats(-9, 9), st.floats(0.2, 3)), max_size=12),
    st.floats(0.1, 6),
)
def test_all_courses_are_run_and_ways_are_no_longer_than_allowed(
    discs: list[tuple[float, float, float]], longest: float
) -> None:
    laps = [shapely.LineString(shapely.Point(x, y).buffer(r).exterior.coords) for x, y, r in discs]
    chains = linked(laps, longest, anywhere)
    ran = sum(chain.length for chain in chains)
    links = len(laps) - len(chains)
    whole = sum(lap.length for lap in laps)
    assert whole - 1e-6 <= ran <= whole + links * longest + 1e-6
    around = shapely.union_all([chain.buffer(1e-4) for chain in chains])
    assert all(around.contains(lap) for lap in laps)
