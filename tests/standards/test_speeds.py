from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.chips import chip_load, feed_for, surface_speed

POSITIVE = st.floats(0.001, 1e5)


@pytest.mark.law
@given(POSITIVE, POSITIVE, st.integers(1, 8))
def test_feed_is_the_inverse_of_chip_load(feed: float, spindle: float, teeth: int) -> None:
    load = chip_load(feed, spindle, teeth)
    assert feed_for(load, spindle, teeth) == pytest.approx(feed)


@given(POSITIVE, POSITIVE)
def test_twice_the_diameter_or_the_spindle_is_twice_the_speed(d: float, n: float) -> None:
    assert surface_speed(2 * d, n) == surface_speed(d, 2 * n) == 2 * surface_speed(d, n)


def test_what_does_not_turn_has_no_speed() -> None:
    with pytest.raises(ValueError, match="spindle must be above 0, got 0"):
        surface_speed(1.0, 0)
    with pytest.raises(ValueError, match="feed must be above 0, got -1"):
        chip_load(-1, 12000)
    with pytest.raises(ValueError, match="teeth must be above 0, got 0"):
        feed_for(0.02, 12000, 0)
