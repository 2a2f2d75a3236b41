"""Where rules begin and end: the last value that counts, the first that does not, and defaults."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from millprep.standards.chips import bounds, chip_load, feed_for, spindle_for, surface_speed
from millprep.standards.copper import (
    MOST_WIDTH,
    OutsideCurve,
    capacity,
    resistivity,
    section_for,
    sheet_resistance,
    width_for,
    wire_resistance,
)
from millprep.standards.holes import drill_wander, least_hole, least_pad
from millprep.standards.spacing import COLUMNS, ROWS, required

JUST = 1 + 5e-10
"""Rounding that no limit minds."""
OVER = 1 + 1e-8


@pytest.mark.parametrize("row", range(len(ROWS)))
def test_a_row_counts_to_its_last_volt(row: int) -> None:
    volts, gaps = ROWS[row]
    assert [required(volts, column) for column in COLUMNS] == list(gaps)


def test_above_the_table_every_volt_counts() -> None:
    assert required(700) == pytest.approx(2.5 + 200 * 0.005)
    assert required(700, "B1") == pytest.approx(0.25 + 200 * 0.0025)


NOT_ABOVE_0: list[tuple[Callable[[], float], str]] = [
    (lambda: surface_speed(0, 1), "diameter"),
    (lambda: surface_speed(1, 0), "spindle"),
    (lambda: chip_load(0, 1), "feed"),
    (lambda: chip_load(1, 0), "spindle"),
    (lambda: chip_load(1, 1, 0), "teeth"),
    (lambda: feed_for(0, 1), "load"),
    (lambda: feed_for(1, 0), "spindle"),
    (lambda: feed_for(1, 1, 0), "teeth"),
    (lambda: spindle_for(0, 1), "feed"),
    (lambda: spindle_for(1, 0), "load"),
    (lambda: spindle_for(1, 1, 0), "teeth"),
    (lambda: sheet_resistance(0), "thickness"),
    (lambda: wire_resistance(0, 1), "length and area"),
    (lambda: wire_resistance(1, 0), "length and area"),
    (lambda: capacity(0, 0.035, 10), "width and thickness"),
    (lambda: capacity(1, 0, 10), "width and thickness"),
    (lambda: capacity(1, 0.035, 0), "rise"),
    (lambda: section_for(0, 10), "amperes"),
    (lambda: width_for(1, 0, 10), "thickness"),
    (lambda: least_hole(0), "lead"),
    (lambda: least_pad(0), "hole"),
    (lambda: drill_wander(0), "drill"),
]


@pytest.mark.parametrize(("call", "noun"), NOT_ABOVE_0)
def test_what_is_nothing_is_refused_by_its_name(call: Callable[[], float], noun: str) -> None:
    with pytest.raises(ValueError, match=f"^{noun} must be above 0.*got "):
        call()


def test_an_annular_ring_may_be_nothing() -> None:
    assert least_pad(1.0, "A", 0.0) == pytest.approx(1.6)


def test_values_without_being_asked_for() -> None:
    assert least_pad(1.0) == least_pad(1.0, "A", 0.15)
    assert least_hole(1.0) == least_hole(1.0, "A")
    assert chip_load(600, 12000) == chip_load(600, 12000, 1) == pytest.approx(0.05)
    assert feed_for(0.05, 12000) == pytest.approx(600)
    assert spindle_for(600, 0.05) == pytest.approx(12000)
    assert resistivity() == resistivity(20.0)
    assert sheet_resistance(0.035) == sheet_resistance(0.035, 20.0)
    assert wire_resistance(10, 1) == wire_resistance(10, 1, 20.0)
    assert required(100) == required(100, "B2")


def test_figures_worked_out_by_hand() -> None:
    assert surface_speed(2.0, 10_000) == pytest.approx(62.8319, abs=1e-4)
    assert resistivity(70) == pytest.approx(1.1965 / 58000)
    assert resistivity(-60) == pytest.approx((1 - 80 * 0.00393) / 58000)
    assert bounds("vee", 1.0) == (0.010, 0.05)
    assert bounds("endmill", 4.0) == pytest.approx((0.010, 0.1))
    assert bounds("endmill", 1.0) == pytest.approx((0.003, 0.025))
    assert bounds("endmill", 1.0, "FR-1") == pytest.approx((0.003, 0.0375))


def test_the_curves_end_at_400_mil() -> None:
    assert capacity(MOST_WIDTH * JUST, 0.035, 10) > capacity(MOST_WIDTH / 2, 0.035, 10)
    with pytest.raises(OutsideCurve, match=r"^the curves end at 10.16 mm of width, got 10.16$"):
        capacity(MOST_WIDTH * OVER, 0.035, 10)
    most = capacity(MOST_WIDTH, 0.035, 10)
    assert width_for(most * JUST**0.5, 0.035, 10) == pytest.approx(MOST_WIDTH)
    with pytest.raises(OutsideCurve, match=r"A would need 10.2 mm, the curves end at 10.16 mm$"):
        width_for(most * OVER, 0.035, 10)


def test_the_curves_end_at_100_kelvin() -> None:
    assert section_for(1, 100) > 0
    with pytest.raises(OutsideCurve, match=r"^the curves end at a rise of 100 K, got 100.5$"):
        section_for(1, 100.5)


@pytest.mark.parametrize(("inside", "most"), [(False, 35.0), (True, 17.5)])
def test_the_curves_end_at_their_current(inside: bool, most: float) -> None:
    assert section_for(most * JUST, 50, inside=inside) > 0
    with pytest.raises(OutsideCurve, match=rf"^the curves end at {most:g} A, got {most:.1f}$"):
        section_for(most * OVER, 50, inside=inside)


def test_inside_the_board_a_current_needs_more() -> None:
    more = 2 ** (1 / 0.725)
    assert section_for(5, 20, inside=True) == pytest.approx(more * section_for(5, 20))
    assert width_for(1, 0.035, 20, inside=True) == pytest.approx(more * width_for(1, 0.035, 20))
