"""The setup of a pass as a drawing with dimensions, for paper: what is where on the machine.

It is drawn on paper in mm, 186 wide, and seen from above with the copper side up. Everything is
measured from the work zero.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank, Box, Clamp, overhangs
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.set_of_programs import CutSet
from millprep.report.dimensions import Mark, Side, room, running
from millprep.report.fonts import width_of
from millprep.report.scene import Area, Circle, Line, Scene, Shape, Text
from millprep.report.svg import svg
from millprep.report.words import number, plain
from millprep.report.zero import drilled_now, on_pins

WIDE = 186.0
"""Of the drawing with its dimensions, mm on paper."""
HIGHEST, HIGH = 110.0, 68.0
"""Of the same; the second where the page holds readings as well."""
LARGEST = 1.0
"""Scale: small blanks are drawn in their true size."""
ROW, SIZE = 4.4, 2.5
"""Height of a row of the key, and of its words and the names."""
THIN = 0.3
TRAVEL_DASH = (2.4, 1.2)
NARROWER = 0.9
"""Width of the sheet's fonts in widths of the one that words are measured in."""
AREA_STYLES: dict[str, tuple[str, tuple[float, ...]]] = {
    "strip": ("ink", (1.2, 0.8)),
    "room": ("quiet", (0.4, 0.5)),
}
"""Colour and dashes of areas that hold or may hold the blank."""
SIGN_WORDS = {
    "zero": "work zero X0 Y0",
    "touch": "Z touch point",
    "drilled": "hole made in this pass",
    "pin": "pin through the blank",
    "hole": "hole to find",
    "check": "cross: the tip must be over it",
    "prop": "support the blank here",
    "clamp": "clamp, with its height above the copper",
    "strip": "tape or vacuum under the blank",
    "room": "room for more clamps",
    "travel": "travel of the machine",
}
"""What can be in the drawing, in the order of the key."""


@dataclass(frozen=True, slots=True)
class Sign:
    """Something with a place of its own on the machine; `kind` is a key of `SIGN_WORDS`."""

    kind: str
    at: Point
    name: str


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

    def shape(self, shape: shapely.Geometry) -> shapely.Geometry:
        """A shape of the machine on paper."""
        a, b = self.at((0.0, 0.0))

        def on_paper(xy: FloatArray) -> FloatArray:
            return np.column_stack((a + xy[:, 0] * self.scale, b - xy[:, 1] * self.scale))

        return shapely.transform(shape, on_paper)


def setup_drawing(cut_set: CutSet, milling_pass: MillingPass, title: str) -> str:
    """SVG of one pass: blank, clamps, zero, touch point, holes, props, with dimensions."""
    blank = cut_set.blank(milling_pass.blank).laminate
    clamps = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    rim = milling_pass.pose.shape(blank.outline or shapely.box(0, 0, *blank.size))
    signs = _signs(cut_set, milling_pass, blank)
    low, high = _extent(rim, clamps, signs)
    places = _sided(rim, clamps, signs, low, high)
    full = bool(milling_pass.verniers or milling_pass.registration)
    view = _view(low, high, places, HIGH if full else HIGHEST)
    shapes = [
        *_ground(cut_set, milling_pass, view, rim),
        *_held_areas(cut_set, milling_pass, view),
        *(shape for clamp in clamps for shape in _clamp(view, clamp)),
        *_dimensions(view, places),
        *(shape for sign in signs for shape in _sign(view.at(sign.at), sign)),
    ]
    foot = view.at(low)[1] + room(places["below"])
    kinds = {sign.kind for sign in signs} | {"travel"} | ({"clamp"} if clamps else set())
    if _strips(cut_set):
        kinds.add("strip")
    if _room(milling_pass):
        kinds.add("room")
    key, whole = _key(kinds, foot)
    words = f"Setup of {title}: blank, clamps, work zero, touch point and holes with dimensions"
    return svg(Scene((WIDE, whole), words, (*shapes, *key)), inline=True)


