"""Circles and slots known by their points, and where shapes lie."""

from __future__ import annotations

import math

import numpy as np
import pytest

from millprep.drawing.marks import neighbours
from millprep.drawing.marks.mark import Curve, Source, Stroke, round_of
from millprep.drawing.marks.neighbours import crossings
from millprep.drawing.marks.stroke import slot_of
from millprep.geometry.pose import Affine

SOURCE = Source("foil", "LWPOLYLINE", "2A", 0)


def around(n: int, share: float = 1.0) -> np.ndarray:
    """So many points on a part of a circle of 3 mm around (7, 5)."""
    angle = np.arange(n) * (2 * math.pi * share / n)
    return np.column_stack((7 + 1.5 * np.cos(angle), 5 + 1.5 * np.sin(angle)))


def test_a_circle_is_known_by_eight_points_and_no_fewer() -> None:
    circle = round_of(around(8))
    assert circle is not None
    assert (*circle.at, circle.diameter) == pytest.approx((7, 5, 3))
    assert round_of(around(7)) is None


def test_a_circle_with_a_wide_gap_is_none() -> None:
    # its box is square all the same
    assert round_of(around(16)) is not None
    assert round_of(np.delete(around(16), [2, 3], axis=0)) is None


def test_points_on_one_line_are_neither_circle_nor_slot() -> None:
    line = np.column_stack((np.arange(12.0), np.arange(12.0)))
    assert round_of(line) is None
    assert slot_of(line) is None


def test_an_arc_far_larger_than_any_board_is_refused() -> None:
    ends = np.array([(0.0, 0.0), (1e9, 0.0)])
    arc = Stroke(SOURCE, ends, np.array([0.5]), np.zeros(1), False, Affine())
    with pytest.raises(ValueError, match="an arc is too large to be part of a board"):
        _ = arc.curve


def test_lines_that_touch_everywhere_are_not_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [np.array([(0.0, k), (9.0, 8.0 - k)]) for k in (0.0, 1.0, 2.0)]
    assert crossings(lines) == [(4.5, 4.0)] * 3
    monkeypatch.setattr(neighbours, "MOST_TOUCHING", 2)
    assert crossings(lines) == []


def test_a_curve_drawn_straight_is_no_circle() -> None:
    assert Curve(SOURCE, around(16), True, False).round is None
    assert Curve(SOURCE, around(16), True, True).round is not None
