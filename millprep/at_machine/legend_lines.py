"""The lines of a legend on a blank: letters made of strokes, cut short at holes and edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry import letters
from millprep.geometry.path import Path
from millprep.model.blank import Blank, Placement, on_drawing
from millprep.model.board import LINE, Lettering
from millprep.model.finding import Finding
from millprep.model.job.work import LegendPlan

SHORTEST = 0.2
"""What is left of a line between two holes is engraved if it is longer than this, mm."""


@dataclass(frozen=True, slots=True)
class Lines:
    """A legend, blank frame, copper side up.

    Attributes:
        drawn: all of it.
        kept: what is engraved.
        length: of all that is drawn, mm.
        away: of what holes and edges take away, mm.
        findings: letters left out, texts that were turned, and what is cut short.
    """

    drawn: BaseGeometry
    kept: tuple[Path, ...]
    length: float
    away: float
    findings: tuple[Finding, ...]


def lines_of(placements: Sequence[Placement], plan: LegendPlan, blank: Blank) -> Lines:
    """The legend of all boards of a blank.

    A text that would read backwards on the component side, as text next to copper that is seen from
    the copper, is turned about its middle.
    """
    drawn: list[shapely.LineString] = []
    kept: list[shapely.LineString] = []
    findings: list[Finding] = []
    away = plan.clear + plan.cutter.width(plan.depth) / 2
    for placement in placements:
        board = placement.board
        if board.legend is None:
            continue
        paths = list(board.legend.lines)
        # the component side is seen the other way round than the copper
        backwards = [t for t in board.legend.texts if t.mirrored == placement.pose.mirrored]
        for text in board.legend.texts:
            paths += _strokes(text, turned=text in backwards)
            findings += _left_out(text, placement)
        if backwards:
            count, first = len(backwards), backwards[0]
            words = (
                f"{count} of {len(board.legend.texts)} texts of the legend, {first.words!r} first, "
                "would read backwards on the component side. They are turned about their middles "
                "so that they can be read. Is drawn_from right?"
            )
            findings.append(on_drawing(placement, "legend-backwards", "note", words, first.at))
        mine = [placement.pose.shape(path.line()) for path in paths]
        inside = placement.pose.shape(board.outline).buffer(-away, join_style="mitre")
        holes = [
            shapely.buffer(placement.pose.shape(hole.spine), hole.diameter / 2 + away, quad_segs=64)
            for hole in board.holes
        ]
        room = shapely.difference(inside, shapely.union_all(holes))
        for line in mine:
            parts = shapely.line_merge(shapely.intersection(line, room))
            kept += [
                part
                for part in shapely.get_parts(parts).tolist()
                if isinstance(part, shapely.LineString) and part.length > SHORTEST
            ]
        drawn += mine
    length = sum(line.length for line in drawn)
    gone = length - sum(line.length for line in kept)
    if gone > SHORTEST:
        words = f"{gone:.1f} of {length:.1f} mm of the legend are not engraved: holes and edges"
        findings.append(
            Finding(
                code="legend-cut-short",
                severity="note",
                message=f"{words} with {plan.clear:g} mm around them take them away.",
                blank=blank.number,
            )
        )
    paths_kept = tuple(Path.lines(shapely.get_coordinates(line)) for line in kept)
    return Lines(shapely.union_all(drawn), paths_kept, length, gone, tuple(findings))


def _strokes(text: Lettering, *, turned: bool) -> Iterator[Path]:
    """The strokes of a text where it is drawn, drawing frame; `turned` about its middle."""
    rows = [letters.drawable(row)[0] for row in text.words.splitlines()]
    h, v = text.hangs
    high = 1.0 + (len(rows) - 1) * LINE
    for n, row in enumerate(rows):
        wide = letters.width(row, 1.0)
        start = (-h * wide, -v * high + (len(rows) - 1 - n) * LINE)
        for stroke in letters.strokes(row, 1.0, start):
            x, y = stroke.xy.T
            x = (1 - 2 * h) * wide - x if turned else x
            yield Path.lines(text.letters.points(np.column_stack((x, y))))


def _left_out(text: Lettering, placement: Placement) -> Iterator[Finding]:
    """Characters that have no strokes."""
    left = letters.drawable(" ".join(text.words.split()))[1]
    if left:
        words = f"Text {text.words!r} is engraved without {left!r}: there are no strokes for it."
        yield on_drawing(placement, "legend-letters-left-out", "note", words, text.at)
