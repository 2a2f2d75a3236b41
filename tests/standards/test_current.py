from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.copper import OutsideCurve, capacity, section_for, width_for

WIDTH = st.floats(0.05, 5)
RISE = st.floats(1, 40)


@pytest.mark.law
@given(WIDTH, st.floats(0.017, 0.07), RISE)
def test_the_curve_reads_the_same_both_ways(width: float, thickness: float, rise: float) -> None:
    amperes = capacity(width, thickness, rise)
    assert width_for(amperes, thickness, rise) == pytest.approx(width)
    assert section_for(amperes, rise) == pytest.approx(width * thickness)


@pytest.mark.law
@given(WIDTH, RISE)
def test_inside_the_board_half_as_much(width: float, rise: float) -> None:
    outside = capacity(width, 0.035, rise)
    assert capacity(width, 0.035, rise, inside=True) == pytest.approx(outside / 2)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [((0, 0.035, 10), "width"), ((1, -1, 10), "thickness"), ((1, 0.035, 0), "rise")],
)
def test_sizes_above_0(arguments: tuple[float, float, float], words: str) -> None:
    with pytest.raises(ValueError, match=f"{words}.* must be above 0"):
        capacity(*arguments)


def test_no_current_has_no_section() -> None:
    with pytest.raises(ValueError, match="amperes must be above 0, got 0"):
        section_for(0, 10)
    with pytest.raises(ValueError, match="thickness must be above 0"):
        width_for(1, 0, 10)


def test_beyond_the_curves_says_where_they_end() -> None:
    with pytest.raises(OutsideCurve, match=r"20 A would need 18\..* the curves end at 10.16 mm"):
        width_for(20, 0.035, 10)
