"""Gaps around pieces and pads that are not as wide as required.

The first lap isolates a piece from floating copper; the laps beyond it open the gap. Without them
no net is shorted and no piece has another shape, but floating copper comes closer than required.
A pad may get a wider gap for soldering by hand: floating copper gives way to it, copper of another
net that is drawn closer stays. Copper of the pad's own net does not matter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.as_cut import AsCut, PadGap
from millprep.model.finding import Finding
from millprep.model.layout import Placement, limited, on_blank
from millprep.verify.as_cut import Nets, net_of, nets_on
from millprep.verify.edges import EDGE, ISLAND, SLIVER
from millprep.verify.pads import pad_areas
from millprep.verify.sweep import Shapes, dilated, quarter

CHUNK = 24
"""Edges of an outline that are measured together."""
_QUARTER = 8
WIDE = 0.02
"""Floating copper within the gap is reported when it is wider than this, mm."""
_CLIP = 1.0
"""Floating copper is looked at so far around a piece's gap, mm."""


def pad_gaps(
    cut: AsCut, placement: Placement, required_gap: float, skirt: float, nets: Nets | None = None
) -> tuple[tuple[PadGap, ...], tuple[Finding, ...]]:
    """What lies around every pad of a copy, the narrowest first, and where it is too near.

    Measured at the copper's foot, which reaches `skirt` mm beyond the drawn edge; as far as
    `required_gap` mm: what lies farther off is not looked for. Slivers between paths have a finding
    of their own. `nets` names the net of every piece.
    """
    known = nets or {}
    parts = [part for part in cut.parts if part.pieces or not _is_sliver(part.shape)]
    named = [nets_on(part, known) for part in parts]
    owner, edges = _chunks([part.shape for part in parts])
    pads = pad_areas(placement.board)
    drawn = np.array([placement.pose.shape(pad.shape) for pad in pads], dtype=object)
    if not len(drawn) or not len(edges):
        return (), ()
    foot = dilated(drawn, skirt, _QUARTER)
    near, edge = shapely.STRtree(edges).query(foot, predicate="dwithin", distance=required_gap)
    far = shapely.distance(foot[near], edges[edge])
    order = np.lexsort((far, near))
    gaps: dict[int, PadGap] = {}
    for k in order.tolist():
        n = int(near[k])
        pad, part = pads[n], int(owner[edge[k]])
        if n in gaps or net_of(known, (placement.index, pad.piece)) in named[part]:
            continue
        line = shapely.shortest_line(foot[n], edges[edge[k]])
        at = shapely.get_coordinates(line).mean(axis=0)
        other = parts[part].pieces
        gaps[n] = PadGap(
            pad.hole.id,
            float(far[k]),
            (float(at[0]), float(at[1])),
            other[0][1] if other else None,
        )
    reached = [
        gaps.get(n) or PadGap(pad.hole.id, None, placement.pose.point(pad.hole.at), None)
        for n, pad in enumerate(pads)
    ]
    reached.sort(
        key=lambda pad_gap: (required_gap if pad_gap.gap is None else pad_gap.gap, pad_gap.hole)
    )
    findings = [
        _gap_note(reached, placement, required_gap),
        *_narrow(reached, placement, required_gap),
    ]
    return tuple(reached), limited(findings)


def _is_sliver(shape: shapely.Polygon) -> bool:
    return shape.area < ISLAND and bool(shape.buffer(-SLIVER, quad_segs=2).is_empty)


def _gap_note(reached: Sequence[PadGap], placement: Placement, required_gap: float) -> Finding:
    """A note of how many pads have the gap, and of the one that has least."""
    words = {hole.id: hole.words for hole in placement.board.holes}
    least, open_ = reached[0], [pad_gap for pad_gap in reached if not _short(pad_gap, required_gap)]
    message = f"{len(open_)} of {len(reached)} pads have a gap of {required_gap:g} mm around them"
    if least.gap is not None and _short(least, required_gap):
        message += f"; the narrowest is {least.gap:.3f} mm, at the pad of {words[least.hole]}"
    bare = sum(hole.piece is not None for hole in placement.board.holes) - len(reached)
    if bare:
        message += f"; {bare} holes on copper are not surrounded by it and have no pad"
    return on_blank(placement, "gap-around-pads", "note", f"{message}.", least.at)


