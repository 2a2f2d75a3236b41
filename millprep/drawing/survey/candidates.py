"""What one layer may be: every reading that could be meant, with what would come of it.

A reading is worked out by the reader itself, so that what is said here is what a job would get.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import shapely

from millprep.drawing import copper, doubts, hole_marks
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Unread
from millprep.drawing.marks.neighbours import narrowest
from millprep.drawing.marks.stroke import Bore
from millprep.drawing.survey.layer_facts import LayerFacts
from millprep.geometry.path import Point
from millprep.model.board import CopperPiece
from millprep.model.finding import Finding, many
from millprep.model.job.layers import CopperMode, OutlinePen

Role = Literal["copper", "outline", "holes"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading of a layer; lengths and places in the survey's working unit.

    Attributes:
        role: the role the layer would play.
        modes: what would draw copper; () where the shapes are read as they are drawn.
        reason: why it could be meant.
        stated: whether a job has to say the modes for this reading to be taken.
        pieces: connected copper areas, or boards; None where the reading is refused.
        gap: the narrowest between copper pieces, and `gap_at` its middle.
        box: (x0, y0, x1, y1) of what is read.
        drills: (diameter, count) of the holes that are read; `bores` the holes themselves.
        own_holes: whether circles on a copper layer are taken for its holes.
        ringed: whether a layer of holes draws circles around them too, which may be pads.
        close_gaps: gaps in the outline that would have to be closed, None for none.
        gaps: (place, size) of each of them.
        pen: whether the job has to say which line of a pen's two rims is the outline.
        needs_width: whether the job has to give the width of bare lines.
        left_out: (kind, count, reason) of what would be left out.
        refused: (code, message) of what the reading meets, one for each code.
        shapes: the copper pieces, or the board's area.
    """

    role: Role
    reason: str
    modes: tuple[CopperMode, ...] = ()
    stated: bool = False
    pieces: int | None = None
    gap: float | None = None
    gap_at: Point | None = None
    box: tuple[float, float, float, float] | None = None
    drills: tuple[tuple[float, int], ...] = ()
    own_holes: bool = False
    close_gaps: float | None = None
    gaps: tuple[tuple[Point, float], ...] = ()
    pens: tuple[OutlinePen, ...] = ()
    needs_width: bool = False
    left_out: tuple[tuple[str, int, str], ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    shapes: tuple[shapely.Polygon, ...] = ()
    bores: tuple[Bore, ...] = ()
    ringed: bool = False

    @property
    def reads(self) -> bool:
        """Whether a job with this reading goes on."""
        return not self.refused

    @property
    def words(self) -> str:
        """The reading in words."""
        if self.role != "copper":
            return self.role
        how = " and ".join(self.modes) if self.modes else "as drawn"
        return f"copper, {how}" + (", of a width that the job gives" if self.needs_width else "")


def copper_readings(layer: LayerFacts) -> list[Candidate]:
    """Every reading of the layer as copper; the first is what the reader takes unasked.

    Where outlines cross themselves the last one is what the others would give.
    """
    readings = _all_readings(layer)
    if not layer.tangles:
        return readings
    rest = _unasked(layer.without_tangles())
    if not rest.reads:
        return readings
    count = len(layer.tangles)
    loop, crossing = layer.tangles[0]
    x, y = crossing.at
    fault = (
        f"{loop.sources[0]}, at ({x:.3f}, {y:.3f}): {crossing.words}; draw it as separate outlines"
    )
    reason = f"{rest.reason}, once {many(count, 'line')} that cross themselves are drawn anew"
    refused = (("copper-crosses-itself", fault + f" ({count} in all)" * (count > 1)),)
    return [*readings, replace(rest, reason=reason, refused=refused)]


def _all_readings(layer: LayerFacts) -> list[Candidate]:
    unasked = _unasked(layer)
    if unasked.reads:
        return [unasked, *_other_outlines(layer, unasked)]
    candidates: list[Candidate] = [unasked]
    for modes in _choices(layer):
        reading = _copper(layer, modes, _mode_reason(layer, modes))
        if not reading.reads and len(modes) > 1:
            continue
        if (
            all(not _same(reading, other) for other in candidates if other.reads)
            or not reading.reads
        ):
            candidates.append(replace(reading, stated=True))
    if layer.loose:
        candidates.append(
            Candidate(
                "copper",
                many(layer.loose, "open line")
                + " of no width: tracks whose width is lost, or no copper",
                modes=("strokes",),
                stated=True,
                needs_width=True,
                box=layer.box,
                refused=tuple(
                    fault for fault in unasked.refused if fault[0] == "copper-zero-width"
                ),
            )
        )
    return candidates


def _unasked(layer: LayerFacts) -> Candidate:
    words = [many(layer.wide, "line") + " with a width"] if layer.wide else []
    words += [many(layer.fills, "filled area")] if layer.fills else []
    words += [many(layer.inserted, "shape") + " in inserts"] if layer.inserted else []
    plain = len(layer.plain_loops)
    if plain and (layer.wide or layer.fills):
        words.append(many(plain, "closed outline"))
    elif plain:
        nested = f", nested {layer.deepest} deep" if layer.deepest else ""
        crossed = ", some overlapping" if layer.overlaps else ""
        words.append(many(plain, "closed outline") + nested + crossed)
    modes: tuple[CopperMode, ...] = ()
    if not plain and not layer.rounds and not layer.loose:
        modes = (*(("strokes",) if layer.wide else ()), *(("fills",) if layer.fills else ()))
    elif not layer.wide and not layer.fills and not layer.loose:
        modes = ("overlapping outlines",) if layer.overlaps else ("nested outlines",)
    if not words and layer.rounds:
        words.append(many(len(layer.rounds), "circle") + ", each filled")
    reading = _copper(layer, (), ", ".join(words) or "bare lines")
    return replace(reading, modes=modes) if reading.reads else reading


def _other_outlines(layer: LayerFacts, taken: Candidate) -> list[Candidate]:
    """The other reading of outlines, where it gives other copper."""
    other: CopperMode
    if taken.modes == ("nested outlines",) and layer.deepest:
        other = "overlapping outlines"
    elif taken.modes == ("overlapping outlines",):
        other = "nested outlines"
    else:
        return []
    reason = _mode_reason(layer, (other,))
    if other == "overlapping outlines":
        reason += ": then those that lie within others would change nothing"
    alternative = _copper(layer, (other,), reason)
    return (
        [replace(alternative, stated=True)]
        if alternative.reads and not _same(alternative, taken)
        else []
    )


def _choices(layer: LayerFacts) -> list[tuple[CopperMode, ...]]:
    bold: tuple[CopperMode, ...] = (
        *(("strokes",) if layer.wide else ()),
        *(("fills",) if layer.fills else ()),
    )
    lines: tuple[CopperMode, ...] = ()
    if layer.loops:
        lines = ("nested outlines", "overlapping outlines")
    single: list[tuple[CopperMode, ...]] = [(mode,) for mode in bold]
    both = [bold] if len(bold) == 2 else []
    alone: list[tuple[CopperMode, ...]] = [(mode,) for mode in lines]
    mixed: list[tuple[CopperMode, ...]] = [(*bold, mode) for mode in lines] if bold else []
    return [*both, *single, *(mixed or alone)]


def _mode_reason(layer: LayerFacts, modes: tuple[CopperMode, ...]) -> str:
    count = len(layer.loops)
    say = {
        "strokes": many(layer.wide, "line") + " with a width",
        "fills": many(layer.fills, "filled area"),
        "nested outlines": many(count, "closed line")
        + ", every second one a gap in the one around it",
        "overlapping outlines": many(count, "closed line") + ", each filled",
    }
    return "only " * (len(modes) == 1) + " and ".join(say[mode] for mode in modes)


def _same(candidate: Candidate, other: Candidate) -> bool:
    """Whether two readings give the same copper."""
    if not (candidate.reads and other.reads) or candidate.pieces != other.pieces:
        return False
    areas = [sum(shape.area for shape in which.shapes) for which in (candidate, other)]
    return abs(areas[0] - areas[1]) <= 1e-6 * (areas[0] + areas[1])


def _copper(layer: LayerFacts, modes: tuple[CopperMode, ...], reason: str) -> Candidate:
    """One reading as copper; circles are drills where all of them lie on copper."""
    if layer.rounds:
        drilled = _attempt(layer, modes, reason, own_holes=True)
        if drilled is not None:
            return drilled
    result = _attempt(layer, modes, reason, own_holes=False)
    assert result is not None
    return result


def _attempt(
    layer: LayerFacts, modes: tuple[CopperMode, ...], reason: str, *, own_holes: bool
) -> Candidate | None:
    """None where circles were to be drills and some of them lie next to the copper."""
    ledger = Ledger(None, "")
    mode = copper.Mode(frozenset(modes))
    bold, loops = copper.lines(layer.marks, mode, ledger, layer.chained)
    small: list[Bore] = []
    if own_holes:
        loops, small = doubts.split_shared(loops, ledger)
        if not small:
            return None
    areas = copper.parts(bold, loops, mode, ledger)
    _not_read(layer.unread, ledger)
    stops = ledger.take()
    shapes = copper.sorted_reading(hole_marks.close_drilled(copper.pieces(areas), small))
    if not shapes and not stops:
        if own_holes:
            return None
        words = "nothing draws copper"
        if areas:
            words = "all that it draws is smaller than 0.001 × 0.001; check the drawing's unit"
        stops = (Finding(code="copper-empty", severity="stop", message=words),)
    left = tuple((entry.kind, entry.count, entry.reason) for entry in ledger.left_out())
    if layer.words:
        left += (("TEXT", layer.words, "lettering is not cut"),)
    base = Candidate(
        "copper", reason, modes=modes, own_holes=own_holes, box=layer.box, left_out=left
    )
    if stops:
        return replace(base, refused=first_of_each(stops))
    pieces = tuple(CopperPiece(f"c{i + 1}", shape) for i, shape in enumerate(shapes))
    if own_holes and not _on_copper(small, pieces):
        return None
    gap, at = narrowest(shapes)
    box = tuple(float(v) for v in shapely.MultiPolygon(shapes).bounds)
    return replace(
        base,
        pieces=len(shapes),
        gap=gap,
        gap_at=at,
        box=(box[0], box[1], box[2], box[3]),
        drills=sizes(small),
        bores=tuple(doubts.smallest(small)),
        shapes=tuple(shapes),
    )


def _on_copper(small: Sequence[Bore], pieces: tuple[CopperPiece, ...]) -> bool:
    """Whether every hole has copper all around it."""
    whole = {piece.id: shapely.Polygon(piece.shape.exterior) for piece in pieces}
    return all(
        hole.piece is not None and whole[hole.piece].covers(hole.spine.buffer(0.51 * hole.diameter))
        for hole in hole_marks.holes(doubts.smallest(small), pieces)
    )


def _not_read(unread: Sequence[Unread], ledger: Ledger) -> None:
    for mark in unread:
        ledger.stop(mark.code, mark.reason, "", source=mark.source, at=mark.at)


def first_of_each(stops: Sequence[Finding]) -> tuple[tuple[str, str], ...]:
    """Of every code the first message."""
    reading: dict[str, str] = {}
    for stop in stops:
        reading.setdefault(stop.code, stop.message)
    return tuple(reading.items())


def sizes(reading: Sequence[Bore]) -> tuple[tuple[float, int], ...]:
    """Diameters to five digits, of slots their widths, and how many there are of each."""
    counts = Counter(float(f"{bore.diameter:.5g}") for bore in doubts.smallest(reading))
    return tuple(sorted(counts.items()))
