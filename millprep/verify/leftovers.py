"""Small copper that stays though nothing of the design is there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.model.as_cut import CopperPart
from millprep.model.finding import Finding

SLIVER = 0.015
"""Copper that a disc of this radius, mm, does not fit into is a sliver."""
ISLAND = 0.5
"""Copper smaller than this, mm², that carries no piece is an island, no background."""


def leftovers(parts: Sequence[CopperPart], blank: int) -> list[Finding]:
    """One note for the slivers and one for the islands of a blank, at the largest of each."""
    shapes = np.array(
        [part.shape for part in parts if not part.pieces and part.shape.area < ISLAND],
        dtype=object,
    )
    if not len(shapes):
        return []
    thin = shapely.is_empty(shapely.buffer(shapes, -SLIVER, quad_segs=2))
    found: list[Finding] = []
    for code, chosen, words in (
        ("copper-sliver", shapes[thin], "slivers of copper stay between paths. Raise the overlap"),
        ("copper-island", shapes[~thin], "islands of copper stay between paths. Raise the overlap"),
    ):
        if not len(chosen):
            continue
        largest = chosen[int(np.argmax(shapely.area(chosen)))]
        at = largest.representative_point()
        found.append(
            Finding(
                code=code,
                severity="note",
                message=f"{len(chosen)} {words}, or brush the board; "
                f"the largest has {largest.area:.4f} mm².",
                frame="blank",
                at=(at.x, at.y),
                blank=blank,
            )
        )
    return found
