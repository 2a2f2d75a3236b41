"""Cutting speed, chip load and feed.

Formulas: Union Tool, page on drilling parameters: V [m/min] = π·D [mm]·N [rpm] / 1000; chip
load [µm/rev] = F [m/min] / N × 1 000 000; 1 m/min = 3.28 ft/min. Worked milling example:
cncshop.eu, page on cutting parameters. The other figures were worked out from those formulas
apart from this package.
"""

from __future__ import annotations

import pytest

from millprep.trade.speeds import chip_load, feed_for, surface_speed


def test_published_milling_feed() -> None:
    """cncshop.eu: 2 flutes, 0.1 mm per tooth, 18 000 rpm give 3600 mm/min."""
    assert feed_for(0.1, 18000, teeth=2) == pytest.approx(3600)
    assert chip_load(3600, 18000, teeth=2) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("diameter", "spindle", "speed"), [(0.8, 12000, 30.159), (0.1, 12000, 3.770)]
)
def test_surface_speed(diameter: float, spindle: float, speed: float) -> None:
    assert surface_speed(diameter, spindle) == pytest.approx(speed, abs=5e-4)


def test_surface_speed_in_feet() -> None:
    """0.8 mm at 12 000 rpm is 98.9 ft/min, with the page's 3.28 ft to the metre."""
    assert surface_speed(0.8, 12000) * 3.28 == pytest.approx(98.9, abs=0.05)


def test_chip_load() -> None:
    """0.3 m/min at 12 000 rpm is 25 µm per turn."""
    assert chip_load(300, 12000) == pytest.approx(0.025)


def test_feed() -> None:
    """2 flutes, 0.02 mm per tooth, 12 000 rpm give 480 mm/min."""
    assert feed_for(0.02, 12000, teeth=2) == pytest.approx(480)
