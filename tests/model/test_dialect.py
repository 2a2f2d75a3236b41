from __future__ import annotations

import pytest

from millprep.model.dialect import PROMISED, Dialect


def test_the_default_keeps_what_is_promised_of_an_edge() -> None:
    """The house's table: flattening 2, sagitta 2, gouge 3, arc fit 4, digits 0.1 µm."""
    assert Dialect().edge == pytest.approx(0.0111)
    assert Dialect(arcs=False, decimals=3).edge == pytest.approx(0.014)
    assert Dialect(arcs=False, decimals=3).edge < PROMISED < Dialect(arcs=False, decimals=2).edge


@pytest.mark.parametrize("decimals", [1, 7, -1])
def test_decimals_stay_within_bounds(decimals: int) -> None:
    with pytest.raises(ValueError, match=r"decimals\n.*(greater|less) than or equal to [26]"):
        Dialect(decimals=decimals)


def test_arcs_need_three_decimals() -> None:
    with pytest.raises(ValueError, match="decimals must be at least 3 where arcs = true"):
        Dialect(decimals=2)
