"""A wider gap around lands takes floating copper and nothing else."""

from __future__ import annotations

import shapely

from millprep.toolpaths.clearing_of_blank import SPARE, copper_around_pads

LAND = shapely.Point(10, 10).buffer(1.0, quad_segs=64)
NEIGHBOUR = shapely.box(12, 5, 14, 15)
FLOATING = shapely.box(0, 0, 20, 20).difference(
    shapely.union_all([LAND, NEIGHBOUR]).buffer(0.31, quad_segs=64)
)


def test_floating_copper_is_taken_within_the_gap_and_kept_beyond() -> None:
    area = copper_around_pads(FLOATING, [LAND], gap=0.8, skirt=0.01)
    left = FLOATING.difference(area)
    assert 0.8 + 0.01 <= left.distance(LAND) <= 0.8 + 0.01 + SPARE + 1e-3
    assert FLOATING.buffer(1e-9).contains(area)
    assert LAND.buffer(0.83).contains(area)


def test_without_lands_nothing_is_taken() -> None:
    assert copper_around_pads(FLOATING, [], gap=0.8, skirt=0.0).is_empty
