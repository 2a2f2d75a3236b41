"""Which layers play which role: settled by geometry, never by names.

What a layer may be besides copper, the board's edge or its holes, is here as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from millprep.drawing import concentric, hole_marks
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.mark import Mark, Stroke
from millprep.drawing.marks.slot import Slot
from millprep.drawing.outline import outline
from millprep.drawing.survey.candidates import (
    Candidate,
    copper_readings,
    first_of_each,
    many,
    sizes,
)
from millprep.drawing.survey.layer_facts import LayerFacts, joined
from millprep.geometry.path import Point
from millprep.model.finding import Finding
from millprep.model.job.layers import CopperMode, LayerRoles

NO_EDGE = "no layer draws the board's edge: state its size, or a margin around the copper"
LARGEST_BORE = 12.0
"""Circles above this, mm, are no holes for wires and screws (common practice, no source)."""


@dataclass(slots=True)
class Guess:
    """Roles as far as geometry settles them.

    Attributes:
        roles: a role without a layer is not settled; None when copper is not.
        edge: the layer that draws the board's edge, where there is just one.
        candidates: for every layer what it may be, the likeliest first.
        doubts: what is not settled, and what would settle it.
        needs_mode, needs_width: copper layers whose mode, or width, the job has to say.
        close_gaps: gaps to close in the outline that the roles name, working unit; 0 for none.
    """

    roles: LayerRoles | None = None
    edge: tuple[str, ...] = ()
    candidates: dict[str, list[Candidate]] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)
    needs_mode: list[str] = field(default_factory=list)
    needs_width: list[str] = field(default_factory=list)
    close_gaps: float = 0.0


def guess(layers: Sequence[LayerFacts], *, in_mm: bool) -> Guess:
    """Roles, candidates and doubts; `in_mm` says that the unit is known and applied."""
    out = Guess()
    drawn = [la for la in layers if la.box is not None]
    everything = joined([la.box for la in drawn])
    edges: list[tuple[LayerFacts, Candidate]] = []
    bores: list[LayerFacts] = []
    coppers: list[tuple[LayerFacts, list[Candidate]]] = []
    rest: list[tuple[LayerFacts, list[Candidate]]] = []
    # circles around circles: pads with their holes, or holes drawn with their pads
    either: list[tuple[LayerFacts, list[Candidate]]] = []
    for layer in drawn:
        mine = out.candidates.setdefault(layer.name, [])
        edge = outline_reading(layer) if layer.spans(everything) else None
        bore = hole_reading(layer)
        if bore is not None and in_mm and any(d > LARGEST_BORE for d, _ in bore.drills):
            bore = None
        # straight lines with a width are slots to a hole layer, but tracks rather than slots
        tracks = any(isinstance(mark, Stroke) and mark.widths.any() and not mark.closed
                     and len(mark.vertices) > 1 for mark in layer.marks)  # fmt: skip
        if edge is not None:
            mine.append(edge)
        if edge is not None and edge.pieces is not None:
            edges.append((layer, edge))
            rest.append((layer, mine))
            continue
        if bore is not None and not tracks and not bore.ringed:
            mine.append(bore)
            bores.append(layer)
            rest.append((layer, mine))
            continue
        readings = _copper(layer)
        mine += readings
        if bore is not None:
            mine.append(bore)
        if bore is not None and bore.ringed and not tracks:
            either.append((layer, readings))
            continue
        several = edge is not None and not layer.wide and layer.deepest < 2 and len(drawn) > 1
        if readings:
            (rest if several else coppers).append((layer, readings))
            hopeless = edge is not None and {code for code, _ in edge.refused} - {"outline-open"}
            if (
                edge is not None
                and hopeless
                and any(reading.reads for reading in readings)
                and not several
            ):
                mine.remove(edge)
    coppers = _likely(coppers, rest)
    if coppers or not bores:
        coppers += either
    _settle(out, edges, coppers, bores, alone=len(drawn) == 1)
    return out


def _copper(layer: LayerFacts) -> list[Candidate]:
    """The readings as copper, where there is any sign of it."""
    bold = layer.wide or layer.fills
    if not bold and (layer.tangled or len(layer.loops) + layer.loose < 2):
        return []
    return copper_readings(layer)


def _likely(
    coppers: list[tuple[LayerFacts, list[Candidate]]],
    rest: list[tuple[LayerFacts, list[Candidate]]],
) -> list[tuple[LayerFacts, list[Candidate]]]:
    """Layers that are copper rather than anything else.

    Bare lines are copper only where nothing better is. Without any copper the readings of
    what is edge or holes already are listed too, for a person to choose from.
    """
    firm = [copper for copper in coppers if any(c.reads for c in copper[1])]
    bold = [
        copper for copper in coppers if copper not in firm and (copper[0].wide or copper[0].fills)
    ]
    if coppers:
        return [*firm, *bold] or coppers
    for layer, mine in rest:
        known = {(c.role, c.modes) for c in mine}
        if len(layer.loops) > 1 or not any(c.role == "outline" for c in mine):
            mine += [c for c in copper_readings(layer) if (c.role, c.modes) not in known]
    return []


def _settle(
    out: Guess,
    edges: list[tuple[LayerFacts, Candidate]],
    coppers: list[tuple[LayerFacts, list[Candidate]]],
    bores: list[LayerFacts],
    *,
    alone: bool,
) -> None:
    if len(edges) == 1:
        out.edge = (edges[0][0].name,)
        out.close_gaps = edges[0][1].close_gaps or 0.0
    if len(coppers) != 1:
        out.doubts.append(
            f"{len(coppers)} layers may be copper: name yours"
            if coppers
            else "no layer holds wide lines, filled areas or sets of outlines"
        )
        if bores and not coppers:
            out.doubts.append(
                f"{many(len(bores), 'layer')} with nothing but circles or slots: they may be pads "
                "or holes, name them"
            )
        if alone and not out.edge:
            out.doubts.append(_MIXED)
        return
    layer, readings = coppers[0]
    if not out.edge:
        out.doubts.append(
            f"{len(edges)} layers hold a closed line that encloses everything else: name one"
            if edges
            else NO_EDGE
        )
    if out.close_gaps:
        out.doubts.append(
            f"the outline on layer {out.edge[0]!r} is open in "
            f"{many(len(edges[0][1].gaps), 'place')}: "
            "close them in the drawing, or let the job close gaps of that size"
        )
    taken = readings[0]
    drilled = tuple(bore.name for bore in bores)
    if not drilled and any(reading.own_holes for reading in readings):
        drilled = (layer.name,)
    if not drilled:
        out.doubts.append("no layer holds only circles: the board's holes are elsewhere or none")
    elif len(drilled) > 1:
        out.doubts.append(f"{len(drilled)} layers hold only circles: all are taken for holes")
    modes: tuple[tuple[str, CopperMode], ...] = ()
    if taken.reads:
        modes = tuple((layer.name, m) for m in taken.modes if m.endswith("outlines"))
    elif not (layer.loops or layer.wide or layer.fills):
        out.needs_width.append(layer.name)
        out.doubts.append(f"layer {layer.name!r}: {readings[-1].reason}; give their width")
    else:
        some = sum(reading.reads for reading in readings)
        out.needs_mode.append(layer.name)
        out.doubts.append(
            f"layer {layer.name!r} as copper admits more than one reading, "
            f"{many(some, 'reading')} of those tried can go on: say which is meant"
            if some
            else f"layer {layer.name!r}: no reading of it as copper can go on"
        )
        if alone:
            out.doubts.append(_MIXED)
    out.roles = LayerRoles((layer.name,), out.edge, drilled, copper_modes=modes)


_MIXED = (
    "everything is on one layer: if copper, outline and text are mixed there, a "
    "[[board.selection]] of the job can part them by colour, line type, block, closed or open "
    "lines, or region"
)


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
    slots = sum(isinstance(bore, Slot) for bore in concentric.smallest(edge_area))
    count = sum(n for _, n in circles) - slots
    words = [many(count, "circle")] if count else []
    words += [many(slots, "slot")] if slots else []
    return Candidate(
        "holes",
        f"{' and '.join(words)} of {many(len(circles), 'size')}, no more",
        drills=circles,
        box=layer.box,
        refused=doubtful,
        ringed=len(concentric.smallest(edge_area)) < len(once),
        bores=tuple(concentric.smallest(edge_area)),
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
    if {stop.code for stop in stops} == {"outline-open"}:
        gaps = open_ends(layer)
        widest = max((size for _, size in gaps), default=0.0)
        if gaps and widest <= LARGEST_GAP:
            close = float(np.ceil(widest * 100 + 0.5) / 100)
            edge_area, again, left = _edge(layer, close)
            reason = f"a line {pen} around everything else, with {many(len(gaps), 'gap')}"
            if again:
                edge_area, close = None, None
    if edge_area is None and {stop.code for stop in stops} - _EDGE_FAULTS:
        return None
    return Candidate(
        "outline",
        reason,
        pieces=1 if edge_area is not None else None,
        box=layer.box,
        close_gaps=close,
        gaps=gaps if close else (),
        left_out=left,
        refused=first_of_each(stops),
        shapes=(edge_area,) if edge_area is not None else (),
    )


_EDGE_FAULTS = {"outline-open", "outline-crosses", "outline-branches", "outline-several"}


def _edge(
    layer: LayerFacts, tolerance: float
) -> tuple[shapely.Polygon | None, tuple[Finding, ...], tuple[tuple[str, int, str], ...]]:
    ledger = Ledger(None, "")
    edge_area, _ = outline(layer.marks, ledger, circles_are_holes=False, tolerance=tolerance)
    stops = ledger.take()
    left = tuple((entry.kind, entry.count, entry.reason) for entry in ledger.left_out())
    return (None if stops else edge_area), stops, left


def open_ends(layer: LayerFacts) -> tuple[tuple[Point, float], ...]:
    """Places where the layer's lines end, each with the distance to the nearest other end."""
    ends = [run.points[k] for run in layer.opened for k in (0, -1)]
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
