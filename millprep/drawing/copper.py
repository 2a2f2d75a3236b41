"""Copper: from marks on copper layers to connected pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.drawing import doubts
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import stroke
from millprep.drawing.marks.chain import Chained, Loop, chain
from millprep.drawing.marks.evenodd import Crossing, nest, odd_areas
from millprep.drawing.marks.mark import Curve, Fill, Mark, Source, Stroke
from millprep.drawing.marks.neighbours import Groups, crossings, pairs
from millprep.geometry.pose import Affine
from millprep.model.finding import many
from millprep.model.job.layers import CopperMode

OUTLINES: frozenset[CopperMode] = frozenset({"nested outlines", "overlapping outlines"})
NOT_READ = "the job reads other things as copper on its layer"

SPECK = 1e-6
"""Areas below this, mm², are noise of the arithmetic, not copper and no gap in it."""

MOST_TOUCHING = 500_000
"""Areas that touch, counted both ways, beyond which copper is refused: joining those that cross
takes some 40 s a million, and 1.4 GB."""


@dataclass(frozen=True, slots=True)
class Mode:
    """How one layer is read.

    Attributes:
        kinds: what draws copper; empty for whatever is there.
        width: in mm, of lines drawn without one; None when they are outlines.
    """

    kinds: frozenset[CopperMode] = frozenset()
    width: float | None = None

    def reads(self, *kinds: CopperMode) -> bool:
        """Whether any of these is read."""
        return not self.kinds or bool(self.kinds & set(kinds))


def parts(
    marks: Sequence[Fill | Stroke], loops: list[Loop], mode: Mode, ledger: Ledger
) -> list[shapely.Polygon]:
    """Copper areas of one layer, not yet joined.

    Args:
        marks: of the layer, lines of no width excepted.
        loops: closed lines of the layer, without those taken for holes.
        mode: how the layer is read.
        ledger: takes the faults.
    """
    out: list[shapely.Polygon] = []
    bold: list[tuple[Source, list[shapely.Polygon]]] = []
    for mark in marks:
        if not mode.reads("fills" if isinstance(mark, Fill) else "strokes"):
            ledger.leave(mark.source, NOT_READ)
            continue
        areas = list(mark.areas) if isinstance(mark, Fill) else _wide(mark, ledger)
        if areas:
            ledger.use(mark.source, "copper")
            bold.append((mark.source, areas))
            out += areas
    fills = [area for mark in marks if isinstance(mark, Fill) for area in mark.areas]
    if fills and not mode.kinds:
        loops = doubts.without_fill_edges(loops, fills, ledger)
    if not mode.kinds:
        doubts.swallowed(bold, loops, ledger)
    return out + _enclosed(loops, mode, ledger)


def lines(
    marks: Sequence[Mark], mode: Mode, ledger: Ledger, chained: Chained | None = None
) -> tuple[list[Fill | Stroke], list[Loop]]:
    """What has a width or an area on one layer, and its closed lines of no width, chained.

    Open lines of no width are a fault, unless the job gives their width or does not read them.
    `chained` is given where the lines of no width are chained already.
    """
    thin = [
        mark
        for mark in marks
        if isinstance(mark, Curve) or (isinstance(mark, Stroke) and not mark.widths.any())
    ]
    bold: list[Fill | Stroke] = [
        mark
        for mark in marks
        if isinstance(mark, Fill) or (isinstance(mark, Stroke) and mark.widths.any())
    ]
    if mode.width is not None:
        _crossed([m if isinstance(m, Curve) else m.curve for m in thin], ledger)
        return [*bold, *(_given(mark, mode.width) for mark in thin)], []
    if not mode.reads(*OUTLINES):
        for mark in thin:
            ledger.leave(mark.source, NOT_READ)
        return bold, []
    if chained is None:
        chained = chain([mark if isinstance(mark, Curve) else mark.curve for mark in thin])
    for source in chained.repeated:
        ledger.leave(source, "it is drawn twice or encloses nothing")
    for run in chained.opened:
        middle = run.points[len(run.points) // 2]
        ledger.stop(
            "copper-zero-width",
            f"a line of no width that encloses nothing, from "
            f"({run.points[0][0]:.3f}, {run.points[0][1]:.3f}) to "
            f"({run.points[-1][0]:.3f}, {run.points[-1][1]:.3f})",
            "draw the track with its width, give it in layers.widths of the job, or close the "
            "outline",
            source=run.sources[0],
            at=(float(middle[0]), float(middle[1])),
        )
    return bold, chained.loops


def _crossed(curves: list[Curve], ledger: Ledger) -> None:
    """A warning where lines that the job gives a width cross each other."""
    opened = chain(curves).opened
    crossed = crossings([run.points for run in opened])
    if crossed:
        (x, y), count = crossed[0], len(crossed)
        ledger.warn(
            "copper-lines-cross",
            f"{count} pair{'s' * (count > 1)} of lines that layers.widths makes tracks cross each "
            f"other and are joined there; the first cross at ({x:.3f}, {y:.3f}) mm. Look whether "
            "these are tracks of one side, and nothing but tracks.",
            (x, y),
        )


def _given(mark: Curve | Stroke, width: float) -> Stroke:
    """A bare line with the width that the job gives."""
    if isinstance(mark, Stroke):
        own = width / math.sqrt(abs(mark.to_mm.determinant))
        return replace(mark, widths=np.full(len(mark.widths), own))
    count = len(mark.points) - (0 if mark.closed else 1)
    return Stroke(
        mark.source, mark.points, np.zeros(count), np.full(count, width), mark.closed, Affine()
    )


def _wide(mark: Stroke, ledger: Ledger) -> list[shapely.Polygon]:
    x, y = mark.to_mm.point(*mark.vertices[0].tolist())
    if mark.tapered:
        ledger.stop(
            "copper-tapered",
            "a track that changes its width along a segment, whose ends have no clear shape",
            "draw it with a constant width on every segment",
            source=mark.source,
            at=(x, y),
        )
        return []
    if not (mark.widths > 0).all():
        ledger.stop(
            "copper-zero-width",
            "a track with a width on some segments and none on others",
            "give every segment its width",
            source=mark.source,
            at=(x, y),
        )
        return []
    try:
        return stroke.areas(mark)
    except ValueError as fault:
        ledger.stop(
            "entity-damaged",
            f"a track cannot be read ({fault})",
            "correct its width or its scale",
            source=mark.source,
            at=(x, y),
        )
        return []


def _enclosed(loops: list[Loop], mode: Mode, ledger: Ledger) -> list[shapely.Polygon]:
    """Areas that the closed lines of one layer enclose.

    Unless the job says which, lines that nest are read even-odd, lines that only overlap
    as one area. Where some nest and others overlap both readings are possible: refused.
    """
    if not loops:
        return []
    nesting = nest([loop.points for loop in loops])
    if isinstance(nesting, Crossing):
        ledger.stop(
            "copper-crosses-itself",
            f"{nesting.words}, so that its inside is not clear",
            "draw it as separate outlines",
            source=loops[nesting.first].sources[0],
            at=nesting.at,
        )
        return []
    crossing = nesting.cross()
    outline_modes = mode.kinds & OUTLINES
    if crossing is not None and outline_modes == {"nested outlines"}:
        ledger.stop(
            "copper-not-nested",
            f"the job reads this layer as nested outlines, but two of them overlap here "
            f"({many(len(nesting.crossing), 'pair')} in all)",
            "read it as overlapping outlines, or draw them apart",
            source=loops[crossing.first].sources[0],
            at=crossing.at,
        )
        return []
    if crossing is not None and len(nesting.pairs) and not outline_modes:
        ledger.stop(
            "copper-ambiguous",
            f"two closed lines overlap here, while others on the layer lie within each other: "
            "the inner ones may be gaps or copper "
            f"({many(len(nesting.crossing), 'pair overlaps', 'pairs overlap')}, "
            f"{many(len(nesting.pairs), 'nests', 'nest')})",
            'say in layers.modes of the job: "nested outlines" or "overlapping outlines"; '
            + doubts.LOOK,
            source=loops[crossing.first].sources[0],
            at=crossing.at,
        )
        return []
    if crossing is None and not outline_modes:
        doubts.pads_or_gaps(nesting, loops, ledger)
    for loop in loops:
        for source in loop.sources:
            ledger.use(source, "copper")
    if crossing is not None or outline_modes == {"overlapping outlines"}:
        return [p for area in nesting.areas for p in shapely.get_parts(area)]
    return odd_areas(nesting)


def pieces(areas: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Join areas that touch; neighbours are found by a tree, each group is joined alone."""
    if not areas:
        return []
    array = np.array(areas, dtype=object)
    shapely.prepare(array)
    groups = Groups(len(array))
    touching = pairs(array, most=MOST_TOUCHING)
    groups.tie(map(tuple, touching[touching[:, 0] < touching[:, 1]].tolist()))
    out: list[shapely.Polygon] = []
    for group in groups.members():
        joined = array[group[0]] if len(group) == 1 else shapely.union_all(array[group])
        out += [
            _clean(part)
            for part in shapely.get_parts(joined)
            if part.geom_type == "Polygon" and part.area > SPECK
        ]
    return out


def _clean(area: shapely.Polygon) -> shapely.Polygon:
    """The area without vertices on top of each other and without specks for holes."""
    inner = [interior for interior in area.interiors if shapely.Polygon(interior).area > SPECK]
    tidy = shapely.Polygon(area.exterior, inner) if len(inner) < len(area.interiors) else area
    tidy = shapely.remove_repeated_points(tidy, 1e-7)
    return tidy if tidy.is_valid and tidy.geom_type == "Polygon" else area


def sorted_reading(shapes: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Left to right, then bottom to top, by the low corner of the box."""
    return sorted(shapes, key=lambda s: tuple(round(v, 3) for v in s.bounds))
