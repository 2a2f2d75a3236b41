"""Chips of copper-clad laminate: cutting speed, how much a tooth may take, how deep it may go.

Sources: drills two to three diameters in one step, by the technical tips of a drill maker, read;
boards are drilled at 30 000 to 100 000 rev/min, by a maker of carbide tools, read (the published
checks in the tests name both). No table of chip loads for these laminates was found: all fractions
and limits of chips are common practice, no source. A cutter's own data sheet comes first.
Cutting speed, chip load and feed follow the definitions every table of drilling parameters prints,
V = π·D·N / 1000 and chip load = F / (N · teeth).
"""

from __future__ import annotations

import math
from typing import Literal

Kind = Literal["vee", "endmill", "drill"]
Grade = Literal["FR-1", "FR-2", "FR-4", "CEM-1", "CEM-3"]
"""Phenolic paper FR-1 and FR-2, glass epoxy FR-4, paper between glass CEM-1, mixed glass CEM-3."""

LEAST: dict[Kind, float] = {"vee": 0.03, "endmill": 0.003, "drill": 0.005}
"""A tooth, of a drill a turn, takes at least this fraction of the width, or it rubs."""
MOST: dict[Kind, float] = {"vee": 0.35, "endmill": 0.025, "drill": 0.06}
"""A tooth, of a drill a turn, takes at most this fraction of the width, or it breaks."""
SURELY_CUTS = 0.010
"""Chips this thick, mm, are cut by any sharp edge, however wide the cutter."""
WIDEST_CHIP: dict[Kind, float] = {"vee": 0.050}
"""What no tooth should take however wide the groove, mm."""
SOFTER: dict[Grade, float] = {"FR-1": 1.5, "FR-2": 1.5}
"""Paper is softer than glass: a tooth may take more by this factor."""
STEP_LIMIT: dict[Kind, float] = {"endmill": 1.0, "drill": 3.0}
"""Diameters that a cutter may go down in one step; an end mill's by common practice, no source."""
DRILLED_AT = (30_000.0, 100_000.0)
"""Spindle speeds that boards are drilled at in factories, rev/min."""


def bounds(kind: Kind, width: float, grade: Grade | None = None) -> tuple[float, float]:
    """Least and most that a tooth should take, mm; of a drill a turn.

    Args:
        kind: of the cutter.
        width: of what it cuts, mm: a diameter, or the width of a vee's groove at the surface.
        grade: of the laminate; an unknown one counts as glass.

    Raises:
        ValueError: when the width is not above 0.
    """
    if not width > 0:
        raise ValueError(f"width must be above 0, got {width}")
    least = min(LEAST[kind] * width, SURELY_CUTS)
    most = min(MOST[kind] * width, WIDEST_CHIP.get(kind, float("inf")))
    return least, most * (SOFTER.get(grade, 1.0) if grade else 1.0)


def surface_speed(diameter: float, spindle: float) -> float:
    """Speed of the cutting edge in m/min, for a diameter in mm and a spindle in rev/min.

    Raises:
        ValueError: when either is not above 0.
    """
    _positive(diameter=diameter, spindle=spindle)
    return math.pi * diameter * spindle / 1000


def chip_load(feed: float, spindle: float, teeth: int = 1) -> float:
    """Advance per tooth in mm, for a feed in mm/min; with one tooth, the advance per turn.

    Raises:
        ValueError: when an argument is not above 0.
    """
    _positive(feed=feed, spindle=spindle, teeth=teeth)
    return feed / (spindle * teeth)


def feed_for(load: float, spindle: float, teeth: int = 1) -> float:
    """Feed in mm/min that gives this chip load in mm per tooth.

    Raises:
        ValueError: when an argument is not above 0.
    """
    _positive(load=load, spindle=spindle, teeth=teeth)
    return load * spindle * teeth


def spindle_for(feed: float, load: float, teeth: int = 1) -> float:
    """Spindle in rev/min at which this feed in mm/min gives this chip load in mm per tooth.

    Raises:
        ValueError: when an argument is not above 0.
    """
    _positive(feed=feed, load=load, teeth=teeth)
    return feed / (load * teeth)


def _positive(**values: float) -> None:
    for noun, value in values.items():
        if not value > 0:
            raise ValueError(f"{noun} must be above 0, got {value}")
