from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.chips import LEAST, SURELY_CUTS, Kind, bounds


@pytest.mark.law
@pytest.mark.parametrize("kind", list(LEAST))
@given(width=st.floats(0.01, 50))
def test_bounds_are_in_order_and_grow_with_the_width(kind: Kind, width: float) -> None:
    least, most = bounds(kind, width)
    wider = bounds(kind, 2 * width)
    assert 0 < least < most
    assert least <= SURELY_CUTS
    assert wider[0] >= least
    assert wider[1] >= most
    assert bounds(kind, width, "FR-2")[1] > most
    assert bounds(kind, width, "CEM-1") == bounds(kind, width, "FR-4") == (least, most)


def test_what_has_no_width_has_no_bounds() -> None:
    with pytest.raises(ValueError, match="width must be above 0, got 0"):
        bounds("drill", 0)
