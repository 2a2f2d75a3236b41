"""The groove a vee cutter leaves: width and depth, one from the other.

Source: plane geometry of a truncated cone. A cutter with a flat tip of diameter `tip`
and the included angle a is tip + 2·h·tan(a / 2) wide at the height h above its tip.
"""

from __future__ import annotations

import math


def groove_width(tip: float, angle: float, depth: float) -> float:
    """Width in mm at the surface of a groove `depth` mm deep; `angle` in degrees, included.

    Raises:
        ValueError: for a tip or depth below 0, or an angle that is not within 0 to 180.
    """
    _check(tip, angle)
    if not depth >= 0:
        raise ValueError(f"the depth must be 0 or more, got {depth}")
    return tip + 2 * depth * math.tan(math.radians(angle) / 2)


def groove_depth(tip: float, angle: float, width: float) -> float:
    """Depth in mm at which the groove is `width` mm wide at the surface.

    Raises:
        ValueError: for a width below the tip's, and as `groove_width` does.
    """
    _check(tip, angle)
    if not width >= tip:
        raise ValueError(f"a tip of {tip} cannot cut a groove {width} wide")
    return (width - tip) / (2 * math.tan(math.radians(angle) / 2))


def _check(tip: float, angle: float) -> None:
    if not tip >= 0:
        raise ValueError(f"the tip must be 0 or more, got {tip}")
    if not 0 < angle < 180:
        raise ValueError(f"the included angle must lie within 0 to 180 degrees, got {angle}")
