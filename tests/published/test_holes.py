"""Hole to lead (IPC-2222) and land (IPC-2221).

Allowances 0.25 / 0.20 / 0.15 and 0.60 / 0.50 / 0.40 mm for the levels A, B and C: "PCB Design
Notes", scribd 626949669, at second hand. Ring of 0.05 mm: IPC-6012E table 3-9, class 3, plated,
by an article of summitinterconnect.com. Ring of 0.30 mm and its example for single-sided boards:
set.bg. The floor of 0.15 mm is from memory (IPC-2221 table 9-2). The standards were not read.
"""

from __future__ import annotations

import pytest

from millprep.standards.holes import (
    ANNULAR_RING_ADVICE,
    PLATED_ANNULAR_RING,
    Level,
    drill_wander,
    least_hole,
    least_pad,
)


@pytest.mark.parametrize(("level", "hole"), [("A", 1.266), ("B", 1.216), ("C", 1.166)])
def test_hole_of_a_valve_pin(level: Level, hole: float) -> None:
    """A pin of 1.016 mm (0.040 in)."""
    assert least_hole(1.016, level) == pytest.approx(hole)


@pytest.mark.parametrize(("level", "more"), [("A", 0.7), ("B", 0.6), ("C", 0.5)])
def test_land_of_a_plated_hole(level: Level, more: float) -> None:
    """The sheet's own example: hole + 0.1 + 0.6 / 0.5 / 0.4."""
    assert least_pad(1.0, level, PLATED_ANNULAR_RING) == pytest.approx(1.0 + more)


def test_land_of_a_hole_of_1_3() -> None:
    assert least_pad(1.3, "A", 0.05) == pytest.approx(2.0)
    assert least_pad(1.3, "A", 0.15) == pytest.approx(2.2)


def test_a_makers_single_sided_example() -> None:
    """set.bg: hole 0.8, drill 0.85, land 1.45: a ring of 0.30."""
    assert pytest.approx(ANNULAR_RING_ADVICE) == (1.45 - 0.85) / 2


@pytest.mark.parametrize(
    ("drill", "off"), [(None, 0.05), (1.1, 0.05), (0.8, 0.05), (0.6, 0.0667), (0.4, 0.1)]
)
def test_thin_drills_wander_more(drill: float | None, off: float) -> None:
    """Common practice, no source: 0.05 mm, of drills below 0.8 mm in inverse proportion."""
    assert drill_wander(drill) == pytest.approx(off, abs=1e-4)


@pytest.mark.parametrize(("level", "land"), [("A", 2.17), ("B", 2.02), ("C", 1.87)])
def test_from_pin_to_land_without_plating(level: Level, land: float) -> None:
    """A pin of 1.016 mm: hole by IPC-2222, then land by IPC-2221 with a ring of 0.15 mm."""
    assert least_pad(least_hole(1.016, level), level) == pytest.approx(land, abs=5e-3)
