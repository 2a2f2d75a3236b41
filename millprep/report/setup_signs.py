"""Signs of the drawing of a setup, on paper in mm, and the key that says what they mean."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import FloatArray, Point
from millprep.report.fonts import width_of
from millprep.report.scene import Area, Circle, Line, Shape, Text, hatched

WIDE = 186.0
"""Of the drawing with its dimensions, mm on paper."""
ROW, SIZE = 4.6, 3.2
"""Height of a row of the key, and of its words and the names: 9 pt."""
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
