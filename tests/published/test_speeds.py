"""Cutting speed, chip load and feed.

Formulas: Union Tool, page on drilling parameters: V [m/min] = π·D [mm]·N [rpm] / 1000; chip
load [µm/rev] = F [m/min] / N × 1 000 000; 1 m/min = 3.28 ft/min. Worked milling example:
cncshop.eu, page on cutting parameters. The other figures were worked out from those formulas
apart from this package.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.gcode.moves import Pen, hole
from millprep.model.cut import HoleCut
from millprep.standards.chips import DRILLED_AT, chip_load, feed_for, spindle_for, surface_speed
from millprep.verify.rules.cutters import cutters, cutting
from tests.helpers.cutters_in_use import MACHINE, drill, mill, program


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


def test_spindle() -> None:
    """cncshop.eu's example asked the other way: 3600 mm/min at 0.1 mm on 2 flutes, 18 000 rpm."""
    assert spindle_for(3600, 0.1, teeth=2) == pytest.approx(18000)


def test_surface_speed_and_chips_of_a_program() -> None:
    """The figures above again, from the moves of programs: 0.8 mm, 25 µm a turn."""
    one = cutting(program(drill(0.8, plunge=300), 1.9, work="drill"))
    assert one is not None
    assert one.surface_speed == pytest.approx(30.159, abs=5e-4)
    assert one.plunge_load == pytest.approx(0.025)
    two = cutting(program(mill(2.0, feed=480), 0.3))
    assert two is not None
    assert two.chip_load == pytest.approx(0.02)


@pytest.mark.parametrize(("diameter", "steps"), [(0.8, 1), (0.5, 3)])
def test_when_to_withdraw(diameter: float, steps: int) -> None:
    """Kennametal/Greenfield, technical tips: two to three diameters in one step, two before the
    first retract. Hence 1.6 mm of board and 0.3 mm beyond: 0.8 mm drills in one go (2.4
    diameters), 0.5 mm (3.8) withdraws.
    """
    cutter = drill(diameter, plunge=150)
    machine = replace(MACHINE, above=5, clearance=3)
    pen = Pen(machine, cutter, (0.0, 0.0, 3.0))
    hole(pen, HoleCut((10, 10), diameter, "drill", 1.9, "drill", 0, "h1"))
    made = replace(program(cutter, 1.9, work="drill"), moves=tuple(pen.moves))
    one = cutting(made)
    assert one is not None
    assert one.steps == steps
    assert one.step <= 3 * diameter
    assert steps == 1 or one.step == 2 * diameter
    assert cutters([made], {}, machine)[1] == ()
    # in one go it would be told
    assert bool(cutters([program(cutter, 1.9, work="drill")], {}, machine)[1]) == (steps > 1)


def test_factories_drill_faster() -> None:
    """tungsten-carbide.com.cn: boards are drilled at 30 000 to 100 000 rev/min."""
    assert DRILLED_AT == (30_000, 100_000)
