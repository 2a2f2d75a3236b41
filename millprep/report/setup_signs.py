"""Signs, dimensions and key of the drawing of a setup, on paper in mm, and of a vernier.

Running dimensions are one line from a common origin, with an arrow and a figure at every place, as
in ISO 129-1 (from memory): the origin is a small circle, all arrows lead away from it, figures are
at the ends of their extension lines.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity

from millprep.geometry.path import FloatArray, Point
from millprep.model.milling_pass import Vernier
from millprep.report.scene import Area, Circle, Line, Scene, Shape, Text, hatched, width_of
from millprep.report.svg import svg
from millprep.report.words import number

WIDE = 186.0
"""Of the drawing with its dimensions, mm on paper."""
ROW, SIZE = 4.6, 3.2
"""Height of a row of the key, and of its words, the names and the figures: 9 pt."""
THIN = 0.3
TRAVEL_DASH = (2.4, 1.2)
NARROWER = 0.9
"""Width of the sheet's fonts in widths of the one that words are measured in."""
CLAMP_LINES = 0.2
"""Of a clamp's hatch, a point of it, mm."""
AREA_STYLES: dict[str, tuple[str, tuple[float, ...]]] = {
    "strip": ("ink", (1.2, 0.8)),
    "room": ("quiet", (0.4, 0.5)),
}
"""Colour and dashes of areas that hold or may hold the blank."""
ROOM = 3.5
"""Between figures side by side."""
OFF = 2.5
"""From the drawing to the dimension line."""
JOG = 3.0
"""From the dimension line to its figures."""
ARROW = (1.5, 0.45)
DIMENSION, EXTENSION = 0.18, 0.1
"""Widths of a dimension line and of the lines that lead to it, mm on paper."""
SIGN_WORDS = {
    "zero": "work zero",
    "touch": "Z touch point",
    "drilled": "hole made now",
    "pin": "pin",
    "hole": "hole to find",
    "slot": "slot, drawn longer",
    "check": "check cross",
    "engraved": "check cross made now",
    "edge": "check the angle here",
    "prop": "support the blank",
    "clamp": "clamp, its height",
    "strip": "tape or vacuum",
    "room": "room for more clamps",
    "travel": "machine travel",
    "now": "cut in this pass",
}
"""What can be in the drawing, in the order of the key."""


@dataclass(frozen=True, slots=True)
class Sign:
    """Something with a place of its own on the machine.

    Attributes:
        kind: a key of `SIGN_WORDS`.
        way: unit vector along a slot; None for what is round.
    """

    kind: str
    at: Point
    name: str
    way: Point | None = None


def sign_shapes(at: Point, sign: Sign) -> list[Shape]:
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
    elif sign.kind == "edge":
        peaks = [(x, y - 1.8), (x + 1.2, y), (x, y + 1.8), (x - 1.2, y)]
        shapes = [Area((shapely.Polygon(peaks),), "paper", "ink", THIN)]
    elif sign.kind in ("check", "engraved"):
        slants = [np.array([(x - 1.3, y - 1.3), (x + 1.3, y + 1.3)]),
                  np.array([(x - 1.3, y + 1.3), (x + 1.3, y - 1.3)])]  # fmt: skip
        shapes = [Line(tuple(slants), THIN, "ink")]
    else:
        ground = "ink" if sign.kind == "pin" else "paper"
        shapes = [Circle((at,), 1.1, ground, "ink", THIN)]
        if sign.way is not None:
            # y runs down on paper
            dx, dy = 1.1 * sign.way[0], -1.1 * sign.way[1]
            line = shapely.LineString([(x - dx, y - dy), (x + dx, y + dy)])
            shapes = [Area((line.buffer(1.1),), "paper", "ink", THIN)]
            if sign.kind == "pin":
                shapes.append(Circle((at,), 0.9, "ink"))
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


def key_of(kinds: Collection[str], high: float) -> tuple[list[Shape], float]:
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
        parts.append(Text((x + 5.5, y + 1.1), words, SIZE))
        x += long
    words = "mm from the work zero"
    y = y if x + width_of(words, SIZE) * NARROWER < WIDE else y + ROW
    parts.append(Text((WIDE - 1.0, y + 1.1), words, SIZE, anchor="end"))
    return parts, y + ROW / 2 + 0.5


