from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.standards.spacing import COLUMNS, ROWS, Column, required

COLUMN = st.sampled_from(list(COLUMNS))


@pytest.mark.law
@given(st.floats(0, 5000), st.floats(0, 5000), COLUMN)
def test_more_volts_never_need_less(a: float, b: float, column: Column) -> None:
    low, high = sorted((a, b))
    assert required(low, column) <= required(high, column)


@pytest.mark.law
@given(st.sampled_from([row[0] for row in ROWS[:-1]]), st.floats(0.001, 0.999), COLUMN)
def test_between_two_whole_volts_the_higher_row_counts(
    volts: float, more: float, column: Column
) -> None:
    assert required(volts + more, column) == required(volts + 1, column)


def test_nothing_jumps_at_500_volts() -> None:
    assert required(500.001) == pytest.approx(required(500), abs=1e-4)


@pytest.mark.parametrize("volts", [-1, float("nan"), float("inf")])
def test_volts_that_are_none(volts: float) -> None:
    with pytest.raises(ValueError, match="volts between conductors must be 0 or more"):
        required(volts)


def test_a_column_the_table_does_not_have() -> None:
    with pytest.raises(ValueError, match="no column 'B5', there are B1, B2, B3, B4, A5, A6, A7"):
        required(10, "B5")  # type: ignore[arg-type]
