"""The set-up of a pass as a drawing with dimensions, for paper: what stands where on the machine.

It is drawn on paper in mm, 186 wide, and seen from above with the copper side up. Everything is
measured from the work zero.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from html import escape
from typing import TYPE_CHECKING

import numpy as np
import shapely

from millprep.model.overhang import overhangs
from millprep.report import svg
from millprep.report.bed import on_pins
from millprep.report.dimensions import Mark, Side, room, running
from millprep.report.palette import CLAMP, COPPER, INK, LAMINATE, PAPER, QUIET
from millprep.report.plan_words import say
from millprep.report.words import number, plain
from millprep.report.zero import drilled_now

if TYPE_CHECKING:
    from millprep.model.blank import Blank, Clamp
    from millprep.model.milling_pass import MillingPass, RegistrationHole
    from millprep.model.set_of_programs import CutSet

Point = tuple[float, float]
WIDE = 186.0
"""Of the drawing with its dimensions, mm on paper."""
HIGHEST, HIGH = 110.0, 68.0
"""Of the same; the second where the page holds readings as well."""
LARGEST = 1.0
"""Scale: small blanks are drawn in their true size."""
ROW, SIZE = 4.4, 2.5
"""Height of a row of the key, and of its words and the names."""


@dataclass(frozen=True, slots=True)
class Sign:
    """Something with a place of its own on the machine; `kind` says how it is drawn."""

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

    def shape(self, one: shapely.Geometry) -> shapely.Geometry:
        """A shape of the machine on paper."""
        a, b = self.at((0.0, 0.0))
        return shapely.transform(
            one, lambda xy: np.column_stack([a + xy[:, 0] * self.scale, b - xy[:, 1] * self.scale])
        )


def setup_drawing(cut_set: CutSet, milling_pass: MillingPass, title: str) -> str:
    """SVG of one pass: blank, clamps, zero, touch point, holes, props, with dimensions."""
    blank = next(b for b in cut_set.layout.blanks if b.number == milling_pass.blank)
    clamps = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    rim = milling_pass.pose.shape(blank.outline or shapely.box(0, 0, *blank.size))
    signs = _signs(cut_set, milling_pass, blank)
    low, high = _extent(rim, clamps, signs)
    places = _sided(rim, clamps, signs, low, high)
    full = bool(milling_pass.verniers or milling_pass.registration)
    view = _view(low, high, places, HIGH if full else HIGHEST)
    drawn = [
        _ground(cut_set, milling_pass, view, rim),
        *(_clamp(view, clamp) for clamp in clamps),
        _dimensions(view, places),
        *(_sign(view.at(sign.at), sign) for sign in signs),
    ]
    foot = view.at(low)[1] + room(places["below"])
    key, whole = _key(signs, bool(clamps), foot)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {svg.figure(WIDE)} '
        f'{svg.figure(whole)}"><title>{escape(say("drawing", title=title))}</title>'
        + "".join(drawn)
        + key
        + "</svg>"
    )


def _signs(cut_set: CutSet, milling_pass: MillingPass, blank: Blank) -> list[Sign]:
    pose, pins = milling_pass.pose, on_pins(cut_set)

    def used(hole: RegistrationHole) -> str:
        if hole.role == "witness":
            return "look"
        return "pin" if pins else "hole"

    found = [Sign("prop", one.prop, "") for one in overhangs(pose, blank, cut_set.machine.travel)]
    found += [
        Sign("drilled", pose.point(hole.blank), plain(hole.id, 8))
        for hole in drilled_now(cut_set, milling_pass)
    ]
    found += [Sign(used(h), h.machine, plain(h.id, 8)) for h in milling_pass.registration]
    found.append(Sign("zero", (0.0, 0.0), ""))
    return [*found, Sign("touch", milling_pass.touch, "")]


def _extent(
    rim: shapely.Polygon, clamps: list[Clamp], signs: list[Sign]
) -> tuple[Point, Point]:
    """Low and high corner of all that is drawn, on the machine."""
    boxes = [rim.bounds, *((c.box.x0, c.box.y0, c.box.x1, c.box.y1) for c in clamps)]
    boxes += [(*sign.at, *sign.at) for sign in signs]
    x0, y0 = (min(box[k] for box in boxes) for k in (0, 1))
    x1, y1 = (max(box[k] for box in boxes) for k in (2, 3))
    return (x0, y0), (max(x1, x0 + 1.0), max(y1, y0 + 1.0))


def _sided(
    rim: shapely.Polygon, clamps: list[Clamp], signs: list[Sign], low: Point, high: Point
) -> dict[str, list[Mark]]:
    """What is measured, each on the nearer of two sides.

    An unnamed figure that stands on one side already is left out on the other.
    """
    x0, y0, x1, y1 = rim.bounds
    corners = [(x0, y0), (x1, y1)]
    corners += [at for c in clamps for at in ((c.box.x0, c.box.y0), (c.box.x1, c.box.y1))]
    places = [(at, "") for at in corners]
    places += [
        (sign.at, say("drawing.z") if sign.kind == "touch" else sign.name)
        for sign in signs
        if sign.kind != "zero"
    ]
    marks: dict[str, list[Mark]] = {"below": [], "above": [], "left": [], "right": []}
    for at, name in places:
        marks["below" if at[1] * 2 <= low[1] + high[1] else "above"].append(Mark(at[0], at, name))
        marks["left" if at[0] * 2 <= low[0] + high[0] else "right"].append(Mark(at[1], at, name))
    for one, other in (("below", "above"), ("left", "right")):
        known = {number(mark.value, 3) for mark in marks[one]}
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
) -> str:
    """The blank, its boards and their copper, the machine's travel as far as it is seen."""
    pose, travel = milling_pass.pose, cut_set.machine.travel
    on = cut_set.layout.on(milling_pass.blank)
    copper = [
        shapely.simplify(view.shape(pose.shape(p.pose.shape(piece.shape))), 0.15)
        for p in on
        for piece in p.board.pieces
    ]
    edges = [view.shape(pose.shape(p.pose.shape(p.board.outline))) for p in on]
    parts = [
        svg.areas([view.shape(rim)], fill=LAMINATE, stroke=INK, stroke_width="0.4"),
        svg.areas(copper, fill=COPPER),
        svg.areas(edges, fill="none", stroke=QUIET, stroke_width="0.2"),
    ]
    margin = 2.0 / view.scale
    seen = shapely.box(*view.low, *view.high).buffer(margin, join_style="mitre")
    frame = shapely.box(travel.x0, travel.y0, travel.x1, travel.y1).exterior
    for run in shapely.get_parts(shapely.line_merge(frame.intersection(seen))):
        points = [view.at((x, y)) for x, y in shapely.get_coordinates(run).tolist()]
        if len(points) > 1:
            parts.append(
                svg.chain(
                    points, fill="none", stroke=INK, stroke_width="0.25", stroke_dasharray="2.4 1.2"
                )
            )
    return "".join(parts)


