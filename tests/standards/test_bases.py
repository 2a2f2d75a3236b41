from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.bases import BASES, Base, FloatArray, patterns

SEVEN, NINE, OCTAL = BASES


def laid(base: Base, degrees: float = 0, at: tuple[float, float] = (0, 0)) -> FloatArray:
    a = math.radians(degrees)
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    places: FloatArray = base.places() @ turn + at
    return places


@pytest.mark.law
@given(
    st.sampled_from(BASES),
    st.floats(0, 360),
    st.floats(-200, 200),
    st.permutations(range(7)),
)
def test_a_base_is_found_wherever_and_however_it_lies(
    base: Base, degrees: float, x: float, order: list[int]
) -> None:
    points = laid(base, degrees, (x, 7))
    shuffled = np.concatenate((points[order], points[7:]))
    (found,) = patterns(shuffled)
    assert found.base == base
    assert found.error < 1e-9
    assert not found.wrong
    assert found.centre == pytest.approx((x, 7))
    assert found.circle == pytest.approx(base.circle)
    if base.pins < base.positions:
        assert shuffled[list(found.holes)] == pytest.approx(points)


def test_a_7_pin_base_on_a_circle_of_9_8_is_found_and_wrong() -> None:
    (found,) = patterns(laid(SEVEN) * 9.8 / 9.53)
    assert found.base == SEVEN
    assert found.circle == pytest.approx(9.8)
    # All pins but one of a ring: their centroid lies a seventh of a radius below the centre,
    # and the pins beside the gap are farthest from it.
    radius, step = SEVEN.circle / 2, math.radians(45)
    from_centroid = math.hypot(math.sin(step), math.cos(step) + 1 / 7) * radius
    assert found.error == pytest.approx((9.8 / 9.53 - 1) * from_centroid)
    assert found.error > 0.1
    assert found.wrong


def test_one_pin_out_of_place_is_wrong() -> None:
    points = laid(NINE)
    points[4] += (0.14, 0)
    (found,) = patterns(points)
    assert found.base == NINE
    assert found.wrong
    assert 0.1 < found.error < 0.14


def test_a_pin_too_far_out_of_place_is_no_pin() -> None:
    points = laid(NINE)
    points[4] += (0.25, 0)
    assert patterns(points) == ()


def test_a_hole_in_the_gap_is_no_base() -> None:
    full = np.vstack((laid(SEVEN), [(0, SEVEN.circle / 2)]))
    assert patterns(full) == ()
    assert patterns(laid(SEVEN)[:6]) == ()
    assert patterns([]) == ()


def test_a_circle_too_far_off_is_no_base() -> None:
    assert patterns(laid(SEVEN) * 1.2) == ()
    assert patterns(laid(NINE) * 0.8) == ()


def test_a_grid_of_holes_holds_no_base() -> None:
    x, y = np.meshgrid(np.arange(12) * 2.54, np.arange(12) * 2.54)
    assert patterns(np.column_stack((x.ravel(), y.ravel()))) == ()


def test_many_bases_among_other_holes() -> None:
    sockets = [laid(BASES[k % 3], 31 * k, (25.0 * k, 3 * k)) for k in range(6)]
    spigots = [(25.0 * k, 3.0 * k) for k in range(6)]
    found = patterns(np.vstack((*sockets, spigots)))
    assert [p.base for p in found] == [*BASES, *BASES]


def test_pins_count_clockwise_on_the_copper_side() -> None:
    points = laid(NINE)
    (found,) = patterns(points)
    assert found.numbered("copper") == tuple(range(9))
    # Pin 1 stands right of a gap at the top, seen from the copper.
    assert points[found.numbered("copper")[0]][0] > 0
    assert found.numbered("components") == tuple(reversed(range(9)))
    mirrored = points * (-1, 1)
    (other,) = patterns(mirrored)
    assert other.numbered("components") == tuple(range(9))


def test_no_hole_is_in_two_bases() -> None:
    points = laid(NINE)
    # two circles that touch where each has a pin
    other = np.delete(points, 7, axis=0) + (points[2] - points[7])
    shared = np.vstack((points, other))
    (found,) = patterns(shared)
    assert found.base == NINE


def test_empty_positions_lie_next_to_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    six = Base("invented", 12.0, 8, 6, 1.0)
    monkeypatch.setattr("millprep.standards.bases.BASES", (six,))
    step = math.pi / 4 * np.arange(8)
    ring = 6.0 * np.column_stack((np.cos(step), np.sin(step)))
    (found,) = patterns(ring[[0, 1, 2, 3, 4, 5]])
    # clockwise, so backwards
    assert found.holes == (5, 4, 3, 2, 1, 0)
    assert patterns(ring[[0, 1, 2, 4, 5, 6]]) == ()
