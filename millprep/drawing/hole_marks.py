"""Marks on hole layers as bores: circles, dots, rings, slots; whatever else is a fault."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import Loop, OpenChain
from millprep.drawing.marks.mark import Fill, Mark, Round, Source, Stroke, round_of
from millprep.drawing.marks.slot import Bore, Slot, slot_of
from millprep.geometry.path import Point

THIN = 0.2
"""A ring drawn with a pen thinner than this share of its diameter may be the pen's circle."""

REMEDY = (
    "draw holes as circles; slots as two parallel lines closed by two half circles, or as a "
    "straight line as wide as the slot; other openings on the outline layer, as cut-outs"
)


def rounds(marks: Sequence[Mark], loops: list[Loop], ledger: Ledger) -> list[Bore]:
    """Circles, and slots, on a layer that holds nothing but holes; whatever else is a fault."""
    out: list[Bore] = []
    for mark in marks:
        if isinstance(mark, Stroke) and mark.widths.any():
            bore = _of_stroke(mark, ledger)
        elif isinstance(mark, Fill):
            bore = _of_fill(mark, ledger)
        else:
            continue
        if bore is not None:
            out.append(bore)
            ledger.use(mark.source, "holes")
    for loop in loops:
        bore = loop.round or slot_of(loop.points)
        if bore is not None:
            out.append(bore)
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            _not_round(loop.sources[0], _pair(loop.points[0]), ledger)
    return out


def left_open(runs: Sequence[OpenChain], ledger: Ledger) -> None:
    """Lines of no width on a hole layer that do not close are faults."""
    for run in runs:
        ledger.stop(
            "hole-not-round",
            "an open line on a hole layer",
            REMEDY,
            source=run.sources[0],
            at=_pair(run.points[0]),
        )


def _not_round(source: Source, at: Point, ledger: Ledger) -> None:
    ledger.stop(
        "hole-not-round",
        "this shape on a hole layer is neither a circle nor a slot",
        REMEDY,
        source=source,
        at=at,
    )


def _of_stroke(mark: Stroke, ledger: Ledger) -> Bore | None:
    at = mark.to_mm.point(*mark.vertices[0].tolist())
    even = mark.to_mm.even and not mark.tapered and not np.ptp(mark.widths) > 0
    if len(mark.vertices) == 1 and mark.to_mm.even:
        return Round(at, float(mark.widths.max()) * mark.to_mm.stretch[0])
    bore: Bore | None = mark.curve.round
    if bore is None and even and mark.closed:
        bore = slot_of(mark.curve.points)
    elif bore is None and even and (slot := _straight(mark)) is not None:
        return slot
    if bore is None or not even:
        _not_round(mark.source, at, ledger)
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    inner, outer = bore.diameter - width, bore.diameter + width
    if inner <= 1e-6 * outer:
        return bore._replace(diameter=outer)
    if width < THIN * bore.diameter:
        shape = "slot" if isinstance(bore, Slot) else "circle"
        ledger.stop(
            "hole-doubtful",
            f"a {shape} drawn with a pen of {width:.3f} mm: the hole may be {inner:.3f} mm (its "
            f"inside), {bore.diameter:.3f} mm (its middle) or {outer:.3f} mm (its outside)"
            + (" wide" if isinstance(bore, Slot) else ""),
            "draw the hole as a line without width",
            source=mark.source,
            at=bore.at,
        )
        return None
    return bore._replace(diameter=inner)


def _straight(mark: Stroke) -> Slot | None:
    """The slot that a straight open stroke sweeps, its ends round."""
    if mark.bulges.any():
        return None
    points = mark.curve.points
    way = points[-1] - points[0]
    length = float(np.hypot(*way))
    if not length > 0:
        return None
    unit = way / length
    off = (points - points[0]) @ np.array([-unit[1], unit[0]])
    along = (points - points[0]) @ unit
    if np.abs(off).max() > 1e-6 or not (np.diff(along) > 0).all():
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    return Slot.between(_pair(points[0]), _pair(points[-1]), width)


def _of_fill(mark: Fill, ledger: Ledger) -> Bore | None:
    area = mark.areas[0]
    outline = area.interiors[0] if len(area.interiors) == 1 else area.exterior
    points = np.asarray(outline.coords)[:-1]
    result: Bore | None = None
    if len(mark.areas) == 1 and len(area.interiors) <= 1:
        result = round_of(points) if mark.curved else None
        result = result or slot_of(points)
    if result is None:
        point = area.representative_point()
        _not_round(mark.source, (point.x, point.y), ledger)
    return result


def _pair(p: NDArray[np.float64]) -> Point:
    return (float(p[0]), float(p[1]))
