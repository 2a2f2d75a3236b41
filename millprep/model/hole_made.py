"""How a hole of a board is made, as far as it matters to the copper around it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DrilledInOtherPass:
    """A hole that another pass drills than the one that cuts the copper around it.

    Attributes:
        passes: that drills, that cuts.
        most: by how much they miss each other there on 99.7 % of blanks at most, mm.
    """

    placement: int
    hole: str
    passes: tuple[int, int]
    most: float


@dataclass(frozen=True, slots=True)
class HoleMade:
    """A hole as its cutter leaves it.

    Attributes:
        diameter: mm; of a slot, its width.
        drill: diameter of the drill that makes it, None when a mill does.
        wider: how much farther out its rim may lie, mm: the cutter runs out or is worn.
        apart: how far the copper around it may lie off because another pass cuts it, mm.
    """

    diameter: float
    drill: float | None
    wider: float = 0.0
    apart: float = 0.0

    def __post_init__(self) -> None:
        if not (self.diameter > 0 and self.wider >= 0 and self.apart >= 0):
            raise ValueError("a hole has a diameter above 0, and errors of 0 or more")
