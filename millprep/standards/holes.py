"""Holes for leads, and the copper around them.

Sources: hole to lead IPC-2222, pad (IPC: land) IPC-2221, read at second hand in a sheet of design
notes; the narrowest annular ring 0.05 mm is that of plated holes (IPC-6012E table 3-9 by a maker's
article).
A milled board's holes are not plated: 0.15 mm is the floor (IPC-2221 table 9-2, from memory),
0.30 mm the advice of a maker of single-sided boards. The standards themselves decide.
"""

from __future__ import annotations

from typing import Literal

Level = Literal["A", "B", "C"]
"""Ease of making: A general, B moderate, C tight."""

OVER_LEAD: dict[Level, float] = {"A": 0.25, "B": 0.20, "C": 0.15}
"""Clearance of the hole over the thickest lead, mm."""
ALLOWANCE: dict[Level, float] = {"A": 0.60, "B": 0.50, "C": 0.40}
"""Fabrication allowance, mm of the pad's diameter."""
PLATED_ANNULAR_RING = 0.05
ANNULAR_RING_FLOOR = 0.15
"""Narrowest annular ring of a hole that is not plated, mm."""
ANNULAR_RING_ADVICE = 0.30
"""Annular ring that solder holds well without plating, mm."""
WANDER = 0.05
"""How far a drilled hole may be off its place, mm; common practice, no source."""
THIN = 0.8
"""A drill thinner than this gives way where it enters the foil, mm; common practice, no source."""


def least_hole(lead: float, level: Level = "A") -> float:
    """Diameter in mm of the smallest hole for a lead of this largest diameter.

    Of a flat lead that is the diagonal.

    Raises:
        ValueError: when the lead is not above 0, or for no such level.
    """
    _check_level(level)
    if not lead > 0:
        raise ValueError(f"lead must be above 0, got {lead}")
    return lead + OVER_LEAD[level]


def least_pad(hole: float, level: Level = "A", ring: float = ANNULAR_RING_FLOOR) -> float:
    """Diameter in mm of the smallest pad around a hole: hole + 2·annular ring + allowance.

    Raises:
        ValueError: when the hole is not above 0, the annular ring below 0, or for no such level.
    """
    _check_level(level)
    if not hole > 0 or not ring >= 0:
        raise ValueError(f"hole must be above 0 and annular ring 0 or more, got {hole} and {ring}")
    return hole + 2 * ring + ALLOWANCE[level]


def drill_wander(drill: float | None) -> float:
    """How far a hole may be off its place in mm, by the diameter of its drill: w·max(1, t / d).

    A drill that is half as thick walks twice as far before it cuts. A mill (None) does not bend
    more for being thin: it enters slowly, on a spiral. All of it is common practice, no source.

    Raises:
        ValueError: when the drill is not above 0.
    """
    if drill is None:
        return WANDER
    if not drill > 0:
        raise ValueError(f"drill must be above 0, got {drill}")
    return WANDER * max(1.0, THIN / drill)


def _check_level(level: str) -> None:
    if level not in OVER_LEAD:
        raise ValueError(f"no level {level!r}, there are A, B and C")
