"""A vernier: two combs, one cut in each of two passes, that show how far the passes lie apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.geometry.path import Point

Measured = Literal["x", "y"]


@dataclass(frozen=True, slots=True)
class Vernier:
    """Two combs whose lines meet end to end along a common edge.

    Line i of the first comb stands at i · pitch from the middle, line i of the second at
    i · (pitch - step). Where a second pass lies off by s along `measures`, the lines numbered
    s / step run through.

    Attributes:
        id: "v1", …
        blank: number of the blank.
        at: the middle of the common edge, blank frame.
        measures: the direction, blank frame.
        passes: the one that cuts the first comb, and the one that cuts the second.
        pitch: between lines of the first comb.
        step: mismatch for one line.
        reach: lines on either side of the middle one.
    """

    id: str
    blank: int
    at: Point
    measures: Measured
    passes: tuple[int, int]
    pitch: float
    step: float
    reach: int

    def __post_init__(self) -> None:
        if not 0 < self.step < self.pitch:
            raise ValueError(f"vernier {self.id}: the step must be less than the pitch")
        if self.reach < 1:
            raise ValueError(f"vernier {self.id} needs lines on both sides of the middle")

    @property
    def largest(self) -> float:
        """The largest mismatch that it shows."""
        return self.step * self.reach
