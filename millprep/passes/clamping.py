"""What the clamps of every pass deny to the spindle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.blank import Box, Clamp


@dataclass(frozen=True, slots=True)
class Clamping:
    """The clamps of a job and how far the spindle keeps from them.

    Attributes:
        clamps: machine frame.
        reach: from the spindle's axis to the widest part that must clear a clamp.
    """

    clamps: tuple[Clamp, ...] = ()
    reach: float = 0.0

    def denied(self, number: int) -> BaseGeometry:
        """What the clamps of a pass deny to the spindle's axis, machine frame."""
        boxes = [c.box.grown(self.reach) for c in self.clamps if c.on_in(number)]
        return shapely.union_all([shapely.box(b.x0, b.y0, b.x1, b.y1) for b in boxes])

    def without(self, n: int) -> Clamping:
        """The clamps less one."""
        return replace(self, clamps=(*self.clamps[:n], *self.clamps[n + 1 :]))

    def moved(self, n: int, x: float, y: float) -> Clamping:
        """The clamps, one of them elsewhere."""
        b = self.clamps[n].box
        there = replace(self.clamps[n], box=Box(b.x0 + x, b.y0 + y, b.x1 + x, b.y1 + y))
        return replace(self, clamps=(*self.clamps[:n], there, *self.clamps[n + 1 :]))


def words(clamp: Clamp) -> str:
    """The clamp as a person finds it in the job."""
    b = clamp.box
    on = "" if clamp.passes is None else f" of pass {', '.join(map(str, clamp.passes))}"
    return f"the clamp [{b.x0:g}, {b.y0:g}, {b.x1:g}, {b.y1:g}]{on}"


def denied(clamping: Clamping, count: int) -> Sequence[BaseGeometry]:
    """What is denied in every pass of a blank, from the first."""
    return [clamping.denied(number + 1) for number in range(count)]
