"""Pictures of a whole blank: copper from both faces, paths, as-cut copper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from millprep.report import join_marks, marks
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import COPPER, INK, LAMINATE, PAPER, PIECE, QUIET, SHORT, cutter_style
from millprep.report.picture_words import say
from millprep.report.scene import Scene
from millprep.report.words import cutter_words, number, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from millprep.geometry.path import Point
    from millprep.model.cutter import Cutter
    from millprep.report.places import Marked

BLANK_AXES = (say("axis.x.blank"), say("axis.y.blank"))
MOST_FLAGS = 200


def copper_view(
    scene: Scene, job: str, set_id: str, places: Sequence[Marked], *, components: bool = False
) -> Canvas:
    """The copper as designed, from the face that is milled or from the other one."""
    flagged = [place for place in places if place.finding.severity != "note"][:MOST_FLAGS]
    count = len(scene.pieces)
    legend = [
        marks.swatch(PIECE, say("copper.one" if count == 1 else "copper.more", count=count)),
        marks.swatch(LAMINATE, say("blank")),
        marks.swatch(PAPER, say("hole.slot" if _slots(scene) else "hole")),
        marks.line_swatch(INK, say("edge"), style="--"),
    ]
    if flagged:
        legend.append(marks.sign_swatch("o", say("finding")))
    on = canvas(
        scene.box(), titled(job, scene, "title.components" if components else "title.copper"),
        say("from.components" if components else "from.copper"), set_id, axis_words=BLANK_AXES,
        legend=legend, turned_over=components,
    )  # fmt: skip
    _blank(on, scene)
    marks.fill(on, scene.pieces, PIECE, over=1.1)
    _holes(on, scene)
    _edges(on, scene, names=True)
    marks.flags(on, [(place.name, place.at) for place in flagged])
    return on


def paths_view(scene: Scene, job: str, set_id: str) -> Canvas:
    """Every path at its true width, by cutter."""
    legend: list[Any] = []
    on_paths = _widths(scene)
    for i, cutter in enumerate(scene.cutters):
        if cutter.name in on_paths:
            style = cutter_style(i)
            wide = on_paths[cutter.name]
            words = say(
                "cutter.wide" if wide else "cutter", cutter=plain(cutter.name, 24),
                kind=cutter_words(cutter), mm=wide,
            )  # fmt: skip
            legend.append(marks.swatch(style.colour, words, hatch=style.hatch))
    tabs = sum(len(profile.tabs) for profile in scene.profiles)
    holes = list(scene.registration.values())
    legend.append(marks.swatch(COPPER, say("copper")))
    if tabs:
        legend.append(marks.sign_swatch("s", say("tabs", count=tabs)))
    if scene.joins:
        legend.append(join_marks.legend(scene.joins))
    if holes:
        legend.append(marks.sign_swatch("P", say("registration", count=len(holes))))
    on = canvas(
        scene.box(), titled(job, scene, "title.paths"), say("from.copper"), set_id,
        axis_words=BLANK_AXES, legend=legend,
    )  # fmt: skip
    _blank(on, scene)
    marks.fill(on, scene.pieces, COPPER, over=1.1)
    for i, cutter in enumerate(scene.cutters):
        _cut_with(on, scene, i, cutter)
    _edges(on, scene, names=False)
    for profile in scene.profiles:
        middles = [profile.path.point_at((tab.start + tab.end) / 2) for tab in profile.tabs]
        marks.signs(on, middles, "s", size=4.5, over=5)
    join_marks.joins(on, [(join.at, join) for join in scene.joins])
    for hole in holes:
        registration_hole(on, hole.blank, hole.diameter, hole.id)
    return on


def _widths(scene: Scene) -> dict[str, str]:
    """Every cutter that is used on the blank, with the width of its grooves where it cuts some."""
    by_name = {cutter.name: cutter for cutter in scene.cutters}
    words: dict[str, str] = {hole.cutter: "" for hole in scene.holes}
    words |= {profile.cutter: "" for profile in scene.profiles}
    for cut in scene.path_cuts:
        if cut.cutter not in words and cut.cutter in by_name:
            wide = number(by_name[cut.cutter].width(cut.depth), 3)
            words[cut.cutter] = wide
    return words


def _cut_with(on: Canvas, scene: Scene, index: int, cutter: Cutter) -> None:
    """Rings, profiles and holes of one cutter."""
    style = cutter_style(index)
    sagitta = on.tolerance
    by_depth: dict[float, list[Any]] = {}
    for cut in scene.path_cuts:
        if cut.cutter == cutter.name:
            by_depth.setdefault(cut.depth, []).append(cut.path.flattened(sagitta))
    for depth, lines in by_depth.items():
        marks.stroke(on, lines, cutter.width(depth), style.colour, over=2 + index * 0.01)
    marks.holes(
        on, [hole for hole in scene.holes if hole.cutter == cutter.name], style.colour,
        hatch=style.hatch, edge=PAPER if style.hatch else style.colour,
    )  # fmt: skip


def as_cut_view(
    scene: Scene, job: str, set_id: str, flagged: Sequence[Marked] = ()
) -> Canvas:
    """The copper that is left once every program has run."""
    parts = scene.as_cut.parts if scene.as_cut else ()
    pieces = [part for part in parts if len(part.pieces) == 1]
    shorts = [part for part in parts if len(part.pieces) > 1]
    spare = [part.shape for part in parts if not part.pieces]
    seen: dict[tuple[int, str], int] = {}
    for part in parts:
        for piece in part.pieces:
            seen[piece] = seen.get(piece, 0) + 1
    broken = [part for part in pieces if seen[part.pieces[0]] > 1]
    legend = [
        marks.swatch(PIECE, say("as_cut.piece", count=len(pieces) - len(broken))),
        marks.swatch(COPPER, say("as_cut.spare")),
        marks.swatch(LAMINATE, say("as_cut.away")),
    ]
    if shorts:
        legend.append(marks.swatch(SHORT, say("as_cut.shorts", count=len(shorts)), hatch="xxx"))
    if broken:
        legend.append(marks.swatch(PIECE, say("as_cut.opens", count=len(broken)), hatch="///"))
    on = canvas(
        scene.box(), titled(job, scene, "title.as_cut"), say("from.programs"), set_id,
        axis_words=BLANK_AXES, legend=legend,
    )  # fmt: skip
    _blank(on, scene)
    marks.fill(on, spare, COPPER, over=1.1)
    marks.fill(on, [part.shape for part in pieces], PIECE, over=1.2)
    marks.fill(on, [part.shape for part in broken], PIECE, hatch="///", edge=PAPER, over=1.3)
    marks.fill(on, [part.shape for part in shorts], SHORT, hatch="xxx", edge=PAPER, over=1.4)
    _holes(on, scene)
    _edges(on, scene, names=False)
    for part in shorts[:MOST_FLAGS]:
        names = sorted(name for _, name in part.pieces)
        more = " …" if len(names) > 4 else ""
        point = part.shape.representative_point()
        words = say("as_cut.short", pieces=" + ".join(names[:4]) + more)
        marks.label(on, (point.x, point.y), words)
    for part in broken[:MOST_FLAGS]:
        point = part.shape.representative_point()
        marks.label(on, (point.x, point.y), say("as_cut.open", piece=part.pieces[0][1]))
    x, y = scene.blank.size
    for words, at in marks.crowds(on, [(one.name, one.at) for one in flagged[:MOST_FLAGS]]):
        marks.ringed(on, at, words, max(x, y) / 60)
    return on


def titled(job: str, scene: Scene, key: str, **values: object) -> str:
    """Job, blank and what the picture shows."""
    return say("title", job=job, blank=scene.blank.number, what=say(key, **values))


def registration_hole(on: Canvas, at: Point, diameter: float, words: str = "") -> None:
    """A registration hole at its size, with words on its right if there are any."""
    marks.discs(on, [at], diameter, PAPER, points=0.8, over=6)
    marks.signs(on, [at], "P", size=4.5, over=6.1)
    if words:
        marks.label(on, at, words, away=(6, -4), size=7)


def _blank(on: Canvas, scene: Scene) -> None:
    x, y = scene.blank.size
    marks.fill(on, [shapely.box(0, 0, x, y)], LAMINATE, edge=QUIET, width=0.8, over=0.5)


def _holes(on: Canvas, scene: Scene) -> None:
    marks.holes(on, [hole for placed in scene.placed for hole in placed.holes], PAPER)


def _slots(scene: Scene) -> bool:
    return any(hole.end is not None for placed in scene.placed for hole in placed.holes)


def _edges(on: Canvas, scene: Scene, *, names: bool) -> None:
    for placed in scene.placed:
        rings = [placed.outline.exterior, *placed.outline.interiors]
        marks.hairline(
            on, [shapely.get_coordinates(ring) for ring in rings], style=(0, (5, 3)), points=0.7
        )
        if names and len(scene.placed) > 1:
            x0, _, _, y1 = placed.outline.bounds
            marks.label(on, (x0, y1), plain(placed.title, 30), away=(1, -1), size=7)
