"""Paths cut apart: nothing is lost, nothing is cut twice, every part on its own side."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from millprep.geometry.path import Path
from millprep.passes.regions import crossings, stretches_by_region
from tests.helpers.chance import examples
from tests.helpers.paths import paths

QUICK = examples(60)
coordinate = st.integers(-500, 500).map(lambda n: n / 10)


def stretches_by_side(
    path: Path, axis: int, lines: list[float], shortest: float
) -> list[tuple[float, float, int]]:
    """The stretches of a path between the join lines: start, end, and which side they lie on.

    Side k lies between lines k - 1 and k, and is cut in pass k (from 0).
    """
    return stretches_by_region(
        path,
        [(axis, line) for line in lines],
        lambda at: sum(at[axis] > line for line in lines),
        shortest,
    )


def sides(path: Path, axis: int, value: float) -> int:
    """How often a finely chorded path changes sides of a line."""
    at = path.flattened(1e-7)[:, axis] - value
    return int(np.count_nonzero(np.diff(at > 0)))


@pytest.mark.law
@QUICK
@given(paths(), st.sampled_from([0, 1]), coordinate)
def test_every_crossing_is_found_and_lies_on_the_line(path: Path, axis: int, at: float) -> None:
    # half a step off the grid of the points, so that none of them lies on the line
    value = at + 0.0051
    found = crossings(path, axis, value)
    for s in found:
        assert path.point_at(s)[axis] == pytest.approx(value, abs=1e-6)
    assert len(found) % 2 == ((path.start[axis] > value) != (path.end[axis] > value))
    assert len(found) >= sides(path, axis, value)


@QUICK
@given(paths(), st.sampled_from([0, 1]), st.data())
def test_between_two_crossings_the_side_stays(path: Path, axis: int, data: st.DataObject) -> None:
    """Also for lines through the path's own vertices."""
    vertex = data.draw(st.integers(0, len(path)))
    value = float(path.xy[vertex, axis])
    found = crossings(path, axis, value)
    assert all(b - a > -1e-9 for a, b in itertools.pairwise(found))
    bounds = [0.0, *found, path.length]
    for a, b in itertools.pairwise(bounds):
        if b - a < 1e-4:
            continue
        inner = [path.point_at(a + (b - a) * t)[axis] - value for t in np.linspace(0.01, 0.99, 25)]
        assert max(inner) <= 1e-6 or min(inner) >= -1e-6


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("start", range(4))
def test_a_circle_is_crossed_twice_wherever_it_starts(
    clockwise: bool, axis: int, start: int
) -> None:
    """Also when the line runs through the two vertices of the circle."""
    angle = math.pi / 2 * start
    xy = np.array([(math.cos(a), math.sin(a)) for a in (angle, angle + math.pi, angle)]).round(15)
    circle = Path(xy, np.array([-1.0, -1.0] if clockwise else [1.0, 1.0]))
    for value in (0.0, 0.5, -0.999):
        found = crossings(circle, axis, value)
        assert len(found) == 2
        for s in found:
            assert circle.point_at(s)[axis] == pytest.approx(value, abs=1e-9)
        assert len(stretches_by_side(circle, axis, [value], 0.0)) == 2
    assert crossings(circle, axis, 1.0) == []
    assert crossings(circle, axis, 1.5) == []


@pytest.mark.law
@QUICK
@given(
    paths(),
    st.sampled_from([0, 1]),
    st.lists(coordinate, min_size=1, max_size=3),
    st.sampled_from([0.0, 0.5, 1.6, 6.0]),
)
def test_the_parts_of_all_passes_make_the_whole_path(
    path: Path, axis: int, at: list[float], shortest: float
) -> None:
    lines = sorted({v + 0.0051 for v in at})
    total = path.length
    found = stretches_by_side(path, axis, lines, shortest)
    assert sum(end - start for start, end, _ in found) == pytest.approx(total, abs=1e-7)
    if len(found) == 1:
        return
    pieces = [path.part(start, end) for start, end, _ in found]
    assert sum(p.length for p in pieces) == pytest.approx(total, abs=1e-6)
    whole = path.line()
    together = shapely.MultiLineString([p.line() for p in pieces])
    assert shapely.hausdorff_distance(whole, together) <= 0.0041
    for n, (start, end, _) in enumerate(found):
        beyond = found[(n + 1) % len(found)]
        if n < len(found) - 1 or path.closed:
            assert (end - beyond[0]) % total == pytest.approx(0, abs=1e-6) or (
                end - beyond[0]
            ) % total == pytest.approx(total, abs=1e-6)
            assert found[n][2] != beyond[2]
        assert end > start
    if shortest == 0:
        for start, end, side in found:
            for t in np.linspace(0.02, 0.98, 15):
                place = path.part(start, end).point_at((end - start) * float(t))[axis]
                low = lines[side - 1] if side else -math.inf
                high = lines[side] if side < len(lines) else math.inf
                assert low - 1e-6 <= place <= high + 1e-6


@pytest.mark.law
@QUICK
@given(paths(), st.sampled_from([0, 1]), coordinate, st.sampled_from([0.5, 1.6, 6.0]))
@example(Path.lines([(0, -0.8), (0, 0.2), (1.43, 0), (0, 0), (0.13, -0.03)]), 1, 0.0, 1.6)
def test_a_part_reaches_past_its_line_by_half_the_shortest_at_most(
    path: Path, axis: int, at: float, shortest: float
) -> None:
    """So a window that holds the line and half of that beside it holds the part."""
    line = at + 0.0051
    found = stretches_by_side(path, axis, [line], shortest)
    if len(found) == 1:
        return
    for start, end, side in found:
        xy = path.part(start, end).flattened()[:, axis]
        beyond = xy.max() - line if side == 0 else line - xy.min()
        assert beyond <= shortest / 2 + 1e-6


def test_short_stretches_stay_with_their_neighbours() -> None:
    teeth = Path.lines([(-10, 0), (0.3, 0), (0.3, 1), (-10, 1), (-10, 2), (10, 2)])
    assert [side for *_, side in stretches_by_side(teeth, 0, [0.0], 0.0)] == [0, 1, 0, 1]
    assert [side for *_, side in stretches_by_side(teeth, 0, [0.0], 2.0)] == [0, 1]
    # a short stretch at the start has none before it and goes with the one after
    first = Path.lines([(-0.5, 0), (10, 0), (10, 5), (-10, 5)])
    assert [side for *_, side in stretches_by_side(first, 0, [0.0], 2.0)] == [1, 0]
    loop = Path.lines([(-0.1, 0), (10, 0), (10, 5), (-0.1, 5), (-0.1, 0)])
    assert len(stretches_by_side(loop, 0, [0.0], 6.0)) == 1


def test_a_path_on_one_side_is_one_part() -> None:
    ((start, end, side),) = stretches_by_side(Path.circle((5.0, 5.0), 2.0), 0, [20.0], 1.0)
    assert (start, side) == (0.0, 0)
    assert end == pytest.approx(4 * math.pi)
    assert stretches_by_side(Path.circle((25.0, 5.0), 2.0), 0, [20.0], 1.0)[0][2] == 1
