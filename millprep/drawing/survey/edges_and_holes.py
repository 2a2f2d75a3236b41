"""What one layer may be besides copper: the board's edge, or its holes."""

from __future__ import annotations

from typing import get_args

import numpy as np
import shapely

from millprep.drawing import doubts, hole_marks
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE, chain
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke
from millprep.drawing.marks.stroke import Slot
from millprep.drawing.outline import outline
from millprep.drawing.survey.candidates import Candidate, first_of_each, sizes
from millprep.drawing.survey.layer_facts import LayerFacts
from millprep.geometry.path import Point
from millprep.model.finding import Finding, many
from millprep.model.job.layers import OutlinePen

LARGEST_BORE = 12.0
"""Circles above this, mm, are no holes for wires and screws (common practice, no source)."""
LARGEST_GAP = 0.5
"""Gaps in an outline up to this, mm, are offered to be closed (common practice, no source)."""


def hole_reading(layer: LayerFacts) -> Candidate | None:
    """The layer as holes, where nothing but holes is drawn on it."""
    if layer.loose or layer.unread or not (layer.loops or layer.wide or layer.fills):
        return None
    ledger = Ledger(None, "")
    bold: list[Mark] = [
        mark for mark in layer.marks if not isinstance(mark, Stroke) or mark.widths.any()
    ]
    if any(isinstance(m, Stroke) and len(m.vertices) > 1 and not m.bulges.any() for m in bold):
        return None  # wide lines may be slots, but are tracks far more often
    edge_area = hole_marks.rounds(bold, layer.loops, ledger)
    doubtful = first_of_each(ledger.take())
    if not edge_area or {code for code, _ in doubtful} - {"hole-doubtful"}:
        return None
    once = {tuple(np.round((*bore.at, bore.diameter), 6).tolist()) for bore in edge_area}
    circles = sizes(edge_area)
    slots = sum(isinstance(bore, Slot) for bore in doubts.smallest(edge_area))
    count = sum(n for _, n in circles) - slots
    words = [many(count, "circle")] if count else []
    words += [many(slots, "slot")] if slots else []
    return Candidate(
        "holes",
        f"{' and '.join(words)} of {many(len(circles), 'size')}, no more",
        drills=circles,
        box=layer.box,
        refused=doubtful,
        ringed=len(doubts.smallest(edge_area)) < len(once),
        bores=tuple(doubts.smallest(edge_area)),
    )


def outline_reading(layer: LayerFacts) -> Candidate | None:
    """The layer as the board's edge, where its lines are closed or nearly so."""
    if layer.fills or not layer.marks:
        return None
    pen = "drawn with a pen" if layer.wide else "of no width"
    reason = f"a closed line {pen} that encloses everything else"
    edge_area, stops, left = _edge(layer, TOLERANCE)
    gaps: tuple[tuple[Point, float], ...] = ()
    close = None
    pens: tuple[OutlinePen, ...] = ()
    if {stop.code for stop in stops} == {"outline-of-a-pen"}:
        edge_area, again, left = _edge(layer, TOLERANCE, "middle")
        pens = () if again else get_args(OutlinePen)
    if {stop.code for stop in stops} == {"outline-open"}:
        gaps = open_ends(layer)
        widest = max((size for _, size in gaps), default=0.0)
        if gaps and widest <= LARGEST_GAP:
            close = float(np.ceil(widest * 100 + 0.5) / 100)
            edge_area, again, left = _edge(layer, close)
            reason = f"a line {pen} around everything else, with {many(len(gaps), 'gap')}"
            if again:
                edge_area, close = None, None
    if edge_area is None and layer.wide and not pens:
        # a pen may close what its middle leaves open, or draws across itself
        edge_area, again, left = _edge(layer, TOLERANCE, "outer")
        pens = () if again else ("outer", "inner")
        edge_area = None if again else edge_area
    if edge_area is None and {stop.code for stop in stops} - _EDGE_FAULTS:
        return None
    return Candidate(
        "outline",
        reason,
        pieces=1 if edge_area is not None else None,
        box=layer.box,
        close_gaps=close,
        gaps=gaps if close else (),
        pens=pens,
        left_out=left,
        refused=first_of_each(stops),
        shapes=(edge_area,) if edge_area is not None else (),
    )


_EDGE_FAULTS = {"outline-open", "outline-crosses", "outline-branches", "outline-several"}


def _edge(
    layer: LayerFacts, tolerance: float, pen: OutlinePen | None = None
) -> tuple[shapely.Polygon | None, tuple[Finding, ...], tuple[tuple[str, int, str], ...]]:
    ledger = Ledger(None, "")
    edge_area, _ = outline(
        layer.marks, ledger, circles_are_holes=False, tolerance=tolerance, pen=pen,
        chained=None if layer.wide or tolerance > TOLERANCE else layer.chained,
    )  # fmt: skip
    stops = ledger.take()
    left = tuple((entry.kind, entry.count, entry.reason) for entry in ledger.left_out())
    return (None if stops else edge_area), stops, left


def open_ends(layer: LayerFacts) -> tuple[tuple[Point, float], ...]:
    """Places where the layer's lines end, each with the distance to the nearest other end."""
    opened = layer.opened
    if layer.wide:  # of the lines that a pen draws, the middle counts
        opened = chain([m if isinstance(m, Curve) else m.curve for m in layer.marks
                        if not isinstance(m, Fill)]).opened  # fmt: skip
    ends = [run.points[k] for run in opened for k in (0, -1)]
    if len(ends) < 2 or len(ends) > 40:
        return ()
    xy = np.array(ends)
    away = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    out: list[tuple[Point, float]] = []
    free = set(range(len(xy)))
    while len(free) > 1:
        some = sorted(free)
        part = away[np.ix_(some, some)]
        i, j = np.unravel_index(int(np.argmin(part)), part.shape)
        first, second = some[int(i)], some[int(j)]
        x, y = ((xy[first] + xy[second]) / 2).tolist()
        out.append(((x, y), float(away[first, second])))
        free -= {first, second}
    return tuple(out)
