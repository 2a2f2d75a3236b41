"""Lines without length and width: those that lie on a line that is read change nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.mark import Aside, Curve, Mark, Stroke

ON_A_LINE = "{}, and lies on a line of its layer, so that nothing changes without it"


def leave(places: Sequence[Aside], by_layer: Mapping[str, Sequence[Mark]], ledger: Ledger) -> None:
    """Hand them to the ledger; what is alone may be a dot or a hole that was meant.

    Args:
        places: with where they lie, on layers that the job uses.
        by_layer: what is read, by folded layer name.
        ledger: takes them.
    """
    alike: dict[str, list[Aside]] = {}
    for place in places:
        alike.setdefault(place.source.layer.casefold(), []).append(place)
    for layer, some in alike.items():
        lines = [line for mark in by_layer.get(layer, ()) if (line := _line(mark)) is not None]
        points = shapely.points(np.array([entry.at for entry in some], dtype=float))
        tree = shapely.STRtree(lines)
        on, _ = tree.query(points, predicate="dwithin", distance=TOLERANCE)
        met = set(on.tolist())
        for n, entry in enumerate(some):
            reason = ON_A_LINE.format(entry.reason) if n in met else entry.reason
            ledger.leave(entry.source, reason, harmless=n in met)


def _line(mark: Mark) -> shapely.LineString | None:
    """The line that a mark draws, whatever its width."""
    if isinstance(mark, Stroke):
        mark = mark.curve
    if not isinstance(mark, Curve) or len(mark.points) < 2:
        return None
    points = mark.points
    return shapely.LineString(np.vstack((points, points[:1])) if mark.closed else points)
