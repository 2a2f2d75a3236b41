"""Cutting speed, chip load and feed of a turning cutter.

Source: the definitions every table of drilling parameters prints, V = π·D·N / 1000 and
chip load = F / (N · teeth); see the published checks in the tests.
"""

from __future__ import annotations

import math


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
