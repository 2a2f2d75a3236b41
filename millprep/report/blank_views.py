"""Pictures of a whole blank: copper from both faces, paths, as-cut copper."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.cutter import Cutter
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.report import marks
from millprep.report.blank_contents import BlankContents
from millprep.report.canvas import Canvas, LegendEntry, canvas
from millprep.report.findings import Marked
from millprep.report.fonts import width_of
from millprep.report.palette import cutter_style
from millprep.report.scene import Flag
from millprep.report.words import cutter_words, number, plain

BLANK_AXES = ("X on the blank, mm", "Y on the blank, mm")
FROM_COPPER = "copper side up, as it lies on the mill"
MOST_FLAGS = 200
SLOT_SIGN = (5.0, 4.0)
"""Least length of a registration slot's centre line, and its least width, points."""
JOIN_SIZE = 6.0
"""Of the figures of a join, points."""
JOIN_ROW = 7.5
"""From line to line of these figures, points."""
JOIN_OFF = 14.0
"""From a join to the column of figures, points."""


def titled(job: str, blank: int, what: str) -> str:
    """Job, blank and what the picture shows."""
    return f"{job} · blank {blank} · {what}"


def copper_view(
    contents: BlankContents,
    job: str,
    set_id: str,
    places: Sequence[Marked],
    *,
    components: bool = False,
) -> Canvas:
    """The copper as drawn, from the face that is milled or from the other one."""
    flagged = [place for place in places if place.finding.severity != "note"][:MOST_FLAGS]
    count = len(contents.pieces)
    legend = [
        marks.swatch("piece", f"copper as drawn ({count} piece{'' if count == 1 else 's'})"),
        marks.swatch("laminate", "blank, without copper in the drawing"),
        marks.swatch("paper", "hole or slot" if _slots(contents) else "hole"),
        marks.line_swatch("ink", "edge of the board", dash=marks.DASHED),
    ]
    if flagged:
        legend.append(marks.sign_swatch("circle", "finding by its number; +3: three more there"))
    side = "component" if components else "copper"
    turned = "component side up, seen through the laminate: turned over top to bottom"
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, f"copper as drawn, {side} side up"),
        turned if components else FROM_COPPER,
        set_id,
        axis_words=BLANK_AXES,
        legend=legend,
        turned_over=components,
    )
    _blank(on, contents)
    marks.fill(on, contents.pieces, "piece", over=1.1)
    _holes(on, contents)
    _edges(on, contents, names=True)
    marks.flags(on, [(place.name, place.at) for place in flagged])
    return on


def paths_view(contents: BlankContents, job: str, set_id: str) -> Canvas:
    """Every path at its true width, by cutter."""
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, "paths of all passes at their true width"),
        FROM_COPPER,
        set_id,
        axis_words=BLANK_AXES,
        legend=_paths_legend(contents),
    )
    _blank(on, contents)
    marks.fill(on, contents.pieces, "copper", over=1.1)
    for i, cutter in enumerate(contents.cutters):
        _cut_with(on, contents, i, cutter)
    _edges(on, contents, names=False)
    for profile in contents.profiles:
        centres = [profile.path.point_at((tab.start + tab.end) / 2) for tab in profile.tabs]
        marks.signs(on, centres, "square", size=4.5, over=5)
    join_marks(on, contents.joins)
    for hole in contents.registration.values():
        registration_hole(on, hole, hole.spine, hole_name(hole))
    return on


def _paths_legend(contents: BlankContents) -> list[LegendEntry]:
    """The cutters with the width of their grooves, and the signs there are."""
    legend: list[LegendEntry] = []
    widths = _widths(contents)
    for i, cutter in enumerate(contents.cutters):
        if cutter.name in widths:
            style = cutter_style(i)
            words = f"{plain(cutter.name, 24)}: {cutter_words(cutter)}"
            if widths[cutter.name]:
                words += f", cuts {widths[cutter.name]} mm wide"
            legend.append(marks.swatch(style.role, words, hatch=style.hatch))
    legend.append(marks.swatch("copper", "copper as drawn"))
    tabs = sum(len(profile.tabs) for profile in contents.profiles)
    if tabs:
        legend.append(marks.sign_swatch("square", f"tab that holds the board ({tabs})"))
    if contents.joins:
        legend.append(join_legend(contents.joins))
    if holes := len(contents.registration):
        legend.append(marks.sign_swatch("plus", f"registration hole ({holes})"))
    return legend


