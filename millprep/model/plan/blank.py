"""Blanks of the job."""

from __future__ import annotations

from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.blank import Grade


@dataclass(frozen=True, slots=True)
class BlankPlan:
    """One size of laminate.

    Attributes:
        size: (x, y) as it lies on the machine.
        margin: strip along every edge that no board may enter.
        spacing: between neighbouring boards, at least; the profile cutter fits in it.
        count: how many there are.
        outline: corners of an offcut in the blank frame; None for the whole rectangle.
        grade: of the laminate; None where the job does not say.
    """

    size: tuple[float, float]
    thickness: float
    copper: float
    margin: float
    spacing: float
    count: int
    outline: tuple[Point, ...] | None = None
    grade: Grade | None = None
