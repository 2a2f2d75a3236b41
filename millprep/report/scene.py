"""A picture as data: a page in mm, y down, and the shapes on it, hatches and signs among them.

Every picture is described once in these shapes. `svg` writes it, and `png` rasterises what `svg`
wrote. A role names what a shape is; the palette has its colour. Words are in DejaVu Sans, which is
part of the package, so that pictures are the same on every machine.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray, Point
from millprep.report.palette import COLOURS

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""
Dash = tuple[float, ...]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class _Coloured:
    """A shape whose `role`, and `edge` if it has one, name colours of the palette.

    Raises:
        ValueError: for a role without a colour.
    """

    def __post_init__(self) -> None:
        for role in (getattr(self, name, None) for name in ("role", "edge")):
            if role is not None and role not in COLOURS:
                raise ValueError(f"no colour for {role!r}")


@dataclass(frozen=True, slots=True)
class Area(_Coloured):
    """Polygons, their holes left empty; `edge` is drawn `width` mm wide."""

    shapes: tuple[shapely.Geometry, ...]
    role: str | None
    edge: str | None = None
    width: float = 0.0
    dash: Dash = ()
    title: str = ""


@dataclass(frozen=True, slots=True)
class WideLine(_Coloured):
    """What a round cutter of this width leaves along (n, 2) lines."""

    lines: tuple[FloatArray, ...]
    width: float
    role: str


@dataclass(frozen=True, slots=True)
class Line(_Coloured):
    """(n, 2) lines whose width means nothing."""

    lines: tuple[FloatArray, ...]
    width: float
    role: str
    dash: Dash = ()


@dataclass(frozen=True, slots=True)
class Circle(_Coloured):
    """Circles of one radius."""

    centres: tuple[Point, ...]
    radius: float
    role: str | None
    edge: str | None = None
    width: float = 0.0


@dataclass(frozen=True, slots=True)
class Text(_Coloured):
    """Words from a point of their base line on, turned about it by `turn` degrees clockwise.

    `size` is the font's, mm. With a `halo` they have an outline of paper so wide, so that they
    can be read on anything.
    """

    at: Point
    words: str
    size: float
    role: str = "ink"
    anchor: Anchor = "start"
    turn: float = 0.0
    bold: bool = False
    halo: float = 0.0


@dataclass(frozen=True, slots=True)
class Flag(_Coloured):
    """Words centred in a box of their own, paper on ink, or ink on paper that is seen through."""

    box: Box
    words: str
    size: float
    role: Literal["ink", "paper"] = "ink"
    bold: bool = True


Shape = Area | WideLine | Line | Circle | Text | Flag


@dataclass(frozen=True, slots=True)
class Scene:
    """A picture: its page's width and height in mm, what it is called, and what is on it.

    Raises:
        ValueError: for a page without area.
    """

    size: tuple[float, float]
    title: str
    shapes: tuple[Shape, ...]

    def __post_init__(self) -> None:
        if not (self.size[0] > 0 and self.size[1] > 0):
            raise ValueError(f"a page of {self.size} has no area")

    def words(self) -> list[str]:
        """All words on the page, in the order in which they are drawn."""
        return [shape.words for shape in self.shapes if isinstance(shape, Text | Flag)]


def coarser(shapes: NDArray[np.object_], tolerance: float) -> NDArray[np.object_]:
    """Shapes without vertices that nobody sees; one that would be lost stays."""
    fewer: Any = shapely.simplify(shapes, tolerance, preserve_topology=False)
    return np.where(shapely.is_empty(fewer), shapes, fewer)


def hatched(
    shapes: Sequence[shapely.Geometry], kind: str, role: str, point: float
) -> tuple[Shape, ...]:
    """Slanted lines over shapes of the page: rising for `/`, falling, or both for `x`."""
    step = 4.5 * point * math.sqrt(2)
    ways = [way for way, kinds in ((-1, "/x"), (1, "\\x")) if kind in kinds]
    lines = [line for way in ways for line in _slanted(shapes, way, step)]
    return (Line(tuple(lines), 0.7 * point, role),) if lines else ()


def _slanted(shapes: Sequence[shapely.Geometry], way: int, step: float) -> FloatArray:
    """What of the lines x = way·y + n·step is within each shape, as (n, 2, 2) ends.

    The lines are counted from the page's corner, so those of neighbours fit. Where an edge crosses
    one, a shape begins or ends on it.
    """
    parts, shape_of = shapely.get_parts(np.array(shapes, dtype=object), return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    xy, ring_of = shapely.get_coordinates(rings, return_index=True)
    nth = (xy[:, 0] - way * xy[:, 1]) / step
    a = np.flatnonzero(ring_of[:-1] == ring_of[1:])
    # a line through a vertex crosses one of its two edges, or both, or neither
    first = np.ceil(np.minimum(nth[a], nth[a + 1]))
    count = (np.ceil(np.maximum(nth[a], nth[a + 1])) - first).astype(int)
    a = np.repeat(a, count)
    n = np.repeat(first - np.cumsum(count) + count, count) + np.arange(len(a))
    y = xy[a, 1] + (n - nth[a]) / (nth[a + 1] - nth[a]) * (xy[a + 1, 1] - xy[a, 1])
    order = np.lexsort((y, n, shape_of[part_of[ring_of[a]]]))
    ends: FloatArray = np.column_stack((way * y + n * step, y))[order].reshape(-1, 2, 2)
    return ends[ends[:, 0, 1] < ends[:, 1, 1]]


_PLUS = ((1, 3), (-1, 3), (-1, 1), (-3, 1), (-3, -1), (-1, -1), (-1, -3), (1, -3), (1, -1),
         (3, -1), (3, 1), (1, 1))  # fmt: skip
_SIGNS: dict[str, FloatArray] = {
    "plus": np.array(_PLUS) / 3.0,
    "cross": np.array([(x - y, x + y) for x, y in _PLUS]) / 4.0,
    "triangle": np.array([(-1.0, -1.0), (1.0, -1.0), (0.0, 1.0)]),
    "diamond": np.array([(0.0, -1.4), (1.4, 0.0), (0.0, 1.4), (-1.4, 0.0)]),
    "square": np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]),
}
"""Outlines of signs, y down, about a square of half side 1."""


def sign(kind: str, at: Sequence[Point], size: float, edge: float) -> tuple[Shape, ...]:
    """Signs of a size on the page, ink on paper so that they show on any colour."""
    if kind == "dot":
        return (Circle(tuple(at), size / 3, "ink", "paper", edge / 2),)
    if kind == "circle":
        return (Circle(tuple(at), size / 2, "paper", "ink", edge),)
    if kind == "target":
        return (*sign("circle", at, size, edge), *sign("plus", at, 0.8 * size, edge))
    outline = _SIGNS[kind] * (size / 2)
    signs: Any = [shapely.Polygon(outline + np.array(place)) for place in at]
    return (Area(tuple(signs), "paper", "ink", edge),)


FAMILY = "DejaVu Sans, Verdana, sans-serif"
REGULAR, BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"


@cache
def font_file(name: str) -> str:
    """The path of a font's file."""
    with as_file(files("millprep.report").joinpath("fonts", name)) as path:
        return str(path)


