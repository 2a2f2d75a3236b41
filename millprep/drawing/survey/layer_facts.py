"""What the shapes drawn on one layer show, before anyone says what the layer is for."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import shapely

from millprep.drawing.marks.chain import Chained, Loop, OpenChain, chain
from millprep.drawing.marks.evenodd import Crossing, area_of, nest
from millprep.drawing.marks.mark import Curve, Fill, Mark, Round, Stroke, Unread, Words

Box = tuple[float, float, float, float]
DISTINCTIONS = ("colour", "line_type", "block", "shape")
"""Keys of a [[board.selection]] that can split the shapes of one layer, its region aside."""


PART_NAME = re.compile(r"[^\W\d_]{1,4}[0-9]{1,4}[^\W\d_]?")
"""What looks like the name of a part: a few letters and a number, such as V1, R12 or LED3b."""


class LayerFacts:
    """Gathered while walking; `close` then works out what the shapes show.

    Attributes:
        name: of the layer.
        kinds: entities by kind; content of inserts is counted as "LINE in insert".
        box: of everything with a shape, drawing units.
        loops: closed lines of no width; `rounds` those that are circles.
        loose: open lines of no width.
        wide, fills, words: strokes with a width, filled areas, texts.
        inserted: shapes in inserts.
        deepest: how many outlines hold the innermost one, circles left aside.
        overlaps: pairs of outlines that overlap.
        tangles: outlines that cross themselves, with why and where; `deepest` and `overlaps` are
            those of the others.
        marks: everything with a shape; `unread` what has one that cannot be read.
        chained: its lines of no width, end to end; `opened` those that stay open.
        distinctions: what could split its shapes: counts of colours, line types, blocks, and of
            lines that close on themselves or do not; by kind of difference, then by value.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.kinds: Counter[str] = Counter()
        self.box: Box | None = None
        self.loops: list[Loop] = []
        self.rounds: list[Round] = []
        self.loose = self.wide = self.fills = self.words = self.inserted = 0
        self.deepest = self.overlaps = 0
        self.tangles: list[tuple[Loop, Crossing]] = []
        self.marks: list[Curve | Stroke | Fill] = []
        self.unread: list[Unread] = []
        self.part_names: list[str] = []
        self.chained = Chained([], [], [], [])
        self.opened: list[OpenChain] = []
        self.distinctions: dict[str, Counter[str]] = {key: Counter() for key in DISTINCTIONS}

    def add(self, mark: Mark) -> None:
        """Count one mark."""
        inside = mark.source.block is not None
        self.kinds[mark.source.kind + (" in insert" if inside else "")] += 1
        if isinstance(mark, Words):
            self.words += 1
            if PART_NAME.fullmatch(said := mark.text.words.strip()):
                self.part_names.append(said)
        elif isinstance(mark, Unread):
            self.unread.append(mark)
        elif isinstance(mark, (Curve, Stroke, Fill)):
            self.inserted += inside
            self.marks.append(mark)
            self._part(mark)

    def _part(self, mark: Curve | Stroke | Fill) -> None:
        source = mark.source
        colour = "none of the index" if source.colour is None else str(source.colour)
        self.distinctions["colour"][colour] += 1
        self.distinctions["line_type"][source.line_type] += 1
        if source.block is not None:
            self.distinctions["block"][source.block] += 1
        closed = isinstance(mark, Fill) or mark.closed
        self.distinctions["shape"]["closed" if closed else "open"] += 1

    def close(self) -> None:
        """Chain, nest, count."""
        curves: list[Curve] = []
        boxes: list[Box] = []
        for mark in self.marks:
            if isinstance(mark, Fill):
                self.fills += 1
                boxes.append(shapely.MultiPolygon(list(mark.areas)).bounds)
                continue
            curve = mark.curve if isinstance(mark, Stroke) else mark
            low, high = curve.points.min(axis=0).tolist(), curve.points.max(axis=0).tolist()
            boxes.append((low[0], low[1], high[0], high[1]))
            if isinstance(mark, Stroke) and mark.widths.any():
                self.wide += 1
            else:
                curves.append(curve)
        self.box = joined(boxes)
        self.chained = chain(curves)
        self.loops, self.opened = self.chained.loops, self.chained.opened
        self.loose = len(self.opened)
        self.rounds = [loop.round for loop in self.loops if loop.round is not None]
        self._nest()

    @property
    def plain_loops(self) -> list[Loop]:
        """Closed lines that are no circles."""
        return [loop for loop in self.loops if loop.round is None]

    def without_tangles(self) -> LayerFacts:
        """The layer without the entities that draw outlines across themselves."""
        tangled = {source.handle for loop, _ in self.tangles for source in loop.sources}
        rest = LayerFacts(self.name)
        for mark in (*self.marks, *self.unread):
            if mark.source.handle not in tangled:
                rest.add(mark)
        rest.close()
        return rest

    @property
    def is_ring(self) -> bool:
        """Whether it holds one line alone, whose ends lie next to each other."""
        wide = [m.curve for m in self.marks if isinstance(m, Stroke) and m.widths.any()]
        lines = [
            *((loop.points, True) for loop in self.loops),
            *((run.points, False) for run in self.opened),
            *((curve.points, curve.closed) for curve in wide),
        ]
        if self.fills or len(lines) != 1:
            return False
        ((points, closed),) = lines
        away = np.hypot(*np.diff(points, axis=0).T).sum()
        return closed or bool(np.hypot(*(points[-1] - points[0])) <= 0.05 * away)

    def spans(self, everything: Box | None) -> bool:
        """Whether what is drawn here reaches as far as everything does, on all four sides."""
        assert everything is not None
        assert self.box is not None
        slack = 1e-6 * max(everything[2] - everything[0], everything[3] - everything[1])
        return bool(np.allclose(self.box, everything, rtol=0, atol=slack))

    def _nest(self) -> None:
        plain = self.plain_loops
        if not plain:
            return
        nesting = nest([loop.points for loop in plain])
        if isinstance(nesting, Crossing):
            areas = [(loop, area_of(loop.points)) for loop in plain]
            self.tangles = [(loop, area) for loop, area in areas if isinstance(area, Crossing)]
            nesting = nest([loop.points for loop, a in areas if not isinstance(a, Crossing)])
        if isinstance(nesting, Crossing) or not nesting.areas:
            return
        self.deepest = int(nesting.depth.max())
        self.overlaps = len(nesting.crossing)


def joined(boxes: list[Box] | list[Box | None]) -> Box | None:
    """The box around boxes, or None when there is none."""
    array = np.array([b for b in boxes if b is not None])
    if not len(array):
        return None
    low, high = array[:, :2].min(axis=0).tolist(), array[:, 2:].max(axis=0).tolist()
    return (low[0], low[1], high[0], high[1])