def _widths(contents: BlankContents) -> dict[str, str]:
    """Every cutter that is used on the blank, with the width of its grooves where it cuts some."""
    by_name = {cutter.name: cutter for cutter in contents.cutters}
    words: dict[str, str] = {hole.cutter: "" for hole in contents.holes}
    words |= {profile.cutter: "" for profile in contents.profiles}
    for cut in contents.path_cuts:
        if cut.cutter not in words and cut.cutter in by_name:
            words[cut.cutter] = number(by_name[cut.cutter].width(cut.depth), 3)
    return words


def _cut_with(on: Canvas, contents: BlankContents, index: int, cutter: Cutter) -> None:
    """Laps, profiles and holes of one cutter."""
    style = cutter_style(index)
    by_depth: dict[float, list[Any]] = {}
    for cut in contents.path_cuts:
        if cut.cutter == cutter.name:
            by_depth.setdefault(cut.depth, []).append(cut.path.flattened(on.tolerance))
    for depth, lines in by_depth.items():
        marks.stroke(on, lines, cutter.width(depth), style.role, over=2 + index * 0.01)
    marks.holes(
        on,
        [hole for hole in contents.holes if hole.cutter == cutter.name],
        style.role,
        hatch=style.hatch,
        edge="paper" if style.hatch else style.role,
    )


def join_legend(joins: Sequence[Join]) -> LegendEntry:
    """What the sign of a join and its two figures mean."""
    words = f"join: two passes meet on a path ({len(joins)})"
    if any(join.tolerance_electrical is not None for join in joins):
        words += ": misalignment expected on 99.7 % of blanks / tolerated, mm"
    return marks.sign_swatch("diamond", words)


def join_marks(on: Canvas, joins: Sequence[Join]) -> None:
    """A sign at every join, and a column with the figures of every one in copper."""
    marks.signs(on, [join.at for join in joins], "diamond", size=4.5)
    columns: dict[tuple[int, int], list[tuple[Point, str]]] = {}
    for join in joins:
        if join.predicted is not None and join.tolerance_electrical is not None:
            words = f"{join.predicted:.3f} / {join.tolerance_electrical:.3f}"
            columns.setdefault(join.passes, []).append((join.at, words))
    for column in columns.values():
        _join_column(on, sorted(column, key=lambda join: (join[0][1], join[0][0])))


def _join_column(on: Canvas, column: list[tuple[Point, str]]) -> None:
    """Words in a column right of their joins, none over another; nothing if they do not fit."""
    step = JOIN_ROW / on.per_mm
    low, high = on.view.y0 + step, on.view.y1 - step
    if step * len(column) > high - low:
        return
    heights: list[float] = []
    for at, _ in column:
        heights.append(max(at[1], heights[-1] + step if heights else low))
    # what was pushed out at the top pushes the others down again
    ceiling = high
    for n in range(len(heights) - 1, -1, -1):
        heights[n] = min(heights[n], ceiling)
        ceiling = heights[n] - step
    x = max(at[0] for at, _ in column) + JOIN_OFF / on.per_mm
    for (at, words), y in zip(column, heights, strict=True):
        marks.hairline(on, [np.array([at, (x, y)])], points=0.4, over=7.9)
        left, centre = on.at((x, y))
        wide, half = (width_of(words, JOIN_SIZE) + 0.6) * on.point, 3.3 * on.point
        box = (left, centre - half, left + wide, centre + half)
        on.draw(Flag(box, words, JOIN_SIZE * on.point, "paper", None, bold=False), 8)


