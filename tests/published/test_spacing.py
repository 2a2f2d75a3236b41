"""IPC-2221 (1998, A, B) table 6-1, cell by cell.

Read at second hand, in three independent copies that agree in every cell: a public
note taken from the text layer of IPC-2221 (1998) section 6.3 and compared with seven
reproductions; an open calculator module citing IPC-2221B (2012); a table in the source of
another calculator, up to its row that starts at 151 V. The standard itself was not read.
"""

from __future__ import annotations

import pytest

from millprep.standards.spacing import COLUMNS, PER_VOLT, Column, required

COLUMN_ORDER: tuple[Column, ...] = ("B1", "B2", "B3", "B4", "A5", "A6", "A7")
TABLE = """
0-15     0.05  0.1   0.1   0.05  0.13  0.13  0.13
16-30    0.05  0.1   0.1   0.05  0.13  0.25  0.13
31-50    0.1   0.6   0.6   0.13  0.13  0.4   0.13
51-100   0.1   0.6   1.5   0.13  0.13  0.5   0.13
101-150  0.2   0.6   3.2   0.4   0.4   0.8   0.4
151-170  0.2   1.25  3.2   0.4   0.4   0.8   0.4
171-250  0.2   1.25  6.4   0.4   0.4   0.8   0.4
251-300  0.2   1.25  12.5  0.4   0.4   0.8   0.8
301-500  0.25  2.5   12.5  0.8   0.8   1.5   0.8
"""
CELLS = [
    (*map(int, row.split()[0].split("-")), column, float(gap))
    for row in TABLE.strip().splitlines()
    for column, gap in zip(COLUMN_ORDER, row.split()[1:], strict=True)
]


@pytest.mark.parametrize(("low", "high", "column", "gap"), CELLS)
def test_every_cell(low: int, high: int, column: Column, gap: float) -> None:
    assert required(low, column) == required(high, column) == gap


def test_every_cell_was_read() -> None:
    assert len(CELLS) == 9 * 7
    assert tuple(COLUMNS) == COLUMN_ORDER


@pytest.mark.parametrize(
    ("column", "volts", "gap"),
    [
        ("B1", 600, 0.50),
        ("B2", 600, 3.00),
        ("B3", 600, 15.0),
        ("B4", 600, 1.105),
        ("A5", 600, 1.105),
        ("A6", 600, 1.805),
        ("A7", 600, 1.105),
        ("B2", 1000, 5.00),
        ("A6", 1000, 3.025),
    ],
)
def test_above_500_volts_each_further_volt_adds(column: Column, volts: int, gap: float) -> None:
    """The rule as one copy quotes it from the standard: 600 V − 500 V = 100 V;
    0.25 mm + (100 V × 0.0025 mm). The other columns are worked out from it."""
    assert required(volts, column) == pytest.approx(gap)


def test_the_figures_per_volt() -> None:
    per_volt = dict(zip(COLUMN_ORDER, PER_VOLT, strict=True))
    assert per_volt == {
        "B1": 0.0025, "B2": 0.005, "B3": 0.025,
        "B4": 0.00305, "A5": 0.00305, "A6": 0.00305, "A7": 0.00305,
    }  # fmt: skip


@pytest.mark.parametrize(("volts", "gap"), [(250, 0.8), (300, 0.8), (350, 1.5), (450, 1.5)])
def test_leads_of_valve_boards(volts: int, gap: float) -> None:
    assert required(volts, "A6") == gap
