from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.verify.rules.gaps import Gap, Ways, gaps, gaps_to

CELL = st.integers(0, 5)


@pytest.mark.law
@given(st.lists(st.tuples(CELL, CELL), min_size=2, max_size=12, unique=True), st.floats(0.3, 4))
def test_every_gap_within_reach_is_as_wide_as_areas_are_apart(
    cells: list[tuple[int, int]], reach: float
) -> None:
    discs = [shapely.Point(3 * x, 2.5 * y).buffer(0.4 + 0.1 * (x % 3)) for x, y in cells]
    found = {(gap.area, gap.other): gap for gap in gaps(discs, reach)}
    for a, b in itertools.combinations(range(len(discs)), 2):
        apart = discs[a].distance(discs[b])
        if abs(apart - reach) < 1e-9:
            continue
        assert ((a, b) in found) == (apart < reach)
        if (a, b) in found:
            assert found[a, b].width == pytest.approx(apart)
            middle = shapely.Point(found[a, b].at)
            assert middle.distance(discs[a]) == pytest.approx(apart / 2)
            assert middle.distance(discs[b]) == pytest.approx(apart / 2)


def test_an_area_within_another_has_a_gap_too() -> None:
    around = shapely.difference(shapely.box(0, 0, 10, 10), shapely.box(4, 4, 6, 6))
    (gap,) = gaps([around, shapely.box(4.5, 4.3, 5.5, 5.5)], 1.0)
    assert gap.width == pytest.approx(0.3)
    assert gaps([], 1.0) == ()


def test_further_shapes_are_numbered_on_and_may_overlap() -> None:
    areas = [shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)]
    found = gaps_to(areas, [shapely.Point(0.5, 0.5).buffer(0.2), shapely.box(4.4, 0, 5, 1)], 1.0)
    assert [(g.area, g.other, round(g.width, 6)) for g in found] == [(0, 2, 0.0), (1, 3, 0.4)]
    assert gaps_to([], areas, 1.0) == ()


def gap(one: int, other: int, width: float) -> Gap:
    at = (float(one), float(other))
    return Gap(one, other, width, (at, at))


def test_ways_lead_over_stones_only() -> None:
    ways = Ways([gap(0, 1, 0.3), gap(1, 2, 0.3), gap(0, 2, 1.0), gap(2, 3, 0.1)])
    over = ways.shortest([0], {1}, 9.0)[2]
    assert over.length == pytest.approx(0.6)
    assert [g.width for g in over.gaps] == [0.3, 0.3]
    assert ways.shortest([0], set(), 9.0)[2].length == 1.0
    assert 3 not in ways.shortest([0], {1}, 9.0)
    assert 2 not in ways.shortest([0], {1}, 0.5)


@given(st.integers(0, 2**32 - 1))
def test_shortest_ways_against_every_order_of_stones(seed: int) -> None:
    random = np.random.default_rng(seed)
    wide = {pair: float(random.uniform(0, 1)) for pair in itertools.combinations(range(6), 2)}
    wide = {pair: w for pair, w in wide.items() if random.random() < 0.7}
    ways = Ways([gap(*pair, w) for pair, w in wide.items()], 0.2)
    found = ways.shortest([0], {2, 3, 4, 5}, 99.0)
    lengths = []
    for n in range(5):
        for order in itertools.permutations((2, 3, 4, 5), n):
            steps = [tuple(sorted(step)) for step in itertools.pairwise((0, *order, 1))]
            if all(step in wide for step in steps):
                parts = [wide[a, b] for a, b in steps]
                lengths.append(sum(w for w in parts if w >= 0.2))
    assert (1 in found) == bool(lengths)
    if lengths:
        assert found[1].length == pytest.approx(min(lengths))
