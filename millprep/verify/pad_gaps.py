"""The gap around every land as cut, where a wider one is asked for soldering by hand.

Floating copper gives way to it; copper of another net that is drawn nearer stays. Copper of the
land's own net is no matter: solder that runs there joins what is joined.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from millprep.model.as_cut import AsCut, LandGap
from millprep.model.copy_findings import limited, on_blank
from millprep.model.finding import Finding
from millprep.model.layout import Placement
from millprep.model.pad import lands
from millprep.verify.edges import EDGE
from millprep.verify.leftovers import ISLAND, SLIVER
from millprep.verify.one_net import Nets, net_of, nets_on
from millprep.verify.sweep import FloatArray, Shapes, grown

CHUNK = 24
"""Edges of an outline that are measured together."""
_QUARTER = 8


def land_gaps(
    cut: AsCut, placement: Placement, asked: float, skirt: float, nets: Nets | None = None
) -> tuple[tuple[LandGap, ...], tuple[Finding, ...]]:
    """What stands around every land of a copy, the narrowest first, and where it is too near.

    Measured at the copper's foot, which reaches `skirt` mm beyond the drawn edge; as far as
    `asked` mm, what stands farther is not looked for. Slivers between paths are told on their own.
    `nets` names the net of every piece.
    """
    known = nets or {}
    parts = [part for part in cut.parts if part.pieces or not _is_sliver(part.shape)]
    named = [nets_on(part, known) for part in parts]
    owner, edges = _chunks([part.shape for part in parts])
    all_lands = lands(placement.board)
    drawn = np.array([placement.pose.shape(land.shape) for land in all_lands], dtype=object)
    if not len(drawn) or not len(edges):
        return (), ()
    foot = grown(drawn, skirt, _QUARTER)
    near, edge = shapely.STRtree(edges).query(foot, predicate="dwithin", distance=asked)
    far = shapely.distance(foot[near], edges[edge])
    order = np.lexsort((far, near))
    found: dict[int, LandGap] = {}
    for k in order.tolist():
        n = int(near[k])
        land, part = all_lands[n], int(owner[edge[k]])
        if n in found or net_of(known, (placement.index, land.piece)) in named[part]:
            continue
        line = shapely.shortest_line(foot[n], edges[edge[k]])
        at = shapely.get_coordinates(line).mean(axis=0)
        other = parts[part].pieces
        found[n] = LandGap(
            land.hole.id,
            float(far[k]),
            (float(at[0]), float(at[1])),
            other[0][1] if other else None,
        )
    reached = [
        found.get(n) or LandGap(land.hole.id, None, placement.pose.point(land.hole.at), None)
        for n, land in enumerate(all_lands)
    ]
    reached.sort(key=lambda one: (asked if one.gap is None else one.gap, one.hole))
    told = [_told(reached, placement, asked), *_narrow(reached, placement, asked)]
    return tuple(reached), limited(told)


def _is_sliver(shape: shapely.Polygon) -> bool:
    return shape.area < ISLAND and bool(shape.buffer(-SLIVER, quad_segs=2).is_empty)


def _told(reached: Sequence[LandGap], placement: Placement, asked: float) -> Finding:
    """A note of how many lands have the gap, and of the one that has least."""
    words = {hole.id: hole.words for hole in placement.board.holes}
    least, open_ = reached[0], [one for one in reached if not _short(one, asked)]
    message = f"{asked:g} mm are open around {len(open_)} of {len(reached)} lands"
    if least.gap is not None and _short(least, asked):
        message += f"; the least is {least.gap:.3f} mm, at the land of {words[least.hole]}"
    bare = sum(hole.piece is not None for hole in placement.board.holes) - len(reached)
    if bare:
        message += f"; {bare} holes on copper do not have it all around them and count as no lands"
    return on_blank(placement, "gap-around-lands", "note", f"{message}.", least.at)


def _short(one: LandGap, asked: float) -> bool:
    return one.gap is not None and one.gap < asked - EDGE


def _narrow(
    reached: Sequence[LandGap], placement: Placement, asked: float
) -> Iterator[Finding]:
    """A warning for each land that copper of another net is drawn too near to."""
    words = {hole.id: hole.words for hole in placement.board.holes}
    for one in reached:
        if one.gap is None or one.other is None or not _short(one, asked):
            continue
        message = (
            f"the land of {words[one.hole]} keeps {one.gap:.3f} mm to piece {one.other}, "
            f"{asked:g} were asked around lands: they are drawn no farther apart. Draw them "
            "apart, draw the land smaller, or look for bridges of solder there."
        )
        yield on_blank(placement, "land-gap-narrow", "warn", message, one.at)


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
