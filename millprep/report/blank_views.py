"""Pictures of a whole blank: copper from both faces, paths, as-cut copper."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import CopperPart
from millprep.model.cutter import Cutter
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.report import captions, marks
from millprep.report.blank_contents import BlankContents, Marked, posed
from millprep.report.canvas import Canvas, LegendEntry, canvas
from millprep.report.captions import Caption, PlacedCaption
from millprep.report.insets import ROOM, draw_insets, insets_of, worst_join
from millprep.report.palette import cutter_style
from millprep.report.words import cutter_words, number, plain

BLANK_AXES = ("X on the blank, mm", "Y on the blank, mm")
FROM_COPPER = "copper side up, as it lies on the mill"
MOST_FLAGS = 200
MOST_NAMED = 30
"""Faults of the copper that are named where they are; the legend counts all."""
SLOT_SIGN = (5.0, 4.0)
"""Least length of a registration slot's centre line, and its least width, points."""


def titled(job: str, blank: int, what: str) -> str:
    """Job, blank and what the picture shows."""
    return f"{job} · blank {blank} · {what}"


def copper_view(
    contents: BlankContents,
    job: str,
    places: Sequence[Marked],
    *,
    components: bool = False,
) -> Canvas:
    """The copper as drawn, from the face that is milled or from the other one."""
    flagged = [place for place in places if place.finding.severity != "note"][:MOST_FLAGS]
    count = len(contents.pieces)
    legend = [
        marks.swatch("copper", f"copper as drawn ({count} piece{'' if count == 1 else 's'})"),
        marks.swatch("laminate", "blank, without copper in the drawing"),
        marks.swatch("paper", "hole or slot" if _slots(contents) else "hole"),
        marks.line_swatch("ink", "edge of the board", dash=marks.DASHED),
    ]
    if flagged:
        legend.append(marks.sign_swatch("circle", "finding by its number; +3: three more there"))
    engraved = _legend_lines(contents) if components else []
    if engraved:
        legend.append(marks.line_swatch("ink", "legend as drawn, engraved before pass 1"))
    side = "component" if components else "copper"
    turned = "component side up, seen through the laminate: turned over top to bottom"
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, f"copper as drawn, {side} side up"),
        turned if components else FROM_COPPER,
        axis_words=BLANK_AXES,
        legend=legend,
        turned_over=components,
    )
    _blank(on, contents)
    marks.fill(on, contents.pieces, "copper", over=1.1)
    marks.hairline(on, engraved, points=0.9)
    _holes(on, contents)
    _edges(on, contents)
    _names(on, contents, [], [place.at for place in flagged])
    marks.flags(on, [(place.name, place.at) for place in flagged])
    return on


def _legend_lines(contents: BlankContents) -> list[FloatArray]:
    """(n, 2) lines of what is engraved into the component side, blank frame."""
    return [
        placed.placement.pose.points(path.flattened())
        for placed in contents.placed
        if placed.placement.board.legend is not None
        for path in placed.placement.board.legend.paths(mirrored=placed.placement.pose.mirrored)
    ]


def paths_view(contents: BlankContents, job: str) -> Canvas:
    """Every path at its true width, by cutter; the narrowest gap and the worst join enlarged."""
    insets = insets_of(contents)
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, "paths of all passes at their true width"),
        FROM_COPPER,
        axis_words=BLANK_AXES,
        legend=_paths_legend(contents),
        insets=ROOM if insets else 0.0,
    )
    _blank(on, contents)
    marks.fill(on, contents.pieces, "copper", over=1.1)
    for i, cutter in enumerate(contents.cutters):
        _cut_with(on, contents, i, cutter)
    _edges(on, contents)
    tabs = [place for profile in contents.profiles for place in profile.tab_places]
    marks.signs(on, tabs, "square", size=4.5, over=5)
    joins = [join.at for join in contents.joins]
    marks.signs(on, joins, "diamond", size=4.5)
    said = [Caption(inset.at, inset.name, 6.0) for inset in insets]
    for inset in insets:
        marks.discs(on, [inset.at], 12.0 / on.per_mm, None, points=1.0, over=6)
    for hole in contents.registration.values():
        registration_hole(on, hole, hole.spine)
        radius = max(3.5, (hole.diameter + hole.slot) / 2 * on.per_mm)
        said.append(Caption(hole.blank, hole_name(hole), radius))
    _names(on, contents, said, [*tabs, *joins])
    draw_insets(on, contents, insets)
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
    holes = [hole for hole in contents.holes if hole.cutter == cutter.name]
    marks.holes(on, holes, "paper", edge="paper", points=2 * marks.HOLE_RIM, over=3.9)
    marks.holes(on, holes, style.role, hatch=style.hatch, edge="paper", points=0.0)


def join_legend(joins: Sequence[Join]) -> LegendEntry:
    """What the sign of a join means, with the figures of the worst join."""
    words = f"join of two passes ({len(joins)})"
    worst = worst_join(joins)
    if worst is not None:
        words += (
            f", misaligned by up to {number(worst.predicted or 0.0, 3)} mm, "
            f"{number(worst.tolerance_electrical or 0.0, 3)} mm tolerated"
        )
    return marks.sign_swatch("diamond", words)