def _signs(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[Sign]:
    pose, pins = milling_pass.pose, on_pins(cut_set)

    def used(hole: RegistrationHole) -> str:
        if hole.role == "witness":
            return "check"
        return "pin" if pins else "hole"

    over = overhangs(pose, blank, cut_set.machine.travel)
    return [
        *(Sign("prop", overhang.prop, "") for overhang in over),
        *(
            Sign("drilled", pose.point(hole.blank), plain(hole.id, 8))
            for hole in drilled_now(cut_set, milling_pass)
        ),
        *(Sign(used(h), h.machine, plain(h.id, 8)) for h in milling_pass.registration),
        Sign("zero", (0.0, 0.0), ""),
        Sign("touch", milling_pass.touch, ""),
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
        (sign.at, "Z" if sign.kind == "touch" else sign.name)
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
    cut_set: CutSet, milling_pass: MillingPass, view: View, rim: shapely.Polygon
) -> list[Shape]:
    """The blank, its boards and their copper, the machine's travel as far as it is seen."""
    pose = milling_pass.pose
    on = cut_set.blank(milling_pass.blank).placements
    copper = [
        shapely.simplify(view.shape(pose.shape(p.pose.shape(piece.shape))), 0.15)
        for p in on
        for piece in p.board.pieces
    ]
    edges = [view.shape(pose.shape(p.pose.shape(p.board.outline))) for p in on]
    margin = 2.0 / view.scale
    seen = shapely.box(*view.low, *view.high).buffer(margin, join_style="mitre")
    frame = cut_set.machine.travel.shape.exterior
    runs = shapely.get_parts(shapely.line_merge(frame.intersection(seen)))
    lines = [shapely.get_coordinates(view.shape(run)) for run in runs if run.length > 0]
    return [
        Area((view.shape(rim),), "laminate", "ink", 0.4),
        Area(tuple(copper), "copper"),
        Area(tuple(edges), None, "quiet", 0.2),
        Line(tuple(lines), 0.25, "ink", TRAVEL_DASH),
    ]


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
    box = clamp.box
    block = view.shape(box.shape)
    x, y = view.at(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
    return [
        Area((block,), "clamp", "ink", 0.25),
        Text((x, y + 0.85), number(clamp.height), 2.3, anchor="middle", halo=0.5),
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


def _sign(at: Point, sign: Sign) -> list[Shape]:
    """The sign of something, its name next to it."""
    x, y = at
    shapes: list[Shape]
    if sign.kind == "zero":
        shapes = [Circle((at,), 1.7, "paper", "ink", THIN), _cross(at, 3.0)]
    elif sign.kind == "touch":
        peak = shapely.Polygon([(x, y), (x - 1.4, y - 2.4), (x + 1.4, y - 2.4)])
        shapes = [Area((peak,), "paper", "ink", THIN)]
    elif sign.kind == "prop":
        block = shapely.Polygon([(x, y - 1.3), (x - 1.6, y + 1.5), (x + 1.6, y + 1.5)])
        shapes = [Area((block,), "ink")]
    elif sign.kind == "check":
        slants = [np.array([(x - 1.3, y - 1.3), (x + 1.3, y + 1.3)]),
                  np.array([(x - 1.3, y + 1.3), (x + 1.3, y - 1.3)])]  # fmt: skip
        shapes = [Line(tuple(slants), THIN, "ink")]
    else:
        shapes = [Circle((at,), 1.1, "ink" if sign.kind == "pin" else "paper", "ink", THIN)]
        if sign.kind == "drilled":
            shapes.append(_cross(at, 1.8))
    if sign.name:
        shapes.append(Text((x + 1.8, y - 0.9), sign.name, SIZE, bold=True, halo=0.6))
    return shapes


def _cross(at: Point, reach: float) -> Line:
    """An upright cross."""
    x, y = at
    bars: list[FloatArray] = [
        np.array([(x - reach, y), (x + reach, y)]),
        np.array([(x, y - reach), (x, y + reach)]),
    ]
    return Line(tuple(bars), THIN, "ink")


def _key(kinds: Collection[str], high: float) -> tuple[list[Shape], float]:
    """What the signs mean, below the drawing, and how high both are."""
    parts: list[Shape] = []
    x, y = 3.0, high + 2.5
    for kind, words in SIGN_WORDS.items():
        if kind not in kinds:
            continue
        long = 5.5 + width_of(words, SIZE) * NARROWER + 3.0
        if x + long > WIDE and x > 3.0:
            x, y = 3.0, y + ROW
        parts += _key_sign(kind, (x, y))
        parts.append(Text((x + 5.5, y + 0.9), words, SIZE))
        x += long
    words = "Dimensions in mm from the work zero, as the display shows them"
    y = y if x + width_of(words, SIZE) * NARROWER < WIDE else y + ROW
    parts.append(Text((WIDE - 1.0, y + 0.9), words, SIZE, anchor="end"))
    return parts, y + ROW / 2 + 0.5


def _key_sign(kind: str, at: Point) -> list[Shape]:
    """The sign of a row of the key, its left end at a place."""
    x, y = at
    if kind == "clamp":
        return [Area((shapely.box(x, y - 1.5, x + 4, y + 1.5),), "clamp", "ink", 0.25)]
    if kind in ("strip", "room"):
        role, dash = AREA_STYLES[kind]
        return [Area((shapely.box(x, y - 1.3, x + 4, y + 1.3),), None, role, THIN, dash)]
    if kind == "travel":
        line = np.array([(x - 0.5, y), (x + 4.5, y)])
        return [Line((line,), 0.25, "ink", TRAVEL_DASH)]
    return _sign((x + 2.0, y + (1.2 if kind == "touch" else 0.0)), Sign(kind, (0.0, 0.0), ""))
