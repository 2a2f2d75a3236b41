"""Aperture macros: their expressions and primitives (Gerber layer format specification, "AM")."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.drawing.gerber.statements import Statement
from millprep.drawing.marks.mark import rim
from millprep.geometry.path import FloatArray

MOST_PARTS = 2_000
"""Primitives of one macro, and corners of one of them, beyond which it is refused."""
DEEPEST = 40
"""Brackets within each other beyond which an expression is refused."""

_COMMENT = re.compile(r"\s*0(?!\d)")
_TOKEN = re.compile(r"\s*(\d+\.?\d*|\.\d+|\$\d+|[-+xX/()])")


@dataclass(frozen=True, slots=True)
class Macro:
    """A macro as it is written: its name, and its primitives and assignments."""

    name: str
    parts: list[Statement]

    def area(self, values: Sequence[float], mm: float, sagitta: float) -> shapely.Geometry:
        """What it draws with these values for $1, $2, …, about its origin.

        Args:
            values: in the unit of the file.
            mm: length of that unit.
            sagitta: of curves, mm.

        Raises:
            UnreadableError: when a primitive is wrong, at its line.
        """
        known = dict(enumerate(values, 1))
        drawn: list[tuple[bool, shapely.Geometry]] = []
        for part in self.parts:
            text = part.text
            if not text or _COMMENT.match(text):
                continue
            if text.startswith("$"):
                name, equals, formula = text.partition("=")
                if not equals or not name[1:].strip().isdigit():
                    raise part.fault("is no assignment; one is written $4=$1x0.5")
                known[int(name[1:])] = value_of(formula, known, part)
                continue
            head, *rest = [value_of(field, known, part) for field in text.split(",")]
            drawn.append(_primitive(int(head), rest, mm, sagitta, part))
            if len(drawn) > MOST_PARTS:
                raise part.fault(f"the macro has more than {MOST_PARTS} primitives")
        return _painted(drawn)


def _painted(drawn: Sequence[tuple[bool, shapely.Geometry]]) -> shapely.Geometry:
    """Primitives on top of each other in their order; exposure off takes away."""
    area: shapely.Geometry = shapely.Polygon()
    k = 0
    while k < len(drawn):
        dark = drawn[k][0]
        run = [drawn[k][1]]
        while k + len(run) < len(drawn) and drawn[k + len(run)][0] == dark:
            run.append(drawn[k + len(run)][1])
        k += len(run)
        area = (
            shapely.union_all([area, *run])
            if dark
            else shapely.difference(area, shapely.union_all(run))
        )
    return area


def value_of(text: str, known: dict[int, float], part: Statement) -> float:
    """The value of an expression: + - x / and brackets; a variable without a value is 0.

    Raises:
        UnreadableError: when it is no expression.
    """
    tokens: list[str] = []
    at = 0
    text = text.strip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise part.fault(f"{text!r} is no number and no expression")
        tokens.append(match[1])
        at = match.end()
    depth = 0
    for token in tokens:
        depth += (token == "(") - (token == ")")
        if depth > DEEPEST:
            raise part.fault(f"an expression has more than {DEEPEST} brackets within each other")
    try:
        value, end = _sum(tokens, 0, known)
    except ZeroDivisionError:
        raise part.fault(f"{text!r} divides by zero") from None
    except IndexError:
        end, value = -1, 0.0
    if end != len(tokens) or not math.isfinite(value):
        raise part.fault(f"{text!r} is no number and no expression")
    return value


def _sum(tokens: list[str], at: int, known: dict[int, float]) -> tuple[float, int]:
    value, at = _product(tokens, at, known)
    while at < len(tokens) and tokens[at] in "+-":
        more, end = _product(tokens, at + 1, known)
        value = value + more if tokens[at] == "+" else value - more
        at = end
    return value, at


def _product(tokens: list[str], at: int, known: dict[int, float]) -> tuple[float, int]:
    value, at = _factor(tokens, at, known)
    while at < len(tokens) and tokens[at] in "xX/":
        more, end = _factor(tokens, at + 1, known)
        value = value / more if tokens[at] == "/" else value * more
        at = end
    return value, at


def _factor(tokens: list[str], at: int, known: dict[int, float]) -> tuple[float, int]:
    sign = 1.0
    while tokens[at] in "+-":
        sign = -sign if tokens[at] == "-" else sign
        at += 1
    token = tokens[at]
    if token == "(":
        value, at = _sum(tokens, at + 1, known)
        if tokens[at] != ")":
            raise IndexError
        return sign * value, at + 1
    if token.startswith("$"):
        return sign * known.get(int(token[1:]), 0.0), at + 1
    if token[0] not in ".0123456789":
        raise IndexError
    return sign * float(token), at + 1


def _primitive(
    code: int, values: list[float], mm: float, sagitta: float, part: Statement
) -> tuple[bool, shapely.Geometry]:
    """Exposure and area of one primitive."""
    lowest, most = _COUNTS.get(code, (-1, -1))
    if lowest < 0:
        raise part.fault(f"there is no macro primitive {code}")
    if code == 4 and len(values) > 1:
        lowest = most = 2 * int(values[1]) + 5
    if not lowest <= len(values) <= most:
        raise part.fault(f"primitive {code} takes {lowest} values and has {len(values)}")
    if code in (6, 7):
        turn = values[-1]
        moire = code == 6
        shape = _moire(values, mm, sagitta, part) if moire else _thermal(values, mm, sagitta, part)
        return True, _turned(shape, turn)
    if values[0] not in (0, 1):
        raise part.fault(f"the exposure of primitive {code} is {values[0]:g}, neither 0 nor 1")
    turn = values[-1]
    if code == 1:
        turn = values[4] if len(values) == 5 else 0.0
        shape = disc(values[2] * mm, values[3] * mm, _size(values[1], part) * mm, sagitta)
    elif code in (2, 20):
        shape = _line(values[1:6], mm, part)
    elif code in (21, 22):
        wide, high, x, y = values[1:5]
        low = (x - wide / 2, y - high / 2) if code == 21 else (x, y)
        _size(wide, part), _size(high, part)
        shape = shapely.box(low[0] * mm, low[1] * mm, (low[0] + wide) * mm, (low[1] + high) * mm)
    elif code == 4:
        shape = _outline(values, mm, part)
    else:
        corners, x, y, size = int(values[1]), values[2], values[3], _size(values[4], part)
        if not 3 <= corners <= MOST_PARTS or corners != values[1]:
            raise part.fault(f"a polygon cannot have {values[1]:g} corners")
        shape = polygon(corners, size * mm, 0.0, (x * mm, y * mm))
    return values[0] == 1, _turned(shape, turn)


_COUNTS = {1: (4, 5), 2: (7, 7), 20: (7, 7), 21: (6, 6), 22: (6, 6), 4: (9, 9), 5: (6, 6),
           6: (9, 9), 7: (6, 6)}  # fmt: skip
"""How many values a primitive takes at least and at most; an outline's depend on its corners."""