def _short(pad_gap: PadGap, required_gap: float) -> bool:
    return pad_gap.gap is not None and pad_gap.gap < required_gap - EDGE


def _narrow(
    reached: Sequence[PadGap], placement: Placement, required_gap: float
) -> Iterator[Finding]:
    """A warning for each pad that copper of another net is drawn too near to."""
    words = {hole.id: hole.words for hole in placement.board.holes}
    for pad_gap in reached:
        if pad_gap.gap is None or pad_gap.other is None or not _short(pad_gap, required_gap):
            continue
        message = (
            f"gap of {pad_gap.gap:.3f} mm between the pad of {words[pad_gap.hole]} and piece "
            f"{pad_gap.other}, required {required_gap:g}: they are drawn that close. Draw them "
            "farther from each other, draw the pad smaller, or look for bridges of solder there."
        )
        yield on_blank(placement, "pad-gap-narrow", "warn", message, pad_gap.at)


def _chunks(shapes: Sequence[shapely.Polygon]) -> tuple[FloatArray, Shapes]:
    """The outlines of areas in short lines, and the number of the area of each."""
    owner: list[int] = []
    lines: list[shapely.LineString] = []
    for number, shape in enumerate(shapes):
        for ring in (shape.exterior, *shape.interiors):
            xy = shapely.get_coordinates(ring)
            starts = range(0, len(xy) - 1, CHUNK)
            lines += [shapely.LineString(xy[start : start + CHUNK + 1]) for start in starts]
            owner += [number] * len(starts)
    out = np.empty(len(lines), dtype=object)
    out[:] = lines
    return np.array(owner, dtype=np.int64), out


def check_gaps_opened(
    cut: AsCut, placement: Placement, gap: float, around: float | None = None
) -> tuple[Finding, ...]:
    """A warning for each piece that floating copper is nearer to than `gap`, mm.

    `gap` is measured from the drawn edge to the copper's foot, `around` likewise from the edge of
    pads; None where pads get no gap of their own. Small islands and slivers between laps have a
    finding of their own.
    """
    floating = np.array(
        [part.shape for part in cut.parts if not part.pieces and part.shape.area >= ISLAND],
        dtype=object,
    )
    board = placement.board
    required = [(f"piece {piece.id}", piece.shape, gap) for piece in board.pieces]
    if around is not None:
        required += [
            (f"the pad of {pad_area.hole.words}", pad_area.shape, around)
            for pad_area in pad_areas(board)
        ]
    drawn = np.array([placement.pose.shape(shape) for _, shape, _ in required], dtype=object)
    far = np.array([wide for _, _, wide in required])
    zones = dilated(drawn, far - EDGE, quarter(float(far.max())))
    outline = placement.pose.shape(placement.board.outline)
    # GEOS prepares what it queries with, and that is the large one
    hits = shapely.STRtree(zones).query(floating, predicate="intersects")
    findings: list[Finding] = []
    for n in np.unique(hits[1]).tolist():
        x0, y0, x1, y1 = zones[n].bounds
        near = shapely.clip_by_rect(
            floating[hits[0][hits[1] == n]], x0 - _CLIP, y0 - _CLIP, x1 + _CLIP, y1 + _CLIP
        )
        inside = shapely.intersection(shapely.union_all(near), zones[n]).intersection(outline)
        solid = shapely.buffer(inside, -WIDE / 2, quad_segs=2)
        if solid.is_empty:
            continue
        spots = shapely.points(shapely.get_coordinates(solid))
        least = float(shapely.distance(spots, drawn[n]).min()) - WIDE / 2
        at = solid.representative_point()
        findings.append(
            on_blank(
                placement,
                "gap-not-opened",
                "warn",
                f"floating copper is {least:.3f} mm from the drawn edge of {required[n][0]}, "
                f"required {far[n]:.3f} at the foot of the groove. "
                "A lap next to it is missing, too shallow, or off its place.",
                (at.x, at.y),
            )
        )
    return limited(findings)
