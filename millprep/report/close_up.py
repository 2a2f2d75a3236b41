"""Close-ups of the places that findings point at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.blank import Box
from millprep.report import clamps, marks
from millprep.report.blank_views import BLANK_AXES, titled
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import COPPER, INK, LAMINATE, PAPER, cutter_style, paler
from millprep.report.picture_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.model.board import Hole
    from millprep.model.cutter import Cutter
    from millprep.model.set_of_programs import CutSet
    from millprep.report.places import Marked
    from millprep.report.scene import Scene

FloatArray = NDArray[np.float64]

WIDE, HIGH = 10.0, 6.0
"""What a close-up shows of the copper, mm; ten times as much for places on the machine."""
MOST = 6
SPARE = "////"
"""Hatch of copper that belongs to no piece: it may stand at any voltage."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One close-up: its middle and the findings it shows."""

    blank: int
    view: Box
    marks: tuple[Marked, ...]


def spots(places: Sequence[Marked]) -> tuple[Spot, ...]:
    """At most six close-ups, `stop` first; findings that lie close together share one."""
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
    return tuple(Spot(blank, view, tuple(held)) for blank, view, held in made)


def close_up(scene: Scene, cut_set: CutSet, spot: Spot) -> Canvas:
    """The copper, the grooves at surface and foot, the holes, and the findings' words."""
    view = spot.view
    frame = shapely.box(view.x0, view.y0, view.x1, view.y1)
    grooves = [
        (i, cutter, lines)
        for i, cutter in enumerate(scene.cutters)
        if (lines := _lines_near(scene, cutter, frame))
    ]
    legend = [
        marks.swatch(COPPER, say("copper.ids")),
        marks.swatch(PAPER, say("hole")),
    ]
    spare = _spare_near(scene, view)
    if spare:
        legend.insert(1, marks.swatch(paler(COPPER, 0.5), say("as_cut.spare"), hatch=SPARE))
    for i, cutter, lines in grooves:
        colour = cutter_style(i).colour
        depth = lines[0][0]
        name = plain(cutter.name, 22)
        foot = cutter.width(depth, scene.blank.copper)
        wide = say("cutter.surface", cutter=name, mm=number(cutter.width(depth), 3))
        legend.append(marks.swatch(paler(colour, 0.55), wide))
        if foot != cutter.width(depth):
            narrow = say("cutter.foot", cutter=name, mm=number(foot, 3))
            legend.append(marks.swatch(colour, narrow))
    held = [clamp for clamp in cut_set.clamps if _machine_pass(spot, clamp.passes)]
    if spot.marks[0].finding.frame == "machine":
        legend.append(clamps.swatch(say("pass.clamp_only")))
        legend.append(marks.line_swatch(INK, say("pass.travel"), style=(0, (7, 3))))
    names = ", ".join(mark.name for mark in spot.marks)
    on = canvas(
        view, titled(cut_set.job, scene, "title.close_up", names=names), say("from.copper"),
        cut_set.id, axis_words=BLANK_AXES, legend=legend,
        below=[line for mark in spot.marks for line in sentence(mark)], widest=9.5,
    )  # fmt: skip
    x, y = scene.blank.size
    marks.fill(on, [shapely.box(0, 0, x, y)], LAMINATE, edge=INK, width=0.8, over=0.5)
    marks.fill(on, spare, paler(COPPER, 0.5), edge=COPPER, hatch=SPARE, over=0.8)
    seen = frame.buffer(view.y1 - view.y0)

    def near(hole: Hole) -> bool:
        return bool(seen.intersects(hole.spine))

    for placed in scene.placed:
        bores = shapely.union_all(
            [hole.spine.buffer(hole.diameter / 2) for hole in placed.holes if near(hole)]
        )
        for name, shape in placed.pieces:
            part = shapely.clip_by_rect(shape, view.x0, view.y0, view.x1, view.y1)
            if part.is_empty:
                continue
            marks.fill(on, [part], COPPER, over=1)
            marks.fill(on, [part], "none", edge=INK, width=0.7, style=":", over=3)
            if view.x1 - view.x0 <= WIDE and not (solid := part.difference(bores)).is_empty:
                point = solid.representative_point()
                marks.label(on, (point.x, point.y), plain(name, 12), away=(-4, -4), over=5)
        marks.holes(on, [hole for hole in placed.holes if near(hole)], PAPER, points=0.8)
        rings = [placed.outline.exterior, *placed.outline.interiors]
        edges = [shapely.get_coordinates(ring) for ring in rings]
        marks.hairline(on, edges, style=(0, (5, 3)), points=1.0)
    for i, cutter, lines in grooves:
        _groove(on, scene, cutter_style(i).colour, cutter, lines)
    if spot.marks[0].finding.frame == "machine":
        _machine(on, cut_set, scene, spot, held)
    for words, at in marks.crowds(on, [(mark.name, mark.at) for mark in spot.marks]):
        marks.ringed(on, at, words, (view.y1 - view.y0) / 14)
    return on


