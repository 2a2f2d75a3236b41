"""What copper carries, and what it costs in volts.

Curve fit I = k·ΔT^0.44·A^0.725, constants, 1.378 mil of thickness to the ounce and range:
printed by the calculator pages of Qorvo and LCSC, which cite IPC-2221B 6.2 and figure 6-4; the
standard was not read. Worked result: polestark.com, page on trace width. Copper: IACS 100 % is
58 m/(Ω·mm²), NBS Handbook 100 (1966) and NBS Circular 31 (1914) as a note quotes them;
0.00393 /K from the Industrial Power Engineering and Applications Handbook, p. 970. Figures
without a named page were worked out from those formulas apart from this package.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from millprep.standards.copper import (
    MIL,
    OutsideCurve,
    capacity,
    resistivity,
    section_for,
    sheet_resistance,
    width_for,
)

OUNCE = 1.378 * MIL


def test_worked_result_of_a_calculator_page() -> None:
    """polestark.com: outside 11.83 mil = 0.300 mm, inside 30.76 mil = 0.781 mm; the page does
    not print its inputs, 1 A, 10 K, 1 oz gives both."""
    assert width_for(1, OUNCE, 10) == pytest.approx(0.300, abs=5e-4)
    assert width_for(1, OUNCE, 10) / MIL == pytest.approx(11.83, abs=5e-3)
    assert width_for(1, OUNCE, 10, inside=True) == pytest.approx(0.781, abs=5e-4)
    assert width_for(1, OUNCE, 10, inside=True) / MIL == pytest.approx(30.76, abs=5e-3)


@pytest.mark.parametrize(
    ("width", "rise", "square_mils", "amperes"),
    [
        (0.5, 10, 27.1251, 1.44689),
        (1.0, 10, 54.2501, 2.39156),
        (1.0, 20, 54.2501, 3.24440),
        (2.0, 10, 108.5002, 3.95301),
        (3.0, 20, 162.7503, 7.19528),
    ],
)
def test_current_of_a_width(width: float, rise: float, square_mils: float, amperes: float) -> None:
    assert width * 0.035 / MIL**2 == pytest.approx(square_mils, abs=1e-4)
    assert capacity(width, 0.035, rise) == pytest.approx(amperes, abs=1e-5)


@pytest.mark.parametrize(
    ("amperes", "rise", "square_mils", "mils", "width"),
    [
        (5, 10, 150.030, 108.875, 2.7654),
        (10, 10, 390.294, 283.232, 7.1941),
        (3, 20, 48.695, 35.338, 0.8976),
    ],
)
def test_width_of_a_current(
    amperes: float, rise: float, square_mils: float, mils: float, width: float
) -> None:
    assert section_for(amperes, rise) / MIL**2 == pytest.approx(square_mils, abs=1e-3)
    assert width_for(amperes, OUNCE, rise) / MIL == pytest.approx(mils, abs=1e-3)
    assert width_for(amperes, OUNCE, rise) == pytest.approx(width, abs=1e-4)


def test_the_range_of_the_curves() -> None:
    """Up to 35 A outside, 17.5 A inside, 100 K, 400 mil."""
    assert section_for(35, 100) > 0
    assert section_for(17.5, 100, inside=True) > 0
    assert capacity(400 * MIL, 0.035, 10) > 0
    beyond: list[Callable[[], float]] = [
        lambda: section_for(35.1, 50),
        lambda: section_for(17.6, 50, inside=True),
        lambda: section_for(1, 100.1),
        lambda: capacity(401 * MIL, 0.035, 10),
        lambda: capacity(400 * MIL, 0.2, 100),
        lambda: width_for(20, 0.035, 10),
    ]
    for ask in beyond:
        with pytest.raises(OutsideCurve, match="the curves end at"):
            ask()


def test_copper() -> None:
    """0.017241 Ω·mm²/m at 20 °C, which is 1e-3 of it in Ω·mm."""
    assert resistivity() * 1000 == pytest.approx(0.017241, abs=5e-7)


@pytest.mark.parametrize(("thickness", "milliohms"), [(0.035, 0.49261), (0.0348, 0.49544)])
def test_sheet_resistance(thickness: float, milliohms: float) -> None:
    """From 1/58; the rounded 0.017241 gives 0.49260 and 0.49543."""
    assert sheet_resistance(thickness) * 1000 == pytest.approx(milliohms, abs=5e-6)


def test_a_published_round_figure() -> None:
    """E. Bogatin, PCD&F 2007: 0.5 mΩ to the square for 1 oz, 34 µm thick."""
    assert sheet_resistance(0.034) * 1000 == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(("celsius", "milliohms"), [(20, 49.261), (60, 57.005)])
def test_a_strip_warm_and_cold(celsius: float, milliohms: float) -> None:
    assert sheet_resistance(0.035, celsius) * 100 * 1000 == pytest.approx(milliohms, abs=5e-4)


def test_the_heater_run() -> None:
    """480 × 3 mm of 35 µm: 160 squares, 78.818 mΩ."""
    assert sheet_resistance(0.035) * 480 / 3 * 1000 == pytest.approx(78.818, abs=5e-4)
