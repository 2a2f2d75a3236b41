"""Linking: no path is lost, closed ones are entered anywhere, only free ways are taken."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.offset import from_line
from millprep.model.cut import Lap
from millprep.toolpaths.isolation import isolate
from millprep.toolpaths.linking import CRUMB, LONGEST, PAST, _parts, linked, linked_laps
from tests.helpers.chance import examples
from tests.helpers.islands import islands, shapes, swept
from tests.helpers.workshop import COPPER, disc, isolation, mill, vee

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
def test_all_paths_are_run_and_ways_are_no_longer_than_allowed(
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


EDGE = shapely.box(-50, -50, 50, 50)
PLAN = isolation(vee(), gap=0.4, depth=0.08)
MILL = isolation(mill(0.4), gap=0.4, depth=0.08)


def made(*pieces: shapely.Polygon, plan: object = PLAN) -> list[Lap]:
    """The laps around pieces, not yet linked."""
    return list(isolate(islands(*pieces), EDGE, plan, COPPER)[0])  # type: ignore[arg-type]


def chains(laps: Sequence[Lap]) -> list[Lap]:
    return linked_laps(laps, (vee(), mill(0.4)), COPPER)


def turned(lap: Lap) -> float:
    """How often a closed path turns counter-clockwise."""
    xy = lap.path.line(1e-4).coords
    way = np.diff(np.array([*xy, xy[1]]), axis=0)
    way = way[np.hypot(*way.T) > 1e-9]
    angles = np.diff(np.arctan2(way[:, 1], way[:, 0]))
    return float(((angles + math.pi) % math.tau - math.pi).sum() / math.tau)


def test_laps_around_a_piece_are_one_path() -> None:
    laps = made(disc(0, 0, 5))
    assert len(laps) > 2
    (chain,) = chains(laps)
    assert chain.path.closed
    step = laps[1].path.length / math.tau - laps[0].path.length / math.tau
    more = (len(laps) - 1) * 2 * (math.hypot(step, PAST) + PAST)
    whole = sum(lap.path.length for lap in laps)
    assert whole < chain.path.length < whole + more + 1e-3
    # all of them are climbed around
    assert turned(laps[0]) == pytest.approx(-1)
    assert turned(chain) == pytest.approx(-len(laps))


def test_pieces_are_linked_where_their_grooves_meet() -> None:
    foot = 0.4
    for gap, paths in ((2 * foot - 0.02, 1), (2 * foot + 0.01, 2)):
        laps = made(shapely.box(0, 0, 4, 3), shapely.box(4 + gap, 0, 9, 3), plan=MILL)
        assert len(laps) == 2
        assert len(chains(laps)) == paths


def test_an_open_lap_is_the_trunk_and_keeps_its_ends() -> None:
    laps = made(shapely.box(0, 0, 4, 3), shapely.box(4.6, 0, 9, 3), plan=MILL)
    whole = laps[0].path
    half = replace(laps[0], path=whole.part(0.0, whole.length - 2.0))
    (chain,) = chains([half, laps[1]])
    assert not chain.path.closed
    assert chain.path.start == half.path.start
    assert chain.path.end == pytest.approx(half.path.end, abs=1e-9)
    # two open laps end at a join of passes, and no link leads from one to the other
    again = replace(laps[1], path=laps[1].path.part(0.0, laps[1].path.length - 2.0))
    assert chains([half, again]) == [half, again]


def test_no_other_copy_cutter_or_depth_is_linked() -> None:
    one, other = made(shapely.box(0, 0, 4, 3), shapely.box(4.6, 0, 9, 3), plan=MILL)
    for change in ({"placement": 1}, {"cutter": "vee"}, {"depth": 0.1}):
        apart = replace(other, **change)
        assert chains([one, apart]) == [one, apart]


def test_a_program_can_be_resumed_after_no_more_than_the_longest_path() -> None:
    long = shapely.box(0, 0, LONGEST / 2, 3)
    laps = list(isolate(islands(long), long.buffer(10), PLAN, COPPER)[0])
    assert chains(laps) == laps
    short = [shapely.box(0, 4 * n, 30, 4 * n + 3.4) for n in range(40)]
    laps = list(isolate(islands(*short), shapely.box(-9, -9, 99, 200), MILL, COPPER)[0])
    paths = [chain.path.length for chain in chains(laps)]
    assert 1 < len(paths) < 5
    assert max(paths) < LONGEST + 40


@pytest.mark.law
@examples(30)
@given(st.lists(st.tuples(shapes, st.integers(0, 24), st.integers(0, 24)), min_size=1, max_size=6))
def test_linked_laps_cut_what_they_cut_alone(
    drawn: list[tuple[shapely.Polygon, int, int]],
) -> None:
    """All that the laps cut, at the surface and at the foot, and nothing more."""
    pieces: list[shapely.Polygon] = []
    for shape, x, y in drawn:
        piece = shapely.affinity.translate(shape, x / 5, y / 5)
        if all(piece.distance(other) > 0.2 for other in pieces):
            pieces.append(piece)
    laps = made(*pieces)
    paths = chains(laps)
    assert len(paths) <= len(laps)
    for level in (0.0, COPPER):
        alone, linked_up = (swept(some, (vee(),), level, PLAN) for some in (laps, paths))
        assert linked_up.difference(alone.buffer(0.0015)).is_empty
        assert alone.difference(linked_up.buffer(0.0005)).is_empty


def test_a_stretch_of_a_closed_path_may_go_past_its_start() -> None:
    """Each part runs less than once around, and what would be a crumb is left out."""
    path = from_line(RINGS[0])
    length = path.length
    for start, end, parts in (
        (1.0, 5.0, [4.0]),
        (length + 1.0, length + 5.0, [4.0]),
        (1.0, length + 3.0, [length - 1.0, 3.0]),
        (length - CRUMB / 2, length + 3.0, [3.0]),
        (1.0, 1.0 + CRUMB / 2, []),
        (0.5, 2 * length + 1.0, [length - 0.5, length, 1.0]),
    ):
        found = [part.length for part in _parts(path, start, end)]
        assert found == pytest.approx(parts)
