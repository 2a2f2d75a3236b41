"""Gaps that were not opened as far as asked: a lap beside the first is missing or lies off.

The first lap parts a piece from the background; the ones beyond it open the gap. Without them no
net is shorted and no piece has another shape, but floating copper stands nearer than asked.
"""

from __future__ import annotations

import numpy as np
import shapely

from millprep.model.as_cut import AsCut
from millprep.model.copy_findings import limited, on_blank
from millprep.model.finding import Finding
from millprep.model.layout import Placement
from millprep.model.pad import lands
from millprep.verify.edges import EDGE
from millprep.verify.leftovers import ISLAND
from millprep.verify.sweep import grown

WIDE = 0.02
"""Background copper within the gap is told when it is wider than this, mm."""
_BANDS = 8
_CLIP = 1.0
"""The background is looked at so far around a piece's band, mm."""


def unopened(
    cut: AsCut, placement: Placement, gap: float, around: float | None = None
) -> tuple[Finding, ...]:
    """A warning for each piece that background copper stands nearer to than `gap`, mm.

    `gap` is told from the drawn edge to the copper's foot, `around` likewise from the edge of
    lands; None where lands get no gap of their own. Small islands and slivers between laps are
    told on their own.
    """
    background = np.array(
        [part.shape for part in cut.parts if not part.pieces and part.shape.area >= ISLAND],
        dtype=object,
    )
    board = placement.board
    asked = [(f"piece {piece.id}", piece.shape, gap) for piece in board.pieces]
    if around is not None:
        asked += [(f"the land of {one.hole.words}", one.shape, around) for one in lands(board)]
    drawn = np.array([placement.pose.shape(shape) for _, shape, _ in asked], dtype=object)
    far = np.array([wide for _, _, wide in asked])
    zones = grown(drawn, far - EDGE, _BANDS)
    outline = placement.pose.shape(placement.board.outline)
    # the background asks: GEOS prepares what asks, and it is the large one
    hits = shapely.STRtree(zones).query(background, predicate="intersects")
    found: list[Finding] = []
    for n in np.unique(hits[1]).tolist():
        x0, y0, x1, y1 = zones[n].bounds
        near = shapely.clip_by_rect(
            background[hits[0][hits[1] == n]], x0 - _CLIP, y0 - _CLIP, x1 + _CLIP, y1 + _CLIP
        )
        inside = shapely.intersection(shapely.union_all(near), zones[n]).intersection(outline)
        solid = shapely.buffer(inside, -WIDE / 2, quad_segs=2)
        if solid.is_empty:
            continue
        spots = shapely.points(shapely.get_coordinates(solid))
        least = float(shapely.distance(spots, drawn[n]).min()) - WIDE / 2
        at = solid.representative_point()
        found.append(
            on_blank(
                placement,
                "gap-not-opened",
                "warn",
                f"background copper stands {least:.3f} mm from the drawn edge of {asked[n][0]}, "
                f"{far[n]:.3f} was asked at its foot. "
                "A lap beside it is missing, too shallow, or lies off.",
                (at.x, at.y),
            )
        )
    return limited(found)
