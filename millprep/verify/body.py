"""The turning body above a cutter's tip: what may hit a clamp."""

from __future__ import annotations

import math

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.machine import Machine


def radius_at(cutter: Cutter, machine: Machine, rise: float) -> float:
    """Largest radius of cutter, shank and collet nut from the tip up to `rise` above it, mm.

    Negative rise: nothing is there, 0. The cutter keeps its own shape up to the end of its
    flute, then the shank begins, and at the stickout the nut.
    """
    if rise < 0:
        return 0.0
    shank = cutter.shank / 2
    within = min(rise, cutter.flute)
    match cutter:
        case Vee():
            wide = cutter.tip / 2 + within * math.tan(math.radians(cutter.angle) / 2)
            radius = min(wide, max(shank, cutter.tip / 2))
        case EndMill() | Drill():
            radius = cutter.diameter / 2
        case _:
            raise TypeError(f"no shape is known for a {cutter.kind}")
    if rise > cutter.flute:
        radius = max(radius, shank)
    if rise > cutter.stickout:
        radius = max(radius, machine.collet / 2)
    return radius
