"""The setup of a pass as a drawing with dimensions, for paper: what is where on the machine.

It is drawn on paper in mm, 186 wide, and seen from above with the copper side up. Everything is
measured from the work zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank, Box, Clamp, overhangs
from millprep.model.job.setup import Method
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.set_of_programs import CutSet
from millprep.report.blank_contents import DrawnProgram, bare_blank, bare_set
from millprep.report.blank_views import hole_name
from millprep.report.pass_view import contacts
from millprep.report.scene import (
    Area,
    Circle,
    Line,
    Scene,
    Shape,
    Text,
    coarser,
    hatched,
    width_of,
)
from millprep.report.setup_signs import (
    AREA_STYLES,
    CLAMP_LINES,
    SIZE,
    THIN,
    TRAVEL_DASH,
    WIDE,
    Mark,
    Side,
    Sign,
    key_of,
    room,
    running,
    sign_shapes,
)
from millprep.report.svg import svg
from millprep.report.words import number, plain
from millprep.report.zero import drilled_now, on_pins

HIGHEST, HIGH = 104.0, 66.0
"""Of the same; the second where the page holds readings as well."""
BOLD = 0.25
"""Width of what a pass cuts, mm on paper."""
NAME = 3.2
"""Letters of a board's name where they fit, mm on paper: 9 pt."""
LARGEST = 1.0
"""Scale: small blanks are drawn in their true size."""


@dataclass(frozen=True, slots=True)
class View:
    """From the machine to paper."""

    low: Point
    high: Point
    scale: float
    left: float
    top: float

    def at(self, place: Point) -> Point:
        """A place of the machine on paper."""
        return (
            self.left + (place[0] - self.low[0]) * self.scale,
            self.top + (self.high[1] - place[1]) * self.scale,
        )

    def shape(self, shape: Any) -> Any:
        """A shape of the machine on paper, or an array of them."""
        a, b = self.at((0.0, 0.0))

        def on_paper(xy: FloatArray) -> FloatArray:
            return np.column_stack((a + xy[:, 0] * self.scale, b - xy[:, 1] * self.scale))

        return shapely.transform(shape, on_paper)


def setup_drawing(cut_set: CutSet, milling_pass: MillingPass, title: str) -> str:
    """SVG of one pass: blank, clamps, zero, touch point, holes, props, with dimensions."""
    located: Method = "pins" if on_pins(cut_set) else "measure"
    here = bare_blank(cut_set.blank(milling_pass.blank))
    bare = replace(bare_set(cut_set), blanks=(here,), locating=located)
    now = list(map(DrawnProgram.of, milling_pass.programs))
    return _drawing(bare, replace(milling_pass, programs=()), now, title)


@cached
def _drawing(bare: CutSet, milling_pass: MillingPass, now: list[DrawnProgram], title: str) -> str:
    """SVG of a pass with the programs `now`, of a set with nothing but what it shows."""
    blank = bare.blank(milling_pass.blank).laminate
    clamps = [clamp for clamp in bare.clamps if clamp.on_in(milling_pass.number)]
    rim = milling_pass.pose.shape(blank.outline or shapely.box(0, 0, *blank.size))
    signs = _signs(bare, milling_pass, blank)
    low, high = _extent(rim, clamps, signs)
    places = _sided(rim, clamps, signs, low, high)
    full = bool(milling_pass.verniers or milling_pass.registration)
    view = _view(low, high, places, HIGH if full else HIGHEST)
    shapes = [
        *_ground(bare, milling_pass, now, view, rim),
        *_names(bare, milling_pass, view),
        *_held_areas(bare, milling_pass, view),
        *(shape for clamp in clamps for shape in _clamp(view, clamp)),
        *_dimensions(view, places),
        *(shape for sign in signs for shape in sign_shapes(view.at(sign.at), sign)),
    ]
    foot = view.at(low)[1] + room(places["below"])
    kinds = {sign.kind for sign in signs} | {"travel"} | ({"clamp"} if clamps else set())
    if now:
        kinds.add("now")
    if _strips(bare):
        kinds.add("strip")
    if _room(milling_pass):
        kinds.add("room")
    if any(sign.way for sign in signs):
        kinds.add("slot")
    key, whole = key_of(kinds, foot)
    words = f"Setup of {title}: blank, clamps, work zero, touch point and holes with dimensions"
    return svg(Scene((WIDE, whole), words, (*shapes, *key)), inline=True)