def _size(value: float, part: Statement) -> float:
    if value < 0:
        raise part.fault(f"a size is {value:g}, below zero")
    return value


def disc(x: float, y: float, diameter: float, sagitta: float) -> shapely.Polygon:
    """A round area, every vertex on its rim; empty for no diameter."""
    if not diameter > 0:
        return shapely.Polygon()
    return shapely.Polygon(rim(diameter / 2, sagitta) + np.array((x, y)))


def polygon(
    corners: int, diameter: float, degrees: float, at: tuple[float, float] = (0.0, 0.0)
) -> shapely.Polygon:
    """A regular polygon within a circle, its first corner at an angle."""
    angle = math.radians(degrees) + np.arange(corners) * (2 * math.pi / corners)
    ring = diameter / 2 * np.column_stack((np.cos(angle), np.sin(angle))) + at
    return shapely.Polygon(ring) if diameter > 0 else shapely.Polygon()


def _turned(shape: shapely.Geometry, degrees: float) -> shapely.Geometry:
    """Turned counter-clockwise about the macro's origin; quarters are exact."""
    if degrees % 360 == 0:
        return shape
    quarter = {90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}.get(degrees % 360)
    angle = math.radians(degrees)
    cos, sin = quarter or (math.cos(angle), math.sin(angle))
    matrix = np.array([[cos, sin], [-sin, cos]])
    return shapely.transform(shape, lambda xy: xy @ matrix)


