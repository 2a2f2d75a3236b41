"""Spacing of conductors against voltage: IPC-2221 (1998, A, B), table 6-1.

Copied from three independent secondary sources that agree in every cell; the
standard itself was not read, and the standard itself decides. The additive rule above 500 V
follows the standard's own example as one of them quotes it.
"""

from __future__ import annotations

from typing import Literal, get_args

Column = Literal["B1", "B2", "B3", "B4", "A5", "A6", "A7"]

COLUMNS: dict[Column, str] = {
    "B1": "inside the board",
    "B2": "outside, uncoated, up to 3050 m above the sea",
    "B3": "outside, uncoated, above 3050 m",
    "B4": "outside, permanent polymer coating",
    "A5": "outside, conformal coating over the assembly",
    "A6": "leads and terminations, uncoated",
    "A7": "leads and terminations, conformal coating",
}
"""What each column is for; B2 is a milled board as it comes from the machine."""

ROWS: tuple[tuple[float, tuple[float, ...]], ...] = (
    (15, (0.05, 0.1, 0.1, 0.05, 0.13, 0.13, 0.13)),
    (30, (0.05, 0.1, 0.1, 0.05, 0.13, 0.25, 0.13)),
    (50, (0.1, 0.6, 0.6, 0.13, 0.13, 0.4, 0.13)),
    (100, (0.1, 0.6, 1.5, 0.13, 0.13, 0.5, 0.13)),
    (150, (0.2, 0.6, 3.2, 0.4, 0.4, 0.8, 0.4)),
    (170, (0.2, 1.25, 3.2, 0.4, 0.4, 0.8, 0.4)),
    (250, (0.2, 1.25, 6.4, 0.4, 0.4, 0.8, 0.4)),
    (300, (0.2, 1.25, 12.5, 0.4, 0.4, 0.8, 0.8)),
    (500, (0.25, 2.5, 12.5, 0.8, 0.8, 1.5, 0.8)),
)
"""(highest volts of the row, mm in the order of `COLUMNS`)."""

PER_VOLT: tuple[float, ...] = (0.0025, 0.005, 0.025, 0.00305, 0.00305, 0.00305, 0.00305)
"""mm added for each volt above 500, in the order of `COLUMNS`."""


def required(volts: float, column: Column = "B2") -> float:
    """Least distance in mm between conductors with `volts` between them, DC or AC peak.

    The table's rows end at whole volts; between two of them the higher row counts. Above
    500 V the last row grows by `PER_VOLT` for each volt beyond 500.

    Raises:
        ValueError: for a voltage below 0 or not finite, and for no column of the table.
    """
    if column not in COLUMNS:
        raise ValueError(f"no column {column!r}, there are {', '.join(get_args(Column))}")
    if not 0 <= volts < float("inf"):
        raise ValueError(f"volts between conductors must be 0 or more, got {volts}")
    place = list(COLUMNS).index(column)
    for highest, gaps in ROWS:
        if volts <= highest:
            return gaps[place]
    return ROWS[-1][1][place] + (volts - ROWS[-1][0]) * PER_VOLT[place]
