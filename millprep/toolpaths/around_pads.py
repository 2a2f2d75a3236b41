"""A wider gap around lands, for soldering by hand without a solder mask.

The gap is widened as everywhere else: floating copper is taken away. Copper of another piece
that is drawn nearer stays, and the proof tells it.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offsets

SPARE = 0.01
"""Gaps are widened by this much more, for the rounding of curves, mm."""


def around_lands(
    floating: BaseGeometry, lands: Sequence[BaseGeometry], *, gap: float, skirt: float
) -> BaseGeometry:
    """The floating copper that must go so that a gap opens around lands, at the foot.

    Args:
        floating: copper that isolation leaves and that belongs to no piece.
        lands: drawn, in the frame of the floating copper.
        gap: that is asked, mm.
        skirt: how far the foot of the copper reaches beyond its drawn edge, mm.
    """
    if not lands:
        return shapely.Polygon()
    bands = shapely.union_all(offsets(lands, skirt + gap + SPARE))
    return shapely.intersection(floating, bands)
