"""What the shapes drawn on one layer tell, before anyone says what the layer is for."""

from __future__ import annotations

from collections import Counter

import numpy as np
import shapely

from millprep.drawing import copper, holes
from millprep.drawing.chain import Loop, chain
from millprep.drawing.evenodd import Crossing, nest
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Aside, Curve, Fill, Mark, Round, Stroke, Unread, Words

Box = tuple[float, float, float, float]


class LayerFacts:
    """Gathered while walking; `close` then works out what the shapes tell.

    Attributes:
        name: of the layer.
        kinds: entities by kind; content of inserts is counted as "LINE in insert".
        box: of everything with a shape, drawing units.
        loops: closed lines of no width; `rounds` those that are circles.
        pens: closed lines with a width, by their centre line.
        loose: open lines of no width.
        wide, fills, words: strokes with a width, filled areas, texts.
        inserted: shapes that stand in inserts.
        deepest: how many outlines hold the innermost one, circles left aside.
        overlaps: pairs of outlines that overlap.
        tangled: whether an outline crosses itself.
        pieces: connected areas if the layer is copper, None where that has no reading.
        gap: the narrowest gap between them, drawing units.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.kinds: Counter[str] = Counter()
        self.box: Box | None = None
        self.loops: list[Loop] = []
        self.rounds: list[Round] = []
        self.pens: list[Curve] = []
        self.loose = self.wide = self.fills = self.words = self.inserted = 0
        self.deepest = self.overlaps = 0
        self.tangled = False
        self.pieces: int | None = None
        self.gap: float | None = None
        self._marks: list[Mark] = []

    def add(self, mark: Mark) -> None:
        """Count one mark."""
        inside = mark.source.block is not None
        self.kinds[mark.source.kind + (" in insert" if inside else "")] += 1
        if isinstance(mark, Words):
            self.words += 1
        elif not isinstance(mark, (Aside, Unread)):
            self.inserted += inside
            self._marks.append(mark)

    def close(self) -> None:
        """Chain, nest, count."""
        curves: list[Curve] = []
        boxes: list[Box] = []
        for mark in self._marks:
            if isinstance(mark, Fill):
                self.fills += 1
                boxes.append(shapely.MultiPolygon(list(mark.areas)).bounds)
                continue
            curve = mark.curve if isinstance(mark, Stroke) else mark
            assert isinstance(curve, Curve)
            low, high = curve.points.min(axis=0).tolist(), curve.points.max(axis=0).tolist()
            boxes.append((low[0], low[1], high[0], high[1]))
            if isinstance(mark, Stroke) and mark.widths.any():
                self.wide += 1
                if curve.closed and curve.round is None:
                    self.pens.append(curve)
            else:
                curves.append(curve)
        self.box = joined(boxes)
        chained = chain(curves)
        self.loops, self.loose = chained.loops, len(chained.opened)
        self.rounds = [loop.round for loop in self.loops if loop.round is not None]
        self._nest()
        if self.wide or self.fills or len(self.loops) > len(self.rounds):
            self._count_pieces()

    @property
    def plain_loops(self) -> list[Loop]:
        """Closed lines that are no circles."""
        return [loop for loop in self.loops if loop.round is None]

    @property
    def only_circles(self) -> bool:
        """Whether nothing but circles of no width is drawn here."""
        return bool(self.rounds) and not (self.plain_loops or self.loose or self.wide or self.fills)

    def encloses(self, everything: Box | None) -> bool:
        """Whether one closed line holds the box of everything."""
        if everything is None:
            return False
        slack = 1e-6 * max(everything[2] - everything[0], everything[3] - everything[1])
        return any(
            bool(
                (points.min(axis=0) <= np.array(everything[:2]) + slack).all()
                and (points.max(axis=0) >= np.array(everything[2:]) - slack).all()
            )
            for points in (
                *(loop.points for loop in self.loops),
                *(pen.points for pen in self.pens),
            )
        )

    def _nest(self) -> None:
        plain = self.plain_loops
        if not plain:
            return
        found = nest([loop.points for loop in plain])
        if isinstance(found, Crossing):
            self.tangled = True
            return
        self.deepest = int(found.depth.max())
        self.overlaps = len(found.crossing)

    def _count_pieces(self) -> None:
        """Read the layer as copper, circles with smaller ones in them as pads."""
        ledger = Ledger(None, "")
        marks, loops = copper.lines(self._marks, copper.Mode(), ledger)
        loops, _ = holes.split_shared(loops, ledger)
        areas = copper.parts(marks, loops, copper.Mode(), ledger)
        if ledger.stopped or not areas:
            return
        shapes = copper.pieces(areas)
        self.pieces = len(shapes)
        if len(shapes) > 1:
            tree = shapely.STRtree(shapes)
            _, away = tree.query_nearest(
                np.array(shapes, dtype=object), exclusive=True, return_distance=True
            )
            self.gap = float(away.min())


def joined(boxes: list[Box] | list[Box | None]) -> Box | None:
    """The box around boxes, or None when there is none."""
    array = np.array([b for b in boxes if b is not None])
    if not len(array):
        return None
    low, high = array[:, :2].min(axis=0).tolist(), array[:, 2:].max(axis=0).tolist()
    return (low[0], low[1], high[0], high[1])
