"""Marks: what the entities of a drawing draw, freed of the file format, in mm.

A mark is one drawn thing with its source, so that every message can name the layer,
the handle and the place. Which role a mark plays is decided later, by its layer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
import shapely

from millprep.geometry.path import SAGITTA, FloatArray, Path, Point
from millprep.geometry.pose import Affine
from millprep.model.board import Lettering

MOST_STEPS = 100_000
"""A curve that needs more chords than this is refused."""

SAME = 1e-6
"""Two points of a curve closer than this are one, mm."""


class Source(NamedTuple):
    """Where a mark comes from.

    Attributes:
        layer: the effective one: content of blocks on layer 0 takes its insert's layer. For
            what the job selects, the selection's name.
        kind: DXF name of the entity.
        handle: of the entity itself.
        number: of the entity in the model space that it belongs to.
        block: for content of an insert, the block's name.
        insert: for content of an insert, the outermost insert's handle.
        colour, line_type: as shown; no colour where it is none of the drawing's index.
        blocks: every block that it lies in, outermost first, without case.
        drawn_on: for what the job selects, the layer that the drawing has it on.
    """

    layer: str
    kind: str
    handle: str
    number: int
    block: str | None = None
    insert: str | None = None
    colour: int | None = None
    line_type: str = ""
    blocks: tuple[str, ...] = ()
    drawn_on: str | None = None

    def __str__(self) -> str:
        inside = f" in block {self.block!r} of INSERT {self.insert}" if self.block else ""
        where = f"layer {self.layer!r}"
        if self.drawn_on is not None:
            where = f"layer {self.drawn_on!r} (selected as {self.layer!r})"
        return f"{where}, {self.kind} {self.handle}{inside}"


class Round(NamedTuple):
    """A circle."""

    at: Point
    diameter: float


@dataclass(frozen=True)
class Curve:
    """A line of no width.

    Attributes:
        points: (n, 2), every one on the true curve; a closed curve repeats none.
        curved: whether it is drawn with arcs or splines only, no straight part.
        known: the circle, where the entity itself says that it is one.
    """

    source: Source
    points: FloatArray
    closed: bool
    curved: bool
    known: Round | None = None

    @cached_property
    def round(self) -> Round | None:
        """The circle this curve is, if it is one."""
        if self.known is not None:
            return self.known
        return round_of(self.points) if self.closed and self.curved else None


@dataclass(frozen=True)
class Stroke:
    """Lines and arcs in the entity's own coordinates, with widths.

    Attributes:
        vertices: (n, 2), no point twice in a row; a closed stroke does not repeat the first.
        bulges: (m,) of the segment after each vertex, m = n when closed, n - 1 when open.
        widths: (m,) per segment, in own coordinates; 0 for a line of no width.
        to_mm: from own coordinates to the drawing in mm.
        tapered: whether a segment has two different widths.
    """

    source: Source
    vertices: FloatArray
    bulges: FloatArray
    widths: FloatArray
    closed: bool
    to_mm: Affine
    tapered: bool = False

    @cached_property
    def curve(self) -> Curve:
        """The centre line, whatever the width."""
        most, least = self.to_mm.stretch
        sagitta = SAGITTA / (most or 1.0)
        known = None
        curved = True
        if self.is_circle:
            points = _circle(self.vertices, float(self.bulges[0]), sagitta)
            if most - least <= 1e-9 * most:
                (x0, y0), (x1, y1) = self.vertices.tolist()
                at = self.to_mm.point((x0 + x1) / 2, (y0 + y1) / 2)
                known = Round(at, math.hypot(x1 - x0, y1 - y0) * most)
        elif not self.bulges.any():
            points, curved = self.vertices, False
        else:
            xy = np.vstack((self.vertices, self.vertices[:1])) if self.closed else self.vertices
            _refuse_giants(xy, self.bulges, sagitta)
            points = Path(xy, self.bulges).flattened(sagitta)
            points = points[:-1] if self.closed else points
            curved = bool((np.abs(self.bulges) > 0.01).all())
        return Curve(self.source, self.to_mm.points(points), self.closed, curved, known)

    @property
    def is_circle(self) -> bool:
        """Whether it is two half circles the same way round."""
        return self.closed and self.bulges.tolist() in ([1.0, 1.0], [-1.0, -1.0])


@dataclass(frozen=True, slots=True)
class Fill:
    """Filled areas in mm, holes in them as interior rings."""

    source: Source
    areas: tuple[shapely.Polygon, ...]
    curved: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """Text; it has no outline of its own in the file."""

    source: Source
    text: Lettering

    @property
    def at(self) -> Point:
        """The point it hangs on."""
        return self.text.at


@dataclass(frozen=True, slots=True)
class Aside:
    """An entity that never is part of a board: it is left out, and why.

    Attributes:
        text: what it says and where, if it is text that could be read.
        at: where it lies, if it is a line that is no more than a place.
        harmless: whether the board is the same without it.
    """

    source: Source
    reason: str
    text: Lettering | None = None
    at: Point | None = None
    harmless: bool = False


@dataclass(frozen=True, slots=True)
class Unread:
    """An entity that draws something this reader cannot read truly."""

    source: Source
    code: str
    reason: str
    at: Point | None = None


Mark = Curve | Stroke | Fill | Words | Aside | Unread


def box_of(mark: Mark) -> tuple[float, float, float, float] | None:
    """Low and high corner of what a mark draws, pens of no width; None for what has no size."""
    if isinstance(mark, Fill):
        bounds: tuple[float, float, float, float] = shapely.MultiPolygon(mark.areas).bounds
        return bounds
    if isinstance(mark, Stroke):
        mark = mark.curve
    if isinstance(mark, Curve):
        low, high = mark.points.min(axis=0), mark.points.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return None


def round_of(points: FloatArray) -> Round | None:
    """The circle whose flattened rim these points are, or None.

    The points of a rim lie on one circle to a hundredth of its radius and 6 µm, and no
    two neighbours span more than 50 degrees.
    """
    if len(points) < 8:
        return None
    low, high = points.min(axis=0), points.max(axis=0)
    size = high - low
    if abs(size[0] - size[1]) > 0.05 * max(size):
        return None
    centre = _centre(points)
    if centre is None:
        return None
    radii = np.hypot(*(points - centre).T)
    radius = float(radii.mean())
    # four cubic curves, the usual stand-in for a circle, stray from it by 0.03 % of the radius;
    # some files part a circle in halves a few micrometres from each other
    if not radius > 0 or np.ptp(radii) > max(min(0.01 * radius, 6e-3), 1e-7):
        return None
    angles = np.unwrap(np.arctan2(*(points - centre).T[::-1]))
    steps = np.abs(np.diff(angles))
    whole = abs(angles[-1] - angles[0])
    closing = 2 * math.pi - whole
    if steps.max() > 0.9 or not -1e-6 <= closing <= 0.9:
        return None
    return Round((float(centre[0]), float(centre[1])), 2 * radius)


def _refuse_giants(xy: FloatArray, bulges: FloatArray, sagitta: float) -> None:
    """Raise ValueError where an arc would need more than MOST_STEPS chords."""
    chord = np.hypot(*np.diff(xy, axis=0).T)
    bent = bulges != 0
    b = np.abs(bulges[bent])
    radius = chord[bent] * (1 + b * b) / (4 * b)
    # a chord over the angle a leaves r·a²/8
    if not (4 * np.arctan(b) * np.sqrt(radius / (8 * sagitta)) < MOST_STEPS).all():
        raise ValueError("an arc is too large to be part of a board")


def _centre(points: FloatArray) -> FloatArray | None:
    """Centre of the circle that fits the points best (least squares on its equation)."""
    # x² + y² = 2·cx·x + 2·cy·y + c is linear in what is sought; from the first point on, so
    # that far from the origin no digits are lost
    xy = points - points[0]
    matrix = np.column_stack((2 * xy, np.ones(len(xy))))
    solution, _, rank, _ = np.linalg.lstsq(matrix, (xy * xy).sum(axis=1), rcond=None)
    return np.asarray(points[0] + solution[:2], dtype=np.float64) if rank == 3 else None


def _circle(ends: FloatArray, bulge: float, sagitta: float) -> FloatArray:
    """Rim of the circle on this diameter in equal steps, a multiple of four of them."""
    (x0, y0), (x1, y1) = ends.tolist()
    centre = ((x0 + x1) / 2, (y0 + y1) / 2)
    start = (x0 - centre[0], y0 - centre[1])
    around = rim(math.hypot(*start), sagitta, start=start, clockwise=bulge < 0)
    return np.asarray(centre + around, dtype=np.float64)


def steps_for(radius: float, sweep: float, sagitta: float) -> int:
    """Equal steps in which an arc's chords stay within the sagitta, r·(1 - cos(step / 2))."""
    # never coarser than 16 to the circle; 2·acos(1 - x) = 4·asin(√(x / 2)), without cancelling
    coarse = sagitta >= 0.019 * radius
    step = math.pi / 8 if coarse else 4 * math.asin(math.sqrt(sagitta / radius / 2))
    count = max(1, math.ceil(abs(sweep) / step - 1e-9))
    if count > MOST_STEPS:
        raise ValueError(f"a curve of radius {radius:g} is too large to be part of a board")
    return count


def rim(
    radius: float,
    sagitta: float,
    start: tuple[float, float] | None = None,
    *,
    clockwise: bool = False,
) -> FloatArray:
    """(n, 2) rim of a circle about the origin, n a multiple of four, no point repeated.

    Quarter points are exact: the extent of a circle is its diameter.
    """
    n = 4 * math.ceil(steps_for(radius, 2 * math.pi, sagitta) / 4)
    cos, sin = _turns(n)
    if clockwise:
        sin = -sin
    x, y = start if start is not None else (radius, 0.0)
    points = np.empty((n, 2))  # stacking columns takes twice as long for few points
    points[:, 0] = x * cos - y * sin
    points[:, 1] = x * sin + y * cos
    return points


@lru_cache(maxsize=256)
def _turns(n: int) -> tuple[FloatArray, FloatArray]:
    """Cosine and sine of n equal steps of a turn, n a multiple of four; quarters are exact."""
    angle = np.arange(n // 4) * (2 * math.pi / n)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.concatenate((cos, -sin, -cos, sin)), np.concatenate((sin, cos, -sin, -cos))
