from __future__ import annotations

import itertools

import numpy as np

from millprep.drawing.marks.chain import chain
from millprep.drawing.marks.mark import Curve, Source


def line(*points: tuple[float, float], handle: str = "1") -> Curve:
    return Curve(Source("rim", "LINE", handle, 0), np.array(points, dtype=float), False, False)


SQUARE = [((0, 0), (1, 0)), ((1, 0), (1, 1)), ((1, 1), (0, 1)), ((0, 1), (0, 0))]


def test_lines_in_any_order_and_direction_close() -> None:
    mixed = [line(*SQUARE[2]), line(*SQUARE[0][::-1]), line(*SQUARE[3]), line(*SQUARE[1][::-1])]
    found = chain(mixed)
    assert len(found.loops) == 1
    assert not found.opened
    assert {tuple(p) for p in found.loops[0].points} == {(0, 0), (1, 0), (1, 1), (0, 1)}


def test_a_gap_within_the_tolerance_is_bridged() -> None:
    lines = [line(*pair) for pair in SQUARE[:3]] + [line((0, 1), (0, 0.0009))]
    found = chain(lines)
    assert len(found.loops) == 1
    assert len(found.loops[0].points) == 5


def test_a_wider_gap_stays_open() -> None:
    lines = [line(*pair) for pair in SQUARE[:3]] + [line((0, 1), (0, 0.0011))]
    found = chain(lines)
    assert not found.loops
    assert len(found.opened) == 1
    assert len(found.opened[0].sources) == 4


def test_segments_shorter_than_the_tolerance_keep_their_ends() -> None:
    angles = np.linspace(0, 2 * np.pi, 65)
    ring = np.column_stack((np.cos(angles), np.sin(angles))) * 0.005
    ring[-1] = ring[0]
    found = chain([line(tuple(a), tuple(b)) for a, b in itertools.pairwise(ring)])
    assert len(found.loops) == 1
    assert len(found.loops[0].points) == 64


def test_a_square_drawn_twice_is_one_square() -> None:
    found = chain([line(*pair) for pair in SQUARE * 2])
    assert len(found.loops) == 1
    assert len(found.repeated) == 4


def test_two_squares_may_share_an_edge_drawn_once_each() -> None:
    right = [((1, 0), (2, 0)), ((2, 0), (2, 1)), ((2, 1), (1, 1)), ((1, 1), (1, 0))]
    found = chain([line(*pair) for pair in SQUARE + right])
    assert not found.opened
    assert not found.branches
    # the shared edge may cancel: what counts is the area enclosed, odd or even
    x = [loop.points[:, 0] for loop in found.loops]
    assert max(v.max() for v in x) == 2
    assert min(v.min() for v in x) == 0


def test_two_loops_that_touch_in_a_corner_come_apart() -> None:
    second = [((1, 1), (2, 1)), ((2, 1), (2, 2)), ((2, 2), (1, 2)), ((1, 2), (1, 1))]
    found = chain([line(*pair) for pair in SQUARE + second])
    assert sorted(len(loop.points) for loop in found.loops) == [4, 4]
    assert not found.branches


def test_a_line_across_is_a_branch() -> None:
    found = chain([*(line(*pair) for pair in SQUARE), line((0, 0), (1, 1))])
    assert len(found.branches) == 2
    assert found.opened


def test_a_line_of_no_length_is_dropped() -> None:
    found = chain([*(line(*pair) for pair in SQUARE), line((1, 1), (1, 1), handle="99")])
    assert len(found.loops) == 1
    assert [source.handle for source in found.repeated] == ["99"]
