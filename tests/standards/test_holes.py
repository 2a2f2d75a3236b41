from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.holes import (
    ALLOWANCE,
    ANNULAR_RING_FLOOR,
    Level,
    drill_wander,
    least_hole,
    least_pad,
)

SIZE = st.floats(0.2, 10)
LEVEL = st.sampled_from(list(ALLOWANCE))


@pytest.mark.law
@given(SIZE, LEVEL)
def test_the_least_land_keeps_the_floor_when_the_allowance_is_used_up(
    hole: float, level: Level
) -> None:
    land = least_pad(hole, level)
    assert (land - hole - ALLOWANCE[level]) / 2 == pytest.approx(ANNULAR_RING_FLOOR)


@pytest.mark.law
@given(SIZE)
def test_a_tighter_level_needs_less(size: float) -> None:
    assert least_hole(size, "A") > least_hole(size, "B") > least_hole(size, "C") > size
    assert least_pad(size, "A") > least_pad(size, "B") > least_pad(size, "C") > size


def test_what_is_no_hole() -> None:
    with pytest.raises(ValueError, match="lead must be above 0"):
        least_hole(0)
    with pytest.raises(ValueError, match="hole must be above 0 and annular ring 0 or more"):
        least_pad(1.0, "A", -0.1)
    with pytest.raises(ValueError, match="no level 'D', there are A, B and C"):
        least_hole(1.0, "D")  # type: ignore[arg-type]


def test_a_thin_drill_wanders_by_as_much_as_it_is_thinner() -> None:
    assert [drill_wander(d) for d in (None, 1.0, 0.8, 0.4)] == [0.05, 0.05, 0.05, 0.1]
    with pytest.raises(ValueError, match="drill must be above 0, got 0"):
        drill_wander(0.0)
