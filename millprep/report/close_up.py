"""Close-ups of the places that findings point at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box
from millprep.model.board import Hole
from millprep.model.cutter import Cutter
from millprep.model.finding import SEVERITIES
from millprep.model.set_of_programs import CutSet
from millprep.report import captions, marks
from millprep.report.blank_contents import BlankContents, Marked
from millprep.report.blank_views import BLANK_AXES, FROM_COPPER, titled
from millprep.report.canvas import PRINTED, Canvas, LegendEntry, canvas
from millprep.report.captions import Caption
from millprep.report.palette import cutter_style
from millprep.report.words import number, plain

WIDE, HIGH = 10.0, 6.0
"""What a close-up shows of the copper, mm; ten times as much for places on the machine."""
MOST = 6
FOOT_LINE = 1.0
"""Both light lines at the foot of a groove together, points wide."""

Groove = tuple[int, "Cutter", list[tuple[float, FloatArray]]]
"""A cutter's number and the (depth, line) of its paths that are seen."""


@dataclass(frozen=True, slots=True)
class CloseUp:
    """One close-up: its view and the findings it shows."""

    blank: int
    view: Box
    marks: tuple[Marked, ...]


def spots(places: Sequence[Marked]) -> tuple[CloseUp, ...]:
    """At most six close-ups, `stop` first; findings close together share one."""
    made: list[tuple[int, Box, list[Marked]]] = []
    for mark in places:
        if mark.finding.severity == "note":
            continue
        for blank, view, held in made:
            inner = view.grown(-(view.y1 - view.y0) / 6)
            if blank == mark.blank and inner.contains(*mark.at) and len(held) < 4:
                held.append(mark)
                break
        else:
            if len(made) < MOST:
                grow = 10.0 if mark.finding.frame == "machine" else 1.0
                x, y = mark.at
                w, h = WIDE / 2 * grow, HIGH / 2 * grow
                made.append((mark.blank, Box(x - w, y - h, x + w, y + h), [mark]))
    return tuple(CloseUp(blank, view, tuple(held)) for blank, view, held in made)


def close_up(contents: BlankContents, cut_set: CutSet, spot: CloseUp) -> Canvas:
    """The copper, the grooves at surface and foot, the holes, and the findings' words."""
    view = spot.view
    frame = view.shape
    grooves = [
        (i, cutter, lines)
        for i, cutter in enumerate(contents.cutters)
        if (lines := _lines_near(contents, cutter, frame))
    ]
    floating = _floating_near(contents, view)
    names = ", ".join(mark.name for mark in spot.marks)
    on = canvas(
        view,
        titled(cut_set.job, contents.blank.number, f"close-up of {names}"),
        FROM_COPPER,
        axis_words=BLANK_AXES,
        legend=_legend(contents, spot, grooves, floating=bool(floating)),
        below=[line for mark in spot.marks for line in sentence(mark)],
        widest=PRINTED,
    )
    blank = shapely.box(0, 0, *contents.blank.size)
    marks.fill(on, [blank], "laminate", edge="ink", width=0.8, over=0.5)
    marks.fill(on, floating, "laminate", edge="copper", hatch=marks.FLOATING, over=0.8)
    _boards(on, contents, view, frame)
    for i, cutter, lines in grooves:
        _groove(on, contents, i, cutter, lines)
    if _on_machine(spot):
        _machine(on, cut_set, contents, spot)
    for words, at in marks.crowds(on, [(mark.name, mark.at) for mark in spot.marks]):
        marks.circled(on, at, words, (view.y1 - view.y0) / 14)
    return on


def _legend(
    contents: BlankContents, spot: CloseUp, grooves: Sequence[Groove], *, floating: bool
) -> list[LegendEntry]:
    """Copper and holes, the cutters with the widths of their grooves, the machine if seen."""
    legend = [marks.swatch("copper", "copper as drawn, dotted edge, with its id")]
    if floating:
        words = "floating copper, part of no piece"
        legend.append(marks.swatch("laminate", words, hatch=marks.FLOATING))
    legend.append(marks.swatch("paper", "hole"))
    for i, cutter, lines in grooves:
        role, depth = cutter_style(i).role, lines[0][0]
        name = plain(cutter.name, 22)
        surface, foot = cutter.width(depth), cutter.width(depth, contents.blank.copper)
        words = f"{name}: {number(surface, 3)} mm at the surface"
        if foot != surface:
            words += f", {number(foot, 3)} mm at the foot (light lines)"
        legend.append(marks.swatch(role, words))
    if _on_machine(spot):
        legend.append(marks.clamp_swatch("clamp"))
        legend.append(marks.line_swatch("ink", "travel of the machine", dash=marks.TRAVEL))
    return legend


