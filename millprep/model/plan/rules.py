"""What the rules of the trade are asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Column = Literal["B1", "B2", "B3", "B4", "A5", "A6", "A7"]
"""A column of IPC-2221 table 6-1; `millprep.standards.spacing` says what each is for."""
Level = Literal["A", "B", "C"]
"""Ease of making by IPC-2221: A general, B moderate, C tight."""


@dataclass(frozen=True, slots=True)
class SocketPin:
    """A pin that sockets are built from, one by one.

    Attributes:
        thinnest, thickest: diameter of its tail, mm.
        hole: that the tail is soldered into, mm.
        land: around that hole, at least, mm.
        takes: thickest pin of a valve that enters, mm.

    Raises:
        ValueError: unless 0 < thinnest ≤ thickest < hole < land, and takes is above 0.
    """

    thinnest: float
    thickest: float
    hole: float
    land: float
    takes: float

    def __post_init__(self) -> None:
        if not 0 < self.thinnest <= self.thickest < self.hole < self.land or not self.takes > 0:
            raise ValueError(f"no pin enters its hole and land like this: {self}")


@dataclass(frozen=True, slots=True, kw_only=True)
class RulesPlan:
    """What the rules of the trade are asked.

    Attributes:
        spacing: column for gaps between nets.
        lands: column for the gap between two lands; None for `spacing` there too.
        least_counted_gap: narrower gaps count as nothing, mm.
        edge: whether board's edge and fixing holes count as metal at 0 V.
        fixing_metal: diameter of what a screw covers around a fixing hole, mm; None for the
            usual washer.
        temperature_rise: of copper that carries current, K.
        celsius: of the copper, for its resistance.
        most_lost: V that any load may lose; None for no limit.
        level: of IPC-2222, for holes of leads.
        drill_wander: how far a hole may stand from where it is asked, mm; None for the habit of
            drills, thin ones more.
        pass_error: how far a hole that another pass drills than the one that cuts its copper
            stands off besides, mm; None for what the registration holes predict there.
        pins: that sockets are built from; None for valves whose own pins are soldered in.
    """

    spacing: Column = "B2"
    lands: Column | None = None
    least_counted_gap: float = 0.0
    edge: bool = True
    fixing_metal: float | None = None
    temperature_rise: float = 10.0
    celsius: float = 20.0
    most_lost: float | None = None
    level: Level = "A"
    drill_wander: float | None = None
    pass_error: float | None = None
    pins: SocketPin | None = None
