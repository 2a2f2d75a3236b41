"""The mill."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from millprep.model.blank import Box
from millprep.model.dialect import Dialect, ToolChange


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """What the machine can do, in the work coordinates its programs are written in.

    Attributes:
        travel: where the spindle's axis can go in x and y; work zero is (0, 0).
        above, below: free travel above and below the copper surface.
        clearance: height of rapid moves above the copper surface.
        rapid: speed of rapid moves, mm/min, for the time estimate only.
        max_feed, max_plunge: limits, mm/min.
        spindle_by_program: False when a person switches the spindle.
        max_spindle: revolutions per minute.
        dwell: seconds after the spindle starts.
        screw_lead: travel for one turn of the lead screw, if known.
        collet: diameter of the collet nut.
        scale_error: mm that a metre of its travel is too long, either sign; None when not stated.
        squareness: degrees by which its axes are off a right angle; None when not stated.
        periodic_error: amplitude of the error that repeats with every turn of the screw.
        backlash: play of an axis when it turns back.
        surface_probe: what tells that a surface is touched: the tip that closes a circuit with the
            copper, or a probe with a switch of its own.
        probe_log: pattern with groups x, y and z that picks a touch from what the machine logs;
            None when it logs nothing.
        probe_repeatability: standard deviation of one touch from above; None when not stated.
        dialect: what of RS-274 it understands.
        tool_change: a file for every cutter, or one file for a pass that stops for a person to
            put the next cutter in, or in which the machine changes it.
    """

    name: str
    travel: Box
    above: float
    below: float
    clearance: float
    rapid: float
    max_feed: float
    max_plunge: float
    max_spindle: float
    spindle_by_program: bool
    dwell: float
    collet: float
    screw_lead: float | None = None
    scale_error: float | None = None
    squareness: float | None = None
    periodic_error: float | None = None
    backlash: float | None = None
    surface_probe: Literal["electrical", "switch"] = "electrical"
    probe_log: str | None = None
    probe_repeatability: float | None = None
    dialect: Dialect = field(default_factory=Dialect)
    tool_change: ToolChange = "files"

    def __post_init__(self) -> None:
        positive = ("above", "below", "clearance", "rapid", "max_feed", "max_plunge", "max_spindle")
        for noun in positive:
            if not getattr(self, noun) > 0:
                raise ValueError(f"machine {self.name}: {noun} must be above 0")
        if self.clearance > self.above:
            raise ValueError(f"machine {self.name}: clearance is above the free travel")