def _boards(on: Canvas, contents: BlankContents, view: Box, frame: shapely.Polygon) -> None:
    """Pieces with their ids, holes and edges of every copy, as far as they are seen."""
    seen = frame.buffer(view.y1 - view.y0)
    said: list[Caption] = []
    kept_free: list[shapely.Geometry] = []

    def near(hole: Hole) -> bool:
        return bool(seen.intersects(hole.spine))

    for placed in contents.placed:
        bores = shapely.union_all(
            [hole.spine.buffer(hole.diameter / 2) for hole in placed.holes if near(hole)]
        )
        for name, shape in placed.pieces:
            part = shapely.clip_by_rect(shape, *view.bounds)
            if part.is_empty:
                continue
            marks.fill(on, [part], "copper", over=1)
            marks.fill(on, [part], None, edge="ink", width=0.7, dash=(1, 1.65), over=3)
            kept_free.append(part)
            if view.x1 - view.x0 <= WIDE and not (solid := part.difference(bores)).is_empty:
                point = solid.representative_point()
                said.append(Caption((point.x, point.y), plain(name, 12), 1.0))
        marks.holes(on, [hole for hole in placed.holes if near(hole)], "paper", points=0.8)
        marks.outlines(on, [placed.outline], points=1.0)
        kept_free.append(placed.outline.boundary)
    captions.put(on, captions.arrange(on, said, kept_free, shapely.Polygon()))


def sentence(mark: Marked) -> list[str]:
    """The finding in lines that fit under the picture."""
    import textwrap

    message = plain(mark.finding.words, 400)
    words = f"{mark.name} ({SEVERITIES[mark.finding.severity]}): {message}"
    return textwrap.wrap(words, 120)[:3]


def _floating_near(contents: BlankContents, view: Box) -> list[shapely.Geometry]:
    """The floating copper that is seen; none where nothing was cut in simulation yet."""
    parts = contents.as_cut.parts if contents.as_cut else ()
    seen = [shapely.clip_by_rect(part.shape, *view.bounds) for part in parts if not part.pieces]
    return [shape for shape in seen if not shape.is_empty]


def _lines_near(
    contents: BlankContents, cutter: Cutter, frame: shapely.Polygon
) -> list[tuple[float, FloatArray]]:
    """(depth, line) of every lap and profile of the cutter that crosses the frame."""
    x0, y0, x1, y1 = frame.bounds
    near = []
    for cut in contents.path_cuts:
        if cut.cutter != cutter.name:
            continue
        half = cutter.width(cut.depth) / 2
        low, high = cut.path.xy.min(axis=0) - half, cut.path.xy.max(axis=0) + half
        # an arc bulges past its ends by its sagitta, bulge times half its chord
        slack = float(np.abs(cut.path.bulge).max()) * float(np.hypot(*(high - low))) / 2
        left_or_right = low[0] - slack > x1 or high[0] + slack < x0
        if left_or_right or low[1] - slack > y1 or high[1] + slack < y0:
            continue
        line = cut.path.flattened(0.002)
        if shapely.dwithin(shapely.LineString(line), frame, half):
            near.append((cut.depth, line))
    return near


def _groove(
    on: Canvas, contents: BlankContents, index: int, cutter: Cutter,
    lines: list[tuple[float, FloatArray]],
) -> None:  # fmt: skip
    role = cutter_style(index).role
    for depth in sorted({depth for depth, _ in lines}):
        xy = [line for d, line in lines if d == depth]
        surface, foot = cutter.width(depth), cutter.width(depth, contents.blank.copper)
        marks.stroke(on, xy, surface, role, over=2)
        if foot != surface:
            marks.stroke(on, xy, foot + FOOT_LINE / on.per_mm, "paper", over=2.1)
            marks.stroke(on, xy, foot, role, over=2.15)
        if surface * on.per_mm > 6:
            marks.hairline(on, xy, "paper", points=0.5, dash=(4, 3), over=2.2)


def _on_machine(spot: CloseUp) -> bool:
    return spot.marks[0].finding.frame == "machine"


def _machine(on: Canvas, cut_set: CutSet, contents: BlankContents, spot: CloseUp) -> None:
    """Clamps and travel, moved from the machine to the blank of the finding's pass."""
    nth = spot.marks[0].finding.mill_pass
    for milling_pass in contents.passes:
        if nth in (None, milling_pass.number):
            back = milling_pass.pose.inverse()
            for clamp in cut_set.clamps:
                if clamp.passes is None or nth is None or nth in clamp.passes:
                    marks.clamp_outline(on, back.shape(clamp.box.shape))
            line = shapely.get_coordinates(back.shape(cut_set.machine.travel.shape))
            marks.hairline(on, [line], points=1.2, dash=marks.TRAVEL, over=4.5)
            return