def _signs(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[Sign]:
    pose, pins = milling_pass.pose, on_pins(cut_set)

    def used(hole: RegistrationHole) -> str:
        if hole.role == "witness":
            return "check"
        return "pin" if pins else "hole"

    def made(hole: RegistrationHole) -> str:
        return "engraved" if hole.role == "witness" else "drilled"

    def name(hole: RegistrationHole) -> str:
        return plain(hole_name(hole), 12)

    def way(hole: RegistrationHole) -> Point | None:
        if not hole.slot or hole.free is None:
            return None
        (x, y), (u, v) = pose.point((0.0, 0.0)), pose.point(hole.free)
        return (u - x, v - y)

    over = overhangs(pose, blank, cut_set.machine.travel)
    return [
        *(Sign("prop", overhang.prop, "") for overhang in over),
        *(
            Sign(made(hole), pose.point(hole.blank), name(hole), way(hole))
            for hole in drilled_now(cut_set, milling_pass)
        ),
        *(Sign(used(h), h.machine, name(h), way(h)) for h in milling_pass.registration),
        Sign("zero", (0.0, 0.0), ""),
        Sign("touch", milling_pass.touch, ""),
        *([Sign("edge", milling_pass.edge.at, "")] if milling_pass.edge else []),
    ]


def _extent(rim: shapely.Polygon, clamps: list[Clamp], signs: list[Sign]) -> tuple[Point, Point]:
    """Low and high corner of all that is drawn, on the machine."""
    boxes = [rim.bounds, *(clamp.box.bounds for clamp in clamps)]
    boxes += [(*sign.at, *sign.at) for sign in signs]
    x0, y0 = (min(box[k] for box in boxes) for k in (0, 1))
    x1, y1 = (max(box[k] for box in boxes) for k in (2, 3))
    return (x0, y0), (max(x1, x0 + 1.0), max(y1, y0 + 1.0))


def _sided(
    rim: shapely.Polygon, clamps: list[Clamp], signs: list[Sign], low: Point, high: Point
) -> dict[str, list[Mark]]:
    """What is measured, each on the nearer of two sides.

    An unnamed figure that is on one side already is left out on the other.
    """
    x0, y0, x1, y1 = rim.bounds
    corners = [(x0, y0), (x1, y1)]
    corners += [at for c in clamps for at in ((c.box.x0, c.box.y0), (c.box.x1, c.box.y1))]
    places = [(at, "") for at in corners]
    places += [
        (sign.at, "Z" if sign.kind == "touch" else sign.name.partition(" ")[0])
        for sign in signs
        if sign.kind != "zero"
    ]
    marks: dict[str, list[Mark]] = {"below": [], "above": [], "left": [], "right": []}
    for at, name in places:
        marks["below" if at[1] * 2 <= low[1] + high[1] else "above"].append(Mark(at[0], at, name))
        marks["left" if at[0] * 2 <= low[0] + high[0] else "right"].append(Mark(at[1], at, name))
    for first, other in (("below", "above"), ("left", "right")):
        known = {number(mark.value, 3) for mark in marks[first]}
        marks[other] = [m for m in marks[other] if m.name or number(m.value, 3) not in known]
    return marks


def _view(low: Point, high: Point, places: dict[str, list[Mark]], most: float) -> View:
    wide, tall = high[0] - low[0], high[1] - low[1]
    left, right, above, below = (room(places[k]) for k in ("left", "right", "above", "below"))
    scale = min((WIDE - left - right) / wide, (most - above - below) / tall, LARGEST)
    spare = WIDE - left - right - wide * scale
    return View(low, high, scale, left + spare / 2, above)


def _ground(
    cut_set: CutSet,
    milling_pass: MillingPass,
    now: list[DrawnProgram],
    view: View,
    rim: shapely.Polygon,
) -> list[Shape]:
    """The blank, its boards in grey, in bold what this pass cuts, and the machine's travel."""
    pose = milling_pass.pose
    on = cut_set.blank(milling_pass.blank).placements
    copper: list[shapely.Geometry] = []
    for p in on:
        pieces: Any = np.array([piece.shape for piece in p.board.pieces], dtype=object)
        copper += view.shape(p.pose.then(pose).shape(pieces)).tolist()
    edges = [view.shape(pose.shape(p.pose.shape(p.board.outline))) for p in on]
    margin = 2.0 / view.scale
    seen = shapely.box(*view.low, *view.high).buffer(margin, join_style="mitre")
    frame = cut_set.machine.travel.shape.exterior
    runs = shapely.get_parts(shapely.line_merge(frame.intersection(seen)))
    lines = [shapely.get_coordinates(view.shape(run)) for run in runs if run.length > 0]
    return [
        Area((view.shape(rim),), "laminate", "ink", 0.4),
        Area(tuple(coarser(np.array(copper, dtype=object), 0.15)), "earlier pass"),
        Area(tuple(edges), None, "quiet", 0.2),
        *_cut_now(now, view),
        Line(tuple(lines), 0.25, "ink", TRAVEL_DASH),
    ]


def _cut_now(now: list[DrawnProgram], view: View) -> list[Shape]:
    """Paths and holes of a pass, bold."""
    paths: list[shapely.Geometry] = []
    holes: list[Point] = []
    for drawn in now:
        lines, points = contacts(drawn, 0.1 / view.scale)
        paths += map(shapely.LineString, lines)
        holes += map(view.at, points)
    fewer = coarser(view.shape(np.array(paths, dtype=object)), 0.1)
    return [
        Line(tuple(map(shapely.get_coordinates, fewer)), BOLD, "ink"),
        Circle(tuple(holes), BOLD, "ink"),
    ]


def _names(cut_set: CutSet, milling_pass: MillingPass, view: View) -> list[Shape]:
    """Every board with its copy in its middle, in as many lines and turned as it fits best."""
    shapes: list[Shape] = []
    for placement in cut_set.blank(milling_pass.blank).placements:
        edge = milling_pass.pose.shape(placement.pose.shape(placement.board.outline))
        x0, y0, x1, y1 = shapely.bounds(view.shape(edge)).tolist()
        words = f"{plain(placement.board.name, 30)} {placement.copy}"
        size, lines, turned = max(
            (
                (_letters(lines, long, across), lines, turned)
                for lines in ((words,), _halves(words))
                for turned, long, across in ((False, x1 - x0, y1 - y0), (True, y1 - y0, x1 - x0))
            ),
            key=lambda way: round(way[0], 2),
        )
        for k, line in enumerate(lines):
            down = size * (0.36 + 1.1 * (k - (len(lines) - 1) / 2))
            x, y = (x0 + x1) / 2, (y0 + y1) / 2
            at = (x + down, y) if turned else (x, y + down)
            turn = -90.0 if turned else 0.0
            shapes.append(Text(at, line, size, anchor="middle", halo=0.7, turn=turn))
    return shapes


def _letters(lines: tuple[str, ...], long: float, across: float) -> float:
    """How large letters can be for lines to fit a board, at most `NAME`."""
    widest = max(width_of(line, NAME) for line in lines)
    return min(NAME, NAME * 0.95 * long / widest, across / (1.15 * len(lines)))


def _halves(words: str) -> tuple[str, ...]:
    """Words in two lines, split at the hyphen or space that makes them most alike in length."""
    breaks = [k for k, letter in enumerate(words, 1) if letter in "- " and k < len(words)]
    if not breaks:
        return (words,)
    middle = min(breaks, key=lambda k: abs(2 * k - len(words)))
    return words[:middle].rstrip(), words[middle:]


def _strips(cut_set: CutSet) -> list[Box]:
    """Where tape or vacuum holds parts of the blank."""
    return [
        box for areas in (cut_set.tape, cut_set.vacuum) if not isinstance(areas, bool)
        for box in areas
    ]  # fmt: skip


def _room(milling_pass: MillingPass) -> tuple[Box, ...]:
    """Where more clamps may go."""
    return () if milling_pass.holding is None else milling_pass.holding.room


def _held_areas(cut_set: CutSet, milling_pass: MillingPass, view: View) -> list[Shape]:
    """Tape or vacuum under the blank, and room for more clamps, as far as they are in view."""
    seen = shapely.box(*view.low, *view.high)
    shapes: list[Shape] = []
    for kind, boxes in (("strip", _strips(cut_set)), ("room", _room(milling_pass))):
        role, dash = AREA_STYLES[kind]
        parts = [box.shape.intersection(seen) for box in boxes]
        drawn = tuple(view.shape(part) for part in parts if part.area > 0)
        if drawn:
            shapes.append(Area(drawn, None, role, THIN, dash))
    return shapes


def _clamp(view: View, clamp: Clamp) -> list[Shape]:
    """A clamp with its height."""
    box, words = clamp.box, number(clamp.height)
    block = view.shape(box.shape)
    x, y = view.at(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
    half = width_of(words, SIZE) / 2 + 0.5
    # no lines where the words are
    lined = block - shapely.box(x - half, y - SIZE / 2, x + half, y + SIZE / 2)
    return [
        Area((block,), "paper", "ink", 0.25),
        *hatched([lined], "\\", "ink", CLAMP_LINES),
        Text((x, y + 1.1), words, SIZE, anchor="middle", halo=0.5),
    ]


def _dimensions(view: View, places: dict[str, list[Mark]]) -> list[Shape]:
    """The dimension lines on all four sides."""
    (left, bottom), (right, top), zero = (view.at(p) for p in (view.low, view.high, (0.0, 0.0)))
    sides = {
        "below": Side(0, bottom, 1), "above": Side(0, top, -1),
        "left": Side(1, left, -1), "right": Side(1, right, 1),
    }  # fmt: skip
    return [
        shape
        for name, side in sides.items()
        for shape in running(
            side, zero[side.across], [replace(m, at=view.at(m.at)) for m in places[name]]
        )
    ]
