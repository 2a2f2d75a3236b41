"""The centre of an arc as RS-274 tells it: NISTIR 6556, section 3.5.3."""

from __future__ import annotations

import math
from collections.abc import Mapping

from millprep.verify.block import Fault
from millprep.verify.trace import Place

ARC_MISMATCH = 0.002
"""Largest difference of an arc's two radii, mm (3.5.3.2); 0.0002 inch in G20."""
_INCH = 25.4


def arc_centre(
    clockwise: bool, w: Mapping[str, float], start: Place, end: Place, unit: float
) -> tuple[float, float]:
    """The centre, mm, from the words I and J or R of a line; `unit` is mm for one of them.

    Raises:
        Fault: when words are missing or contradict each other.
    """
    if math.isnan(sum(start)):
        raise Fault("an arc from an unknown place")
    if "X" not in w and "Y" not in w:
        raise Fault("an arc without X or Y")
    if "R" in w:
        if "I" in w or "J" in w:
            raise Fault("an arc with R and a centre")
        return _centre_by_radius(start, end, w["R"] * unit, clockwise=clockwise)
    if "I" not in w and "J" not in w:
        raise Fault("an arc without I, J or R")
    x, y, _ = start
    centre = (x + w.get("I", 0.0) * unit, y + w.get("J", 0.0) * unit)
    first = math.dist((x, y), centre)
    last = math.dist(end[:2], centre)
    allowed = ARC_MISMATCH if unit == 1.0 else ARC_MISMATCH / 10 * _INCH
    # Decimal words are not exact in binary: a mismatch of just the limit must pass.
    if abs(first - last) > allowed + 1e-9:
        raise Fault(
            f"the arc's radius is {first:.4f} at its start and {last:.4f} at its end, "
            f"{allowed:.4g} mm apart are allowed"
        )
    if first == 0:
        raise Fault("an arc of no radius")
    return centre


def _centre_by_radius(
    start: Place, end: Place, radius: float, *, clockwise: bool
) -> tuple[float, float]:
    """Centre of an arc given by its radius; positive for at most half a turn, 3.5.3.1."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if chord == 0:
        raise Fault("an arc with R that ends where it starts")
    if chord / 2 - abs(radius) > ARC_MISMATCH:
        raise Fault(f"radius {abs(radius):.4f} is too small to reach the arc's end")
    height = math.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    side = -1.0 if clockwise == (radius > 0) else 1.0
    return (
        (start[0] + end[0]) / 2 - side * dy / chord * height,
        (start[1] + end[1]) / 2 + side * dx / chord * height,
    )