def _clamp(view: View, clamp: Clamp) -> str:
    box = clamp.box
    (x0, y1), (x1, y0) = view.at((box.x0, box.y0)), view.at((box.x1, box.y1))
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    middle = ((x0 + x1) / 2, (y0 + y1) / 2 + 0.85)
    return svg.chain(corners, closed=True, fill=CLAMP, stroke=INK, stroke_width="0.25") + svg.text(
        middle, number(clamp.height), size=2.3, text_anchor="middle", fill=INK, stroke=PAPER,
        stroke_width="0.5", paint_order="stroke",
    )  # fmt: skip


def _dimensions(view: View, places: dict[str, list[Mark]]) -> str:
    """The dimension lines on all four sides."""
    (left, bottom), (right, top), zero = (view.at(p) for p in (view.low, view.high, (0.0, 0.0)))
    sides = {
        "below": Side(0, bottom, 1), "above": Side(0, top, -1),
        "left": Side(1, left, -1), "right": Side(1, right, 1),
    }  # fmt: skip
    return "".join(
        running(side, zero[side.across], [replace(m, at=view.at(m.at)) for m in places[name]])
        for name, side in sides.items()
    )


def _sign(at: Point, sign: Sign) -> str:
    """The sign of something, its name beside it."""
    x, y = at
    thin = {"stroke": INK, "stroke_width": "0.3"}
    if sign.kind == "zero":
        cross = [svg.line((x - 3, y), (x + 3, y), **thin), svg.line((x, y - 3), (x, y + 3), **thin)]
        return svg.circle(at, 1.7, fill=PAPER, **thin) + "".join(cross)
    if sign.kind == "touch":
        peak = [(x, y), (x - 1.4, y - 2.4), (x + 1.4, y - 2.4)]
        return svg.chain(peak, closed=True, fill=PAPER, **thin)
    if sign.kind == "prop":
        foot = [(x, y - 1.3), (x - 1.6, y + 1.5), (x + 1.6, y + 1.5)]
        return svg.chain(foot, closed=True, fill=INK)
    if sign.kind == "look":
        shape = svg.line((x - 1.3, y - 1.3), (x + 1.3, y + 1.3), **thin)
        shape += svg.line((x - 1.3, y + 1.3), (x + 1.3, y - 1.3), **thin)
    else:
        shape = svg.circle(at, 1.1, fill=INK if sign.kind == "pin" else PAPER, **thin)
        if sign.kind == "drilled":
            shape += svg.line((x - 1.8, y), (x + 1.8, y), **thin)
            shape += svg.line((x, y - 1.8), (x, y + 1.8), **thin)
    return shape + svg.text(
        (x + 1.8, y - 0.9), sign.name, size=SIZE, fill=INK, font_weight="bold", stroke=PAPER,
        stroke_width="0.6", paint_order="stroke",
    )  # fmt: skip


