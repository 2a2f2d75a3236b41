"""Holes: circles, dots and rings on hole layers; the smallest of concentric ones is the drill."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.chain import Loop
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Fill, Mark, Round, Source, Stroke, round_of
from millprep.drawing.neighbours import pairs
from millprep.values.board import CopperPiece, Hole

CONCENTRIC = 0.01
"""Centres this close are one, mm."""

THIN = 0.2
"""A ring drawn with a pen thinner than this share of its diameter may be the pen's circle."""


def rounds(marks: Sequence[Mark], loops: list[Loop], ledger: Ledger) -> list[Round]:
    """Circles on a layer that holds nothing but holes; whatever is not round is a fault."""
    out: list[Round] = []
    for mark in marks:
        if isinstance(mark, Stroke) and mark.widths.any():
            found = _of_stroke(mark, ledger)
        elif isinstance(mark, Fill):
            found = _of_fill(mark, ledger)
        else:
            continue
        if found is not None:
            out.append(found)
            ledger.use(mark.source, "holes")
    for loop in loops:
        if loop.round is not None:
            out.append(loop.round)
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            _not_round(
                loop.sources[0], (float(loop.points[0][0]), float(loop.points[0][1])), ledger
            )
    return out


def _not_round(source: Source, at: tuple[float, float], ledger: Ledger) -> None:
    ledger.stop(
        "hole-not-round",
        "this shape on a hole layer is no circle",
        "draw holes as circles, and slots as cut-outs on the outline layer",
        source=source,
        at=at,
    )


def _of_stroke(mark: Stroke, ledger: Ledger) -> Round | None:
    at = mark.to_mm.point(*mark.vertices[0].tolist())
    if len(mark.vertices) == 1 and mark.to_mm.even:
        return Round(at, float(mark.widths.max()) * mark.to_mm.stretch[0])
    circle = mark.curve.round
    if circle is None or mark.tapered or np.ptp(mark.widths) > 0 or not mark.to_mm.even:
        _not_round(mark.source, at, ledger)
        return None
    width = float(mark.widths[0]) * mark.to_mm.stretch[0]
    inner, outer = circle.diameter - width, circle.diameter + width
    if inner <= 1e-6 * outer:
        return Round(circle.at, outer)
    if width < THIN * circle.diameter:
        ledger.stop(
            "hole-doubtful",
            f"a circle drawn with a pen of {width:.3f} mm: the hole may be {inner:.3f} mm (its "
            f"inside), {circle.diameter:.3f} mm (its middle) or {outer:.3f} mm (its outside)",
            "draw the hole as a circle without width",
            source=mark.source,
            at=circle.at,
        )
        return None
    return Round(circle.at, inner)


def _of_fill(mark: Fill, ledger: Ledger) -> Round | None:
    area = mark.areas[0]
    ring = area.interiors[0] if len(area.interiors) == 1 else area.exterior
    found = None
    if mark.curved and len(mark.areas) == 1 and len(area.interiors) <= 1:
        found = round_of(np.asarray(ring.coords)[:-1])
    if found is None:
        point = area.representative_point()
        _not_round(mark.source, (point.x, point.y), ledger)
    return found


def drills(found: Sequence[Round]) -> list[Round]:
    """The smallest of every set of concentric circles, repeated ones once."""
    unique = list(
        {(round(r.at[0], 6), round(r.at[1], 6), round(r.diameter, 6)): r for r in found}.values()
    )
    near = pairs(_centres(unique), within=CONCENTRIC)
    beaten = {i for i, j in near.tolist() if (unique[j].diameter, j) < (unique[i].diameter, i)}
    return [r for i, r in enumerate(unique) if i not in beaten]


def _centres(found: Sequence[Round]) -> NDArray[np.object_]:
    return np.asarray(shapely.points(np.array([r.at for r in found]).reshape(-1, 2)))


def split_shared(loops: list[Loop], ledger: Ledger) -> tuple[list[Loop], list[Round]]:
    """On a layer that is copper and holes at once: the loops that stay copper, and the drills.

    A circle is the drill when no smaller one shares its centre; larger ones around it are
    the pad's edge.
    """
    circles = [(loop, loop.round) for loop in loops if loop.round is not None]
    stay = [loop for loop in loops if loop.round is None]
    small = drills([circle for _, circle in circles])
    if not small:
        return stay, small
    tree = shapely.STRtree(_centres(small))
    for loop, circle in circles:
        at = shapely.Point(circle.at)
        around = tree.query(at, predicate="dwithin", distance=CONCENTRIC).tolist()
        if any(circle.diameter <= small[k].diameter * (1 + 1e-6) + 1e-6 for k in around):
            for source in loop.sources:
                ledger.use(source, "holes")
        else:
            stay.append(loop)
    return stay, small


def holes(found: Sequence[Round], pieces: Sequence[CopperPiece]) -> tuple[Hole, ...]:
    """Numbered holes in reading order, each with the copper piece it stands on."""
    unique = drills(found)
    unique.sort(key=lambda r: (round(r.at[0], 3), round(r.at[1], 3), r.diameter))
    if not unique:
        return ()
    discs = shapely.buffer(
        shapely.points([r.at for r in unique]), [r.diameter / 2 + 0.01 for r in unique]
    )
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    which: dict[int, list[int]] = {}
    a, b = shapely.STRtree(shapes).query(discs, predicate="intersects")
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        which.setdefault(i, []).append(j)
    out = []
    for i, r in enumerate(unique):
        candidates = which.get(i) or _around(r, shapes)
        if len(candidates) > 1:
            # between pads, the one with most copper under the hole has it
            common = shapely.area(shapely.intersection(discs[i], shapes[candidates]))
            candidates = [candidates[int(np.argmax(common))]]
        piece = pieces[candidates[0]].id if candidates else None
        out.append(Hole(f"h{i + 1}", r.at, r.diameter, piece))
    return tuple(out)


def _around(r: Round, shapes: NDArray[np.object_]) -> list[int]:
    """The piece in whose opening the hole lies, if that is no wider than two holes."""
    point = shapely.Point(r.at)
    found = []
    for j in shapely.STRtree(shapes).query(point).tolist():
        for ring in shapes[j].interiors:
            x0, y0, x1, y1 = ring.bounds
            if max(x1 - x0, y1 - y0) <= 2 * r.diameter and shapely.Polygon(ring).covers(point):
                found.append(j)
    return found


def close_drilled(
    shapes: Sequence[shapely.Polygon], found: Sequence[Round]
) -> list[shapely.Polygon]:
    """Fill openings in pads that the drill takes away anyway, so that pads are whole."""
    if not found or not any(len(s.interiors) for s in shapes):
        return list(shapes)
    tree = shapely.STRtree(shapely.points([r.at for r in found]))
    out = []
    for shape in shapes:
        keep = []
        for ring in shape.interiors:
            inside = shapely.Polygon(ring)
            near = tree.query(inside.envelope.buffer(CONCENTRIC))
            xy = np.asarray(ring.coords)
            if not any(
                np.hypot(*(xy - found[k].at).T).max() <= found[k].diameter / 2 + 1e-3
                for k in near.tolist()
            ):
                keep.append(ring)
        whole = (
            shape if len(keep) == len(shape.interiors) else shapely.Polygon(shape.exterior, keep)
        )
        out.append(whole)
    return out