def board_names(
    on: Canvas, contents: BlankContents, signs: Sequence[BaseGeometry], pose: Pose | None = None
) -> tuple[PlacedCaption, ...]:
    """Draw every board's name with its copy; on the machine with a pose."""
    outlines = [placed.outline for placed in contents.placed]
    copper: list[shapely.Polygon] = [*contents.pieces, *contents.hole_boxes]
    if pose is not None:
        outlines, copper = posed(outlines, pose), posed(copper, pose)
    titles = [plain(placed.title, 30) for placed in contents.placed]
    done = captions.on_boards(on, list(zip(titles, outlines, strict=True)), signs, copper)
    captions.put(on, done)
    return done


def _names(
    on: Canvas, contents: BlankContents, said: Sequence[Caption], signs: Sequence[Point] = ()
) -> None:
    """The boards' names, and words next to places, on no copper, hole, sign or edge."""
    edges = [shapely.boundary(placed.outline) for placed in contents.placed]
    round_signs = [shapely.Point(at).buffer(4.0 / on.per_mm, quad_segs=2) for at in signs]
    blank = shapely.box(0, 0, *contents.blank.size).exterior
    marked = [shapely.Point(c.at).buffer(c.radius / on.per_mm, quad_segs=2) for c in said]
    boxes = [placed.box for placed in board_names(on, contents, [*round_signs, *marked])]
    kept_free = [*contents.pieces, *contents.hole_boxes, *edges, *round_signs, *boxes]
    boards = shapely.union_all([placed.outline for placed in contents.placed])
    captions.put(on, captions.arrange(on, said, kept_free, boards, [blank]))


def as_cut_view(contents: BlankContents, job: str, flagged: Sequence[Marked] = ()) -> Canvas:
    """The copper that is left once every program has run."""
    parts = contents.as_cut.parts if contents.as_cut else ()
    pieces = [part for part in parts if len(part.pieces) == 1]
    shorts = [part for part in parts if len(part.pieces) > 1]
    floating = [part.shape for part in parts if not part.pieces]
    seen = Counter(piece for part in parts for piece in part.pieces)
    broken = [part for part in pieces if seen[part.pieces[0]] > 1]
    legend = [
        marks.swatch("copper", f"copper of a single piece ({len(pieces) - len(broken)})"),
        marks.swatch("laminate", "floating copper, part of no piece", hatch=marks.FLOATING),
        marks.swatch("laminate", "copper cut away"),
    ]
    if shorts:
        legend.append(marks.swatch("fault", f"SHORT: pieces that touch ({len(shorts)})", hatch="x"))
    if broken:
        legend.append(marks.swatch("copper", f"OPEN: part of a piece ({len(broken)})", hatch="x"))
    on = canvas(
        contents.box(),
        titled(job, contents.blank.number, "copper left after all passes"),
        f"{FROM_COPPER}; worked out from the programs as written, at the foot of the copper",
        axis_words=BLANK_AXES,
        legend=legend,
    )
    _blank(on, contents)
    marks.fill(on, floating, "laminate", edge="copper", hatch=marks.FLOATING, over=1.1)
    marks.fill(on, [part.shape for part in pieces], "copper", over=1.2)
    marks.fill(on, [part.shape for part in broken], "copper", hatch="x", edge="paper", over=1.3)
    marks.fill(
        on, [part.shape for part in shorts], "fault", hatch="x", edge="ink", width=0.6, over=1.4
    )
    _holes(on, contents)
    _edges(on, contents)
    faults = [(part, f"SHORT {_joined(part)}") for part in shorts]
    faults += [(part, f"OPEN {part.pieces[0][1]}") for part in broken]
    said = []
    for part, words in faults[:MOST_NAMED]:
        point = part.shape.representative_point()
        said.append(Caption((point.x, point.y), words, 1.0))
    _names(on, contents, said, [mark.at for mark in flagged])
    x, y = contents.blank.size
    for words, at in marks.crowds(on, [(mark.name, mark.at) for mark in flagged[:MOST_FLAGS]]):
        marks.circled(on, at, words, max(x, y) / 60)
    return on


def _joined(part: CopperPart) -> str:
    """The pieces that a part joins, four at most."""
    names = sorted(name for _, name in part.pieces)
    return " + ".join(names[:4]) + (" …" if len(names) > 4 else "")


def hole_name(hole: RegistrationHole) -> str:
    """A registration hole, said to be the key or a cross to check where it is one, "r3 key"."""
    if hole.role == "key":
        return f"{hole.id} key"
    return f"{hole.id} check" if hole.role == "witness" else hole.id


def registration_hole(on: Canvas, hole: RegistrationHole, spine: BaseGeometry) -> None:
    """A registration hole at its size.

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


def _blank(on: Canvas, contents: BlankContents) -> None:
    x, y = contents.blank.size
    rim = shapely.box(0, 0, x, y)
    marks.fill(on, [rim], "laminate", edge="quiet", width=0.8, over=0.5)


def _holes(on: Canvas, contents: BlankContents) -> None:
    marks.holes(on, [hole for placed in contents.placed for hole in placed.holes], "paper")


def _slots(contents: BlankContents) -> bool:
    return any(hole.end is not None for placed in contents.placed for hole in placed.holes)


def _edges(on: Canvas, contents: BlankContents) -> None:
    marks.outlines(on, [placed.outline for placed in contents.placed], points=0.7)