def _key(signs: Iterable[Sign], clamps: bool, high: float) -> tuple[str, float]:
    """What the signs mean, below the drawing, and how high both are."""
    kinds = list(dict.fromkeys(sign.kind for sign in signs))
    order = ["zero", "touch", "drilled", "pin", "hole", "look", "prop"]
    shown = [kind for kind in order if kind in kinds] + (["clamp"] if clamps else []) + ["travel"]
    parts: list[str] = []
    x, y = 3.0, high + 2.5
    for kind in shown:
        words = say(f"drawing.{kind}")
        long = 5.5 + len(words) * SIZE * svg.NARROW_LETTER + 3.0
        if x + long > WIDE and x > 3.0:
            x, y = 3.0, y + ROW
        at = (x + 2.0, y)
        if kind == "clamp":
            box = [(x, y - 1.5), (x + 4, y - 1.5), (x + 4, y + 1.5), (x, y + 1.5)]
            parts.append(svg.chain(box, closed=True, fill=CLAMP, stroke=INK, stroke_width="0.25"))
        elif kind == "travel":
            parts.append(
                svg.line((x - 0.5, y), (x + 4.5, y), stroke=INK, stroke_width="0.25",
                         stroke_dasharray="2.4 1.2")
            )  # fmt: skip
        else:
            foot = (at[0], y + 1.2) if kind == "touch" else at
            parts.append(_sign(foot, Sign(kind, (0.0, 0.0), "")))
        parts.append(svg.text((x + 5.5, y + 0.9), words, size=SIZE, fill=INK))
        x += long
    long = len(words := say("drawing.scale")) * SIZE * svg.NARROW_LETTER
    y = y if x + long < WIDE else y + ROW
    parts.append(
        svg.text((WIDE - 1.0, y + 0.9), words, size=SIZE, fill=INK, text_anchor="end")
    )
    return "".join(parts), y + ROW / 2 + 0.5