def _key_sign(kind: str, at: Point) -> list[Shape]:
    """The sign of a row of the key, its left end at a place."""
    x, y = at
    if kind == "clamp":
        box = shapely.box(x, y - 1.5, x + 4, y + 1.5)
        return [Area((box,), "paper", "ink", 0.25), *hatched([box], "\\", "ink", CLAMP_LINES)]
    if kind == "now":
        line = np.array([(x - 0.5, y), (x + 4.5, y)])
        return [Line((line,), 0.6, "ink")]
    if kind in ("strip", "room"):
        role, dash = AREA_STYLES[kind]
        return [Area((shapely.box(x, y - 1.3, x + 4, y + 1.3),), None, role, THIN, dash)]
    if kind == "travel":
        line = np.array([(x - 0.5, y), (x + 4.5, y)])
        return [Line((line,), 0.25, "ink", TRAVEL_DASH)]
    way = (1.0, 0.0) if kind == "slot" else None
    middle = (x + 2.0, y + (1.2 if kind == "touch" else 0.0))
    return sign_shapes(middle, Sign(kind, (0.0, 0.0), "", way))


@dataclass(frozen=True, slots=True)
class Mark:
    """A place to be measured: coordinate on the machine, mm; where it is on paper; its name."""

    value: float
    at: Point
    name: str = ""


@dataclass(frozen=True, slots=True)
class Side:
    """A side of the drawing that carries a dimension line.

    Attributes:
        across: 0 where the line runs along x, 1 along y.
        edge: where the drawing ends on this side, on paper.
        out: 1 or -1, the way out of the drawing on paper.
    """

    across: int
    edge: float
    out: int


def room(marks: Sequence[Mark]) -> float:
    """What a dimension line needs outside the drawing, mm on paper."""
    names: dict[str, dict[str, None]] = {}
    for mark in marks:
        at_value = names.setdefault(number(mark.value, 3), {})
        if mark.name:
            at_value[mark.name] = None
    figures = [" ".join([value, *at_value]) for value, at_value in names.items()]
    longest = max((width_of(figure, SIZE) for figure in figures), default=0.0)
    return OFF + JOG + 1.5 + longest if figures else 3.0


def running(side: Side, origin: float, marks: Sequence[Mark]) -> list[Shape]:
    """The dimension line of one side; nothing without marks.

    Args:
        side: where it is.
        origin: of the zero, along the line, on paper.
        marks: in any order; those of the same figure share one arrow.
    """
    groups: dict[str, list[Mark]] = {}
    for mark in marks:
        groups.setdefault(number(mark.value, 3), []).append(mark)
    if not groups:
        return []
    here = sorted(groups.items(), key=lambda entry: _along(side, entry[1][0]))
    places = spread([_along(side, group[0]) for _, group in here], ROOM)
    base = side.edge + side.out * OFF
    ends = [origin, *(_along(side, group[0]) for _, group in here)]
    line = np.array([_at(side, min(ends), base), _at(side, max(ends), base)])
    parts: list[Shape] = [
        Line((line,), DIMENSION, "ink"),
        Circle((_at(side, origin, base),), 0.8, "paper", "ink", DIMENSION),
    ]
    for (value, group), place in zip(here, places, strict=True):
        along = _along(side, group[0])
        # to the place that lies deepest in the drawing
        deep = min((mark.at[1 - side.across] for mark in group), key=lambda v: v * side.out)
        foot, figure = base + side.out * 1.2, base + side.out * JOG
        leader = [_at(side, along, deep), _at(side, along, foot), _at(side, place, figure)]
        parts.append(Line((np.array(leader),), EXTENSION, "quiet"))
        if abs(along - origin) > ARROW[0]:
            parts.append(_arrow(side, along, base, 1 if along > origin else -1))
        names = " ".join(dict.fromkeys(mark.name for mark in group if mark.name))
        parts.append(_figure(side, place, figure + side.out * 0.4, f"{value} {names}".strip()))
    return parts


