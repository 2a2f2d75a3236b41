"""How a blank is found again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.model.cutter import Cutter, EndMill


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """How holes are measured by touching their copper rims; contact closes a circuit.

    Attributes:
        cutter: the tip, a cylinder: a plain pin, or an end mill that stands still.
        depth: of the tip below the copper surface, deeper than the copper, less than the laminate.
        feed: of every touch, mm/min.
        error: standard deviation of one touch; the middle of two is off by error / √2.
    """

    cutter: EndMill
    depth: float
    feed: float
    error: float


@dataclass(frozen=True, slots=True)
class RegistrationPlan:
    """How a blank is found again after it was moved.

    Attributes:
        method: `pins` in the bed, or `measure` the holes and type the readings in.
        hole: diameter of locating holes as cut in the blank (slip fit on the pins).
        key: diameter of the key hole, larger than `hole`.
        wall: laminate left around every hole, at least.
        cutters: drills or end mills that may make the holes.
        pin: diameter of the bed's holes (press fit); pin_depth: how deep they are bored.
        overrun: how far each side of a join is cut past it.
        sigma: error of one hole per axis, from drilling it and finding it again.
        assumed: True when the job states no error and the default stands.
        verniers: whether passes engrave verniers where the margins have room.
        probe: how holes are touched by a program; None when a person measures them.
    """

    method: Literal["pins", "measure"]
    hole: float
    key: float
    wall: float
    cutters: tuple[Cutter, ...]
    pin: float
    pin_depth: float
    overrun: float
    sigma: float = 0.03
    assumed: bool = True
    verniers: bool = True
    probe: ProbePlan | None = None
