"""Painted shapes: what apertures leave, lines, arcs and contours, and the marks that stay."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from millprep.drawing.gerber.macros import MOST_PARTS, Macro, disc, polygon
from millprep.drawing.gerber.statements import Statement
from millprep.drawing.marks import stroke
from millprep.drawing.marks.mark import Fill, Stroke
from millprep.geometry.path import FloatArray, Path, Point
from millprep.geometry.pose import Affine

MOST_SHAPES = 100_000
"""Shapes of one file beyond which it is refused: joining a million takes a minute and gigabytes."""


@dataclass(frozen=True, slots=True)
class Painted:
    """One shape, dark on what is below it, or clear: it takes away what is below.

    Attributes:
        net: of its copper, where the file gives it.
    """

    mark: Fill | Stroke
    dark: bool
    net: str | None = None

    def placed(self, pose: Affine) -> Painted:
        """The same shape somewhere else."""
        mark = self.mark
        if isinstance(mark, Stroke):
            return replace(self, mark=replace(mark, to_mm=pose.after(mark.to_mm)))
        areas = shapely.transform(np.array(mark.areas, dtype=object), pose.points)
        if not shapely.is_valid(areas).all():
            # the last digit may have moved a corner onto a side that it nearly met
            parts = shapely.get_parts(shapely.make_valid(areas, method="structure"))
            areas = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
        return replace(self, mark=replace(mark, areas=tuple(areas)))

    @property
    def areas(self) -> list[shapely.Polygon]:
        """What it covers."""
        mark = self.mark
        if isinstance(mark, Fill):
            return list(mark.areas)
        return stroke.areas(mark) if mark.widths.all() else []


def visible(shapes: Sequence[Painted]) -> list[Painted]:
    """The dark shapes, without what clear ones painted later take away.

    Shapes that no clear one meets stay as they are.
    """
    out: list[Painted] = []
    k = 0
    while k < len(shapes):
        dark = shapes[k].dark
        end = k
        while end < len(shapes) and shapes[end].dark == dark:
            end += 1
        run = shapes[k:end]
        k = end
        out = [*out, *run] if dark else _without(out, run)
    return out


def _without(below: Sequence[Painted], clear: Sequence[Painted]) -> list[Painted]:
    """Dark shapes less what a run of clear ones covers."""
    areas = [area for shape in clear for area in shape.areas]
    if not areas or not below:
        return list(below)
    tree = shapely.STRtree(areas)
    out = []
    for shape in below:
        dark = shapely.union_all(shape.areas)
        met = tree.query(dark, predicate="intersects")
        if not len(met):
            out.append(shape)
            continue
        cut = shapely.union_all([areas[n] for n in sorted(met.tolist())])
        left = shapely.get_parts(shapely.difference(dark, cut))
        rest = tuple(part for part in left if part.geom_type == "Polygon" and part.area > 0)
        if rest:
            out.append(replace(shape, mark=Fill(shape.mark.source, rest)))
    return out


MISS = 0.05
"""An arc's start and end may be at distances from its centre that differ by this, mm, or by a
hundredth of its radius: files round both."""


@dataclass(slots=True)
class PenRun:
    """A run of lines and arcs, each from the end of the one before.

    Attributes:
        line: of the file, where it begins.
        points: its corners, mm.
        bulges: of the segment after each of them but the last.
    """

    line: int
    points: list[Point]
    bulges: list[float] = field(default_factory=list)

    def add(self, steps: Sequence[tuple[Point, float]]) -> None:
        """Go on through points, each with the bulge of the way to it; no way is no step."""
        for point, bulge in steps:
            if math.dist(point, self.points[-1]) > 1e-9:
                self.points.append(point)
                self.bulges.append(bulge)

    @property
    def closed(self) -> bool:
        """Whether it ends where it began."""
        return len(self.points) > 2 and math.dist(self.points[0], self.points[-1]) <= 1e-9

    def arrays(self) -> tuple[FloatArray, FloatArray]:
        """Corners and bulges; a closed one has its first corner at the end too."""
        return np.array(self.points, dtype=float), np.array(self.bulges, dtype=float)


def arc(
    start: Point, end: Point, offset: Point, clockwise: bool, single: bool, where: Statement
) -> list[tuple[Point, float]]:
    """The steps of an arc: points, each with the bulge of the way to it.

    Args:
        start: where it begins, mm.
        end: where it ends, mm.
        offset: of its centre from the start; in single quadrant mode without signs.
        clockwise: which way round it goes.
        single: whether it is at most a quarter of a circle.
        where: the statement, for faults.

    Raises:
        UnreadableError: when no arc fits.
    """
    same = math.dist(start, end) <= 1e-9
    if single and same:
        return []
    best: tuple[float, Point, float] | None = None
    for centre in _centres(start, offset, single):
        r0, r1 = math.dist(centre, start), math.dist(centre, end)
        if not min(r0, r1) > 0:
            continue
        first = math.atan2(start[1] - centre[1], start[0] - centre[0])
        last = math.atan2(end[1] - centre[1], end[0] - centre[0])
        sweep = (first - last if clockwise else last - first) % (2 * math.pi)
        if same:
            sweep = 2 * math.pi
        elif single and sweep > math.pi / 2 + 0.02:
            continue
        if best is None or abs(r0 - r1) < best[0]:
            best = (abs(r0 - r1), centre, sweep)
    if best is None:
        words = "a quarter circle" if single else "an arc"
        raise where.fault(f"no centre of {words} fits I and J")
    miss, centre, sweep = best
    radius = math.dist(centre, start)
    if miss > max(MISS, 0.01 * radius):
        raise where.fault(
            f"start and end of the arc are {miss:.4f} mm differently far from its centre"
        )
    count = 2 if sweep > math.pi * 0.75 else 1
    bulge = math.tan(sweep / count / 4) * (-1 if clockwise else 1)
    steps = [(end, bulge)]
    if count == 2:
        half = -sweep / 2 if clockwise else sweep / 2
        x, y = start[0] - centre[0], start[1] - centre[1]
        cos, sin = math.cos(half), math.sin(half)
        middle = (centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos)
        if same:  # a circle: the far end of its diameter is exact
            middle, bulge = (centre[0] - x, centre[1] - y), math.copysign(1.0, bulge)
            steps = [(end, bulge)]
        steps.insert(0, (middle, bulge))
    return steps


def _centres(start: Point, offset: Point, single: bool) -> Iterator[Point]:
    signs = ((1, 1), (-1, 1), (1, -1), (-1, -1)) if single else ((1, 1),)
    for x, y in signs:
        yield (start[0] + x * offset[0], start[1] + y * offset[1])


_DEFINITION = re.compile(r"ADD0*(\d+)([A-Za-z_.$][^,]*)(?:,(.*))?")


def ends_of(points: list[Point]) -> list[Point]:
    """The ends of a cut that goes to and fro on one line; all its points where it does not."""
    xy = np.array(points, dtype=float)
    far = int(np.argmax(np.hypot(*(xy - xy[0]).T)))
    way = xy[far] - xy[0]
    long = float(np.hypot(*way))
    if not long > 0:
        return points[:1]
    across = (xy - xy[0]) @ np.array([-way[1], way[0]]) / long
    if np.abs(across).max() > 1e-6:
        return points
    along = (xy - xy[0]) @ way
    return [points[int(np.argmin(along))], points[int(np.argmax(along))]]


@dataclass(frozen=True, slots=True)
class Aperture:
    """One aperture as it is defined.

    Attributes:
        kind: "C", "R", "O", "P", or "" for one by a macro.
        values: sizes in the unit of the file.
    """

    statement: Statement
    kind: str
    values: tuple[float, ...]
    macro: Macro | None = None

    @property
    def hollow(self) -> bool:
        """Whether it has a hole."""
        return len(self.values) > _SIZES.get(self.kind, len(self.values))

    def pen(self, mm: float) -> float | None:
        """Its diameter if it is a round area without a hole, mm."""
        return self.values[0] * mm if self.kind == "C" and not self.hollow else None

    def area(self, mm: float, sagitta: float) -> shapely.Geometry:
        """What it leaves where it is flashed, about its middle, mm.

        Raises:
            UnreadableError: when its macro is wrong, at its line.
        """
        if self.macro is not None:
            return self.macro.area(self.values, mm, sagitta)
        size = [value * mm for value in self.values]
        shape: shapely.Geometry
        if self.kind == "C":
            shape = disc(0.0, 0.0, size[0], sagitta)
        elif self.kind == "R":
            shape = _box(size[0], size[1])
        elif self.kind == "O":
            shape = _obround(size[0], size[1], sagitta)
        else:
            turn = self.values[2] if len(self.values) > 2 else 0.0
            shape = polygon(int(self.values[1]), size[0], turn)
        if not self.hollow:
            return shape
        hole = size[_SIZES[self.kind] :]
        inner = _box(hole[0], hole[1]) if len(hole) == 2 else disc(0.0, 0.0, hole[0], sagitta)
        return shapely.difference(shape, inner)


_SIZES = {"C": 1, "R": 2, "O": 2, "P": 3}
"""How many values a standard aperture takes before those of its hole."""


def defined(statement: Statement, macros: dict[str, Macro]) -> tuple[int, Aperture]:
    """Number and aperture of a statement `ADD…`.

    Raises:
        UnreadableError: when it defines none.
    """
    match = _DEFINITION.fullmatch(statement.text.replace(" ", ""))
    if match is None:
        raise statement.fault("defines no aperture; one is written ADD10C,0.5")
    number, kind = int(match[1]), match[2]
    # some writers leave an X after the last value
    fields = match[3].removesuffix("X").split("X") if match[3] else []
    try:
        values = tuple(float(field) for field in fields)
    except ValueError:
        raise statement.fault("a size of the aperture is no number") from None
    if not np.isfinite(values).all():
        raise statement.fault("a size of the aperture is no number")
    if number < 10:
        raise statement.fault(f"D{number} is no number of an aperture; they begin at D10")
    if kind not in _SIZES:
        if kind not in macros:
            raise statement.fault(f"there is no aperture macro {kind!r} before this line")
        return number, Aperture(statement, "", values, macros[kind])
    _check(statement, kind, values)
    return number, Aperture(statement, kind, values)


def _check(statement: Statement, kind: str, values: tuple[float, ...]) -> None:
    """Sizes that make no aperture are faults."""
    need = 2 if kind == "P" else _SIZES[kind]
    if not need <= len(values) <= _SIZES[kind] + 2:
        raise statement.fault(f"an aperture {kind} takes {need} values and has {len(values)}")
    sizes = values[:1] if kind == "P" else values[:need]
    if min(sizes) < 0 or (kind != "C" and not min(sizes) > 0):
        raise statement.fault("a size of the aperture is not above zero")
    if kind == "P" and not (3 <= values[1] <= MOST_PARTS and values[1] == int(values[1])):
        raise statement.fault(f"a polygon cannot have {values[1]:g} corners")
    if any(not hole >= 0 for hole in values[_SIZES[kind] :]):
        raise statement.fault("the hole of the aperture has a size below zero")


def _box(wide: float, high: float) -> shapely.Polygon:
    return shapely.box(-wide / 2, -high / 2, wide / 2, high / 2)


def _obround(wide: float, high: float, sagitta: float) -> shapely.Geometry:
    """A rectangle whose shorter sides are half circles."""
    radius, long = min(wide, high) / 2, abs(wide - high) / 2
    if not long > 0:
        return disc(0.0, 0.0, wide, sagitta)
    ends = np.array([(-long, -radius), (long, -radius), (long, radius), (-long, radius)])
    if high > wide:
        ends = np.column_stack((-ends[:, 1], ends[:, 0]))
    # two quarters to an end, so that its tip is a point of the outline
    tips = (ends[[1, 3]] + ends[[2, 0]]) / 2 + radius * (ends[[1, 3]] - ends[[0, 2]]) / (2 * long)
    ring = np.vstack((ends[:2], tips[:1], ends[2:], tips[1:], ends[:1]))
    quarter = float(np.tan(np.pi / 8))
    bulges = np.array([0.0, quarter, quarter, 0.0, quarter, quarter])
    return shapely.Polygon(Path(ring, bulges).flattened(sagitta))