@cache
def _advances(name: str) -> tuple[dict[int, int], int]:
    """The advance of every character in the font's units, and how many these are to an em.

    The tables are those of OpenType (ISO/IEC 14496-22): head, hhea, hmtx, and cmap in format 12.
    They are read here because a library reads the names of all glyphs as well, which takes 0.1 s.
    """
    data = Path(font_file(name)).read_bytes()

    def figure(at: int, size: int = 2) -> int:
        return int.from_bytes(data[at : at + size])

    table = {data[at : at + 4]: figure(at + 8, 4) for at in range(12, 12 + 16 * figure(4), 16)}
    cmap = table[b"cmap"]
    records = range(cmap + 4, cmap + 4 + 8 * figure(cmap + 2), 8)
    letters = next(
        at for at in (cmap + figure(record + 4, 4) for record in records) if figure(at) == 12
    )
    groups = struct.iter_unpack(">III", data[letters + 16 : letters + figure(letters + 4, 4)])
    # advances come in pairs with bearings; glyphs beyond the last pair have its advance
    last = figure(table[b"hhea"] + 34) - 1
    widths = struct.unpack_from(f">{2 * last + 2}H", data, table[b"hmtx"])[::2]
    advances = {
        first + k: widths[min(glyph + k, last)]
        for first, end, glyph in groups
        for k in range(end - first + 1)
    }
    return {**advances, -1: widths[0]}, figure(table[b"head"] + 18)


@cache
def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """The width of words in units of `size`, which is that of the font; no kerning."""
    advances, em = _advances(BOLD if bold else REGULAR)
    return sum(advances.get(ord(letter), advances[-1]) for letter in words) * size / em