def _line(values: Sequence[float], mm: float, part: Statement) -> shapely.Geometry:
    """A line of a width with square ends that go no further."""
    width = _size(values[0], part) * mm
    start, end = np.array(values[1:3]) * mm, np.array(values[3:5]) * mm
    long = math.dist(start, end)
    if not long > 0 or not width > 0:
        return shapely.Polygon()
    side = np.array([start[1] - end[1], end[0] - start[0]]) * (width / 2 / long)
    return shapely.Polygon([start - side, end - side, end + side, start + side])


def _outline(values: Sequence[float], mm: float, part: Statement) -> shapely.Geometry:
    """A polygon given by its corners, the first of them again at the end."""
    ring: FloatArray = np.array(values[2:-1], dtype=float).reshape(-1, 2) * mm
    if len(ring) < 4 or len(ring) > MOST_PARTS:
        raise part.fault(f"an outline cannot have {len(ring) - 1} corners")
    if math.dist(ring[0], ring[-1]) > 1e-6:
        raise part.fault("the outline is not closed: its last corner is not its first")
    area = enclosed(ring)
    if area is None:
        raise part.fault("the outline crosses itself")
    return area


def enclosed(ring: FloatArray) -> shapely.Geometry | None:
    """The area within a closed line that may touch itself; None where it crosses itself.

    Cut-ins lead to a hole along a line that is gone twice, there and back: then what is enclosed
    an odd number of times is as large as the sum over the line's signed parts says.
    """
    single = shapely.Polygon(ring)
    if single.is_valid:
        return single
    whole = shapely.make_valid(single, method="linework")
    parts = [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"]
    if whole.geom_type == "GeometryCollection":
        parts = [p for part in shapely.get_parts(whole) for p in shapely.get_parts(part)
                 if p.geom_type == "Polygon"]  # fmt: skip
    area = shapely.union_all(parts)
    x, y = (ring - ring[0]).T
    signed = abs(float(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))) / 2
    # a rounded corner may cross its neighbour by a digit of the file
    slack = 1e-4 * float(np.hypot(*np.diff(ring, axis=0).T).sum()) + 1e-9
    return area if abs(area.area - signed) <= slack else None


def _moire(values: Sequence[float], mm: float, sagitta: float, part: Statement) -> shapely.Geometry:
    """Rings within each other, and a cross over them."""
    x, y = values[0] * mm, values[1] * mm
    outer, thick, gap, most, cross, long = (
        values[2] * mm, values[3] * mm, values[4] * mm, values[5], values[6] * mm, values[7] * mm,
    )  # fmt: skip
    for value in (*values[2:8],):
        _size(value, part)
    parts: list[shapely.Geometry] = []
    for _ in range(min(int(most), MOST_PARTS)):
        if not outer > 0:
            break
        inner = disc(x, y, outer - 2 * thick, sagitta)
        parts.append(shapely.difference(disc(x, y, outer, sagitta), inner))
        outer -= 2 * (thick + gap)
    parts.append(shapely.box(x - long / 2, y - cross / 2, x + long / 2, y + cross / 2))
    parts.append(shapely.box(x - cross / 2, y - long / 2, x + cross / 2, y + long / 2))
    return shapely.union_all(parts)


def _thermal(
    values: Sequence[float], mm: float, sagitta: float, part: Statement
) -> shapely.Geometry:
    """A ring with four gaps."""
    x, y = values[0] * mm, values[1] * mm
    outer, inner, gap = (_size(value, part) * mm for value in values[2:5])
    if not outer > inner:
        raise part.fault("the outer diameter of a thermal is not larger than the inner")
    whole = shapely.difference(disc(x, y, outer, sagitta), disc(x, y, inner, sagitta))
    wide = shapely.box(x - outer, y - gap / 2, x + outer, y + gap / 2)
    high = shapely.box(x - gap / 2, y - outer, x + gap / 2, y + outer)
    return shapely.difference(whole, shapely.union(wide, high))
