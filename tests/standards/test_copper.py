from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.copper import resistivity, sheet_resistance, wire_resistance

SIZE = st.floats(0.01, 1000)


@pytest.mark.law
@given(st.floats(-60, 199))
def test_warmer_copper_resists_more(celsius: float) -> None:
    assert resistivity(celsius + 1) > resistivity(celsius)


def test_what_is_no_copper() -> None:
    with pytest.raises(ValueError, match="thickness must be above 0, got 0"):
        sheet_resistance(0)
    with pytest.raises(ValueError, match="between -60 and 200 °C, got 300"):
        resistivity(300)


@pytest.mark.law
@given(SIZE, SIZE, st.floats(-60, 200))
def test_a_wire_is_a_strip_rolled_up(length: float, side: float, celsius: float) -> None:
    strip = sheet_resistance(0.035, celsius) * length / side
    assert wire_resistance(length, side * 0.035, celsius) == pytest.approx(strip)


def test_what_is_no_wire() -> None:
    with pytest.raises(ValueError, match="length and area must be above 0"):
        wire_resistance(10, 0)
