"""Heights of rapid moves, and hops: from cut to cut below clearance, where nothing is in the way.

The axes of a rapid may arrive one after the other, so it may run anywhere in the box around its
ends: that box keeps off every clamp that is too high and off every pin.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Cutter, Drill
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass

ROUNDING = 0.01
"""Hops keep this much farther off, mm: places in a file are rounded."""
NEAR = 0.1
"""A cutter begins to go down slowly this far above the highest copper, mm (common practice, no
source)."""


def approach_height(machine: Machine, highest: float) -> float:
    """The height that rapid moves may go down to, above copper that reaches up to `highest`, mm."""
    return rounded_up(highest + machine.approach, machine)


def near_height(machine: Machine, highest: float) -> float:
    """The height from which a cutter goes down slowly, above copper up to `highest`, mm."""
    return rounded_up(highest + NEAR, machine)


def rounded_up(height: float, machine: Machine) -> float:
    """A height that the machine's numbers can say, and never a lower one."""
    whole = float(10**machine.dialect.decimals)
    return math.ceil(height * whole - 1e-6) / whole


@dataclass(frozen=True, slots=True)
class Hops:
    """Where a cutter may hop.

    Attributes:
        height: above the copper surface, mm.
        blocked: what the cutter's axis keeps out of, machine frame.
    """

    height: float
    blocked: tuple[Box, ...]

    def free(self, start: Point, end: Point) -> bool:
        """Whether nothing is in the way from one place to another."""
        (x0, x1), (y0, y1) = sorted((start[0], end[0])), sorted((start[1], end[1]))
        return not any(b.x0 < x1 and x0 < b.x1 and b.y0 < y1 and y0 < b.y1 for b in self.blocked)


def hops_of(
    mill_pass: MillingPass,
    cutter: Cutter,
    machine: Machine,
    clamps: Sequence[Clamp],
    flatness: float,
) -> Hops | None:
    """Where a cutter may hop in a pass; None for nowhere.

    `flatness` is how far the copper may lie above Z0, mm. A drilling cycle always goes back to
    clearance.
    """
    height = rounded_up(flatness + max(machine.hop_height, machine.approach), machine)
    if height >= machine.clearance or (machine.dialect.cycles and isinstance(cutter, Drill)):
        return None
    return Hops(height, tuple(_blocked(mill_pass, cutter, machine, clamps, height)))


def _blocked(
    mill_pass: MillingPass,
    cutter: Cutter,
    machine: Machine,
    clamps: Sequence[Clamp],
    height: float,
) -> Iterator[Box]:
    """Clamps and pins, grown by all that the cutter keeps off them."""
    free = machine.clamp_clearance + ROUNDING
    for clamp in clamps:
        rise = clamp.height + machine.clamp_clearance - height
        if clamp.on_in(mill_pass.number) and rise > 0:
            yield clamp.box.grown(cutter.radius_up(rise, machine.collet) + free)
    # a pin should end below the copper; one that does not is lower than clearance
    radius = cutter.radius_up(machine.clearance - height, machine.collet)
    for hole in mill_pass.registration:
        if hole.used_in == mill_pass.number and hole.role != "witness":
            (x, y), reach = hole.machine, hole.diameter / 2 + radius + free
            yield Box(x - reach, y - reach, x + reach, y + reach)