def as_cut_view(
    contents: BlankContents, job: str, set_id: str, flagged: Sequence[Marked] = ()
) -> Canvas:
    """The copper that is left once every program has run."""
    parts = contents.as_cut.parts if contents.as_cut else ()
    pieces = [part for part in parts if len(part.pieces) == 1]
    shorts = [part for part in parts if len(part.pieces) > 1]
    floating = [part.shape for part in parts if not part.pieces]
    seen = Counter(piece for part in parts for piece in part.pieces)
    broken = [part for part in pieces if seen[part.pieces[0]] > 1]
    legend = [
        marks.swatch("piece", f"copper of a single piece ({len(pieces) - len(broken)})"),
        marks.swatch("copper", "floating copper, part of no piece"),
        marks.swatch("laminate", "copper cut away"),
    ]
    if shorts:
        legend.append(marks.swatch("short", f"SHORT: pieces that touch ({len(shorts)})", hatch="x"))
    if broken:
        legend.append(marks.swatch("piece", f"OPEN: part of a piece ({len(broken)})", hatch="/"))
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, "copper left after all passes"),
        f"{FROM_COPPER}; worked out from the programs as written, at the foot of the copper",
        set_id,
        axis_words=BLANK_AXES,
        legend=legend,
    )
    _blank(on, contents)
    marks.fill(on, floating, "copper", over=1.1)
    marks.fill(on, [part.shape for part in pieces], "piece", over=1.2)
    marks.fill(on, [part.shape for part in broken], "piece", hatch="/", edge="paper", over=1.3)
    marks.fill(on, [part.shape for part in shorts], "short", hatch="x", edge="paper", over=1.4)
    _holes(on, contents)
    _edges(on, contents, names=False)
    for part in shorts[:MOST_FLAGS]:
        names = sorted(name for _, name in part.pieces)
        more = " …" if len(names) > 4 else ""
        point = part.shape.representative_point()
        marks.label(on, (point.x, point.y), f"SHORT {' + '.join(names[:4])}{more}")
    for part in broken[:MOST_FLAGS]:
        point = part.shape.representative_point()
        marks.label(on, (point.x, point.y), f"OPEN {part.pieces[0][1]}")
    x, y = contents.blank.size
    for words, at in marks.crowds(on, [(mark.name, mark.at) for mark in flagged[:MOST_FLAGS]]):
        marks.circled(on, at, words, max(x, y) / 60)
    return on


def hole_name(hole: RegistrationHole) -> str:
    """A registration hole, said to be the key or a cross to check where it is one, "r3 key"."""
    if hole.role == "key":
        return f"{hole.id} key"
    return f"{hole.id} check" if hole.role == "witness" else hole.id


def registration_hole(
    on: Canvas, hole: RegistrationHole, spine: BaseGeometry, words: str = ""
) -> None:
    """A registration hole at its size, with words on its right if there are any.

    A slot is little longer than it is wide, so it is drawn longer where it would look round. A
    cross that only shows whether the blank lies right has a sign of its own.
    `spine` is the centre or centre line of the hole where it is drawn.
    """
    at = (spine.centroid.x, spine.centroid.y)
    if hole.slot:
        long, wide = (size * on.point / on.scale for size in SLOT_SIGN)
        longer = max(long / spine.length, 1.0)
        line = shapely.affinity.scale(spine, longer, longer)
        area = line.buffer(max(hole.diameter, wide) / 2, quad_segs=32)
        marks.fill(on, [area], "paper", edge="ink", width=1.2, over=6)
    elif hole.role == "witness":
        marks.signs(on, [at], "target", size=7.0, over=6.1)
    else:
        marks.discs(on, [at], hole.diameter, "paper", points=0.8, over=6)
        marks.signs(on, [at], "plus", size=4.5, over=6.1)
    if words:
        marks.label(on, at, words, away=(6, -4), size=7)


def _blank(on: Canvas, contents: BlankContents) -> None:
    x, y = contents.blank.size
    rim = shapely.box(0, 0, x, y)
    marks.fill(on, [rim], "laminate", edge="quiet", width=0.8, over=0.5)


def _holes(on: Canvas, contents: BlankContents) -> None:
    marks.holes(on, [hole for placed in contents.placed for hole in placed.holes], "paper")


def _slots(contents: BlankContents) -> bool:
    return any(hole.end is not None for placed in contents.placed for hole in placed.holes)


def _edges(on: Canvas, contents: BlankContents, *, names: bool) -> None:
    marks.outlines(on, [placed.outline for placed in contents.placed], points=0.7)
    if names and len(contents.placed) > 1:
        for placed in contents.placed:
            x0, _, _, y1 = placed.outline.bounds
            marks.label(on, (x0, y1), plain(placed.title, 30), away=(1, -1), size=7)