def spread(places: Sequence[float], room: float) -> list[float]:
    """Sorted places moved as little as can be so that neighbours are `room` apart.

    Neighbours that are too near become a cluster about their common centre (pooling of
    adjacent violators, as in isotonic regression).
    """
    clusters: list[tuple[float, int]] = []  # centre of what was wanted less its part of the room
    for k, place in enumerate(places):
        centre, count = place - k * room, 1
        while clusters and clusters[-1][0] > centre:
            before, many = clusters.pop()
            centre = (centre * count + before * many) / (count + many)
            count += many
        clusters.append((centre, count))
    spaced: list[float] = []
    for centre, count in clusters:
        spaced += [centre + (len(spaced) + k) * room for k in range(count)]
    return spaced


def _along(side: Side, mark: Mark) -> float:
    return mark.at[side.across]


def _at(side: Side, along: float, away: float) -> Point:
    return (along, away) if side.across == 0 else (away, along)


def _arrow(side: Side, along: float, base: float, way: int) -> Shape:
    long, half = ARROW
    tip, back = _at(side, along, base), along - way * long
    tail = [_at(side, back, base - half), _at(side, back, base + half)]
    return Area((shapely.Polygon([tip, *tail]),), "ink")


def _figure(side: Side, place: float, away: float, words: str) -> Shape:
    """The figure, read from below or from the right."""
    sink = SIZE * 0.36
    if side.across == 0:
        at = (place + sink, away)
        return Text(at, words, SIZE, anchor="end" if side.out > 0 else "start", turn=-90.0)
    return Text((away, place + sink), words, SIZE, anchor="start" if side.out > 0 else "end")


EXAMPLE = 3
"""The line that runs straight through in the drawing."""
_PITCH, _STEP, _LINE, _LONGER, _VERNIER_SIZE = 13.0, 1.3, 16.0, 6.0, 17.0
"""Of the drawing, in its own units: the step is drawn five times too large, to be seen."""


def vernier_drawing(vernier: Vernier) -> str:
    """SVG of a vernier along x in which line `EXAMPLE` runs straight through."""
    reach = vernier.reach
    shift = EXAMPLE * _STEP
    centre, middle = reach * _PITCH + 66, _LINE + 8
    low_lines, high_lines = [], []
    shapes: list[Shape] = []
    for i in range(-reach, reach + 1):
        long = _LINE + _LONGER * (2 if i == 0 else int(i % 5 == 0))
        x = centre + i * _PITCH
        low_lines.append(np.array([(x, middle), (x, middle + long)]))
        u = centre + i * (_PITCH - _STEP) + shift
        high_lines.append(np.array([(u, middle), (u, middle - _LINE)]))
        if i % 5 == 0:
            shapes.append(Text((x, middle + long + 15), number(i), _VERNIER_SIZE, anchor="middle"))
    plus_x, plus_y = centre + reach * _PITCH - 4, middle + _LINE + _LONGER + 26
    low_lines += [
        np.array([(plus_x - 4, plus_y), (plus_x + 4, plus_y)]),
        np.array([(plus_x, plus_y - 4), (plus_x, plus_y + 4)]),
    ]
    at = centre + EXAMPLE * _PITCH
    rim = shapely.affinity.scale(shapely.Point(at, middle).buffer(1.0), 5.0, _LINE + 4)
    first, second = (f"pass {nth}" for nth in vernier.passes)
    shapes += [
        Line(tuple(low_lines), 1.6, "ink"),
        Line(tuple(high_lines), 1.6, "cutter 1"),
        Area((rim,), None, "ink", 1.2),
        Text((2.0, middle + _LINE + 2), first, _VERNIER_SIZE),
        Text((2.0, middle - 4), second, _VERNIER_SIZE),
    ]
    size = (centre * 2, middle + _LINE + 3 * _LONGER + 28)
    words = f"Two combs of lines that meet; line {EXAMPLE} runs straight through both"
    return svg(Scene(size, words, tuple(shapes)), inline=True)