def sentence(mark: Marked) -> list[str]:
    """The finding in lines that fit under the picture."""
    import textwrap

    words = say(
        "finding.words", name=mark.name, weight=mark.finding.severity,
        message=plain(mark.finding.message, 400),
    )  # fmt: skip
    return textwrap.wrap(words, 120)[:3]


def _spare_near(scene: Scene, view: Box) -> list[shapely.Geometry]:
    """The left-over copper that is seen; none where nothing was cut in simulation yet."""
    parts = scene.as_cut.parts if scene.as_cut else ()
    bounds = (view.x0, view.y0, view.x1, view.y1)
    seen = [shapely.clip_by_rect(one.shape, *bounds) for one in parts if not one.pieces]
    return [one for one in seen if not one.is_empty]


def _lines_near(
    scene: Scene, cutter: Cutter, frame: shapely.Polygon
) -> list[tuple[float, FloatArray]]:
    """(depth, line) of every ring and profile of the cutter that crosses the frame."""
    x0, y0, x1, y1 = frame.bounds
    found = []
    for cut in scene.path_cuts:
        if cut.cutter != cutter.name:
            continue
        half = cutter.width(cut.depth) / 2
        low, high = cut.path.xy.min(axis=0) - half, cut.path.xy.max(axis=0) + half
        # an arc bulges past its ends by its sagitta, bulge times half its chord
        slack = float(np.abs(cut.path.bulge).max()) * float(np.hypot(*(high - low))) / 2
        beside = low[0] - slack > x1 or high[0] + slack < x0
        if beside or low[1] - slack > y1 or high[1] + slack < y0:
            continue
        line = cut.path.flattened(0.002)
        if shapely.dwithin(shapely.LineString(line), frame, half):
            found.append((cut.depth, line))
    return found


def _groove(
    on: Canvas, scene: Scene, colour: str, cutter: Cutter, lines: list[tuple[float, FloatArray]]
) -> None:
    for depth in sorted({depth for depth, _ in lines}):
        xy = [line for d, line in lines if d == depth]
        surface, foot = cutter.width(depth), cutter.width(depth, scene.blank.copper)
        marks.stroke(on, xy, surface, paler(colour, 0.55), over=2)
        if foot != surface:
            marks.stroke(on, xy, foot, colour, over=2.1)
        if on.points(surface) > 6:
            marks.hairline(on, xy, PAPER, points=0.5, style=(0, (4, 3)), over=2.2)


def _machine_pass(spot: Spot, passes: tuple[int, ...] | None) -> bool:
    number_ = spot.marks[0].finding.mill_pass
    return passes is None or number_ is None or number_ in passes


def _machine(
    on: Canvas, cut_set: CutSet, scene: Scene, spot: Spot, held: Sequence[object]
) -> None:
    """Clamps and travel, moved from the machine to the blank of the finding's pass."""
    number_ = spot.marks[0].finding.mill_pass
    for milling_pass in scene.passes:
        if number_ in (None, milling_pass.number):
            back = milling_pass.pose.inverse()
            for clamp in cut_set.clamps:
                if clamp in held:
                    box = clamp.box
                    shape = back.shape(shapely.box(box.x0, box.y0, box.x1, box.y1))
                    clamps.outline(on, shape)
            travel = cut_set.machine.travel
            frame = shapely.box(travel.x0, travel.y0, travel.x1, travel.y1)
            marks.hairline(
                on, [shapely.get_coordinates(back.shape(frame))], points=1.2,
                style=(0, (7, 3)), over=4.5,
            )  # fmt: skip
            return
