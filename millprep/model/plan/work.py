"""What is cut, and how: isolation, clearing, holes, profiles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.model.cutter import Cutter

Direction = Literal["climb", "conventional"]
Course = Literal["copper", "middle"]
"""Where isolation runs: along the copper, or along the middle of the gaps."""
Floating = Literal["areas", "all"]
"""What copper that belongs to no piece is cleared: that of stated areas, or all."""


@dataclass(frozen=True, slots=True)
class IsolationPlan:
    """How copper pieces are set apart.

    Attributes:
        gap: asked distance between piece and whatever is beyond, at the foot of the copper.
        depth: of the tip; `flatness` is how far the surface may lie off, up or down.
        cutters: vees or end mills, in the order listed; the tool tries the widest first.
        overlap: share of the foot width by which neighbouring laps overlap, 0 to under 1.
        by_voltage: whether floating copper is taken away beyond `gap` where volts ask for it.
        course: where laps run.
        pad_gap: the same as `gap` around lands, where it is wider; None for `gap`.
    """

    gap: float
    depth: float
    flatness: float
    cutters: tuple[Cutter, ...]
    overlap: float
    direction: Direction
    by_voltage: bool = False
    course: Course = "copper"
    pad_gap: float | None = None


@dataclass(frozen=True, slots=True)
class ClearingPlan:
    """How copper that belongs to no piece is taken away.

    Attributes:
        cutters: vees or end mills; each does what the wider ones left.
        copper: what is cleared besides what voltages ask for.
        depth: of the tip.
        overlap: share of the foot width by which neighbouring laps overlap, 0 to under 1.
    """

    cutters: tuple[Cutter, ...]
    copper: Floating
    depth: float
    overlap: float


@dataclass(frozen=True, slots=True)
class DrillingPlan:
    """How holes are made.

    Attributes:
        cutters: drills; a hole takes the nearest within `tolerance` of its diameter.
        borer: end mill for holes that no drill serves, or None.
        breakthrough: how far the full diameter goes below the blank.
        spoilboard: thickness of the board beneath, which no cutter may pass.
    """

    cutters: tuple[Cutter, ...]
    tolerance: float
    borer: Cutter | None
    breakthrough: float
    spoilboard: float


@dataclass(frozen=True, slots=True)
class ProfilePlan:
    """How boards are cut out.

    Attributes:
        breakthrough: depth below the blank.
        tab_width: of the bridge that is left, at its narrowest; tab_height: thickness left;
        tab_every: largest distance between tabs along the edge.
        ramp: angle of entry in degrees.
    """

    cutter: Cutter
    breakthrough: float
    tab_width: float
    tab_height: float
    tab_every: float
    ramp: float
    direction: Direction
