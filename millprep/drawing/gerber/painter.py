"""What the statements of a Gerber file paint: flashes, strokes, regions, and copies of them."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import numpy as np
import shapely

from millprep.drawing.gerber.macros import enclosed
from millprep.drawing.gerber.shapes import MOST_SHAPES, Aperture, Painted, PenRun, arc
from millprep.drawing.gerber.statements import Coordinates, Statement, UnreadableError
from millprep.drawing.marks.mark import Aside, Fill, Source, Stroke
from millprep.geometry.path import SAGITTA, Path, Point
from millprep.geometry.pose import Affine

NOTED = {
    "comment": "it is a comment",
    "attribute": "it is an attribute and draws nothing",
    "name": "it is a name and draws nothing",
    "no size": "its aperture has no size, so it draws nothing",
    "no area": "it encloses nothing",
}
_REPEAT = re.compile(r"SRX(\d+)Y(\d+)I([+-]?[\d.]+)J([+-]?[\d.]+)")
MIRRORS = {"N": (1.0, 1.0), "X": (-1.0, 1.0), "Y": (1.0, -1.0), "XY": (-1.0, -1.0)}


class Painter:
    """The state that decides what is painted, and what was painted so far.

    Attributes:
        name: of the layer.
        xy: how numbers become places.
        count: number of the next shape or note.
        shapes: in the order in which they are painted; of a block aperture or a step that is being
            defined, its own.
        current: number of the selected aperture.
        motion: 1 for lines, 2 and 3 for arcs clockwise and counter-clockwise.
        single: whether arcs are at most a quarter; None where no statement says it.
        dark: whether shapes are added or taken away.
        mirror, turn, scale: what apertures go through; the turn in degrees.
        net: of what is painted.
    """

    def __init__(self, name: str, xy: Coordinates, first: int) -> None:
        self.name, self.xy, self.count = name, xy, first
        self.noted: list[Aside] = []
        self.apertures: dict[int, Aperture] = {}
        self.blocks: dict[int, list[Painted]] = {}
        self.shapes: list[Painted] = []
        self.current: int | None = None
        self.motion = 1
        self.single: bool | None = None
        self.dark = True
        self.mirror, self.turn, self.scale = "N", 0.0, 1.0
        self.net: str | None = None
        self._flashes: dict[tuple[int, Affine], tuple[shapely.Polygon, ...]] = {}
        self._outer: list[tuple[int, list[Painted]]] = []  # what block apertures interrupt
        self._pattern: tuple[list[Affine], list[Painted]] | None = None
        self._at: Point = (0.0, 0.0)  # before the maps of the image
        self._region: list[PenRun] | None = None
        self._region_line = 0
        self._trail: PenRun | None = None

    def define(self, number: int, aperture: Aperture) -> None:
        """Give a number to an aperture, in place of what had it before."""
        self.apertures[number] = aperture
        self.blocks.pop(number, None)
        self._flashes = {key: area for key, area in self._flashes.items() if key[0] != number}

    def note(self, statement: Statement, kind: str) -> None:
        """Something that draws nothing, of a kind that `NOTED` explains."""
        self.noted.append(Aside(self._source(kind, statement.line), NOTED[kind], harmless=True))

    def _source(self, kind: str, line: int) -> Source:
        self.count += 1
        return Source(self.name, kind, f"of line {line}", self.count - 1)

    def select(self, number: int, statement: Statement) -> None:
        """Draw and flash with this aperture from here."""
        if number not in self.apertures and number not in self.blocks:
            raise statement.fault(f"aperture D{number} is not defined before this line")
        self.end_trail()
        self.current = number

    def operate(self, operation: int, place: dict[str, str], statement: Statement) -> None:
        """Draw to a place (1), move there (2) or flash there (3); X, Y, I and J as written."""
        if operation != 2:
            self.xy.mm_in_use(statement)  # the pen's too, where no place is given
        x, y = (
            self.xy.number(axis, place[axis], statement) if axis in place else None
            for axis in ("X", "Y")
        )
        ax, ay = self._at
        if self.xy.steps:
            to = (ax + (x or 0.0), ay + (y or 0.0))
        else:
            to = (ax if x is None else x, ay if y is None else y)
        if operation == 1:
            self._draw(to, place, statement)
        else:
            self.end_trail()
            if operation == 3:
                self._flash(to, statement)
        self._at = to

    def _draw(self, to: Point, place: dict[str, str], statement: Statement) -> None:
        image = self.xy.image
        start, end = image.point(*self._at), image.point(*to)
        if self.motion == 1 or not ("I" in place or "J" in place):
            steps = [(end, 0.0)]
        else:
            i, j = (
                self.xy.number(axis, place[letter], statement) if letter in place else 0.0
                for letter, axis in (("I", "X"), ("J", "Y"))
            )
            if not image.even:
                raise statement.fault("an arc is scaled differently along x and y")
            offset = (image.a * i, image.e * j)
            clockwise = (self.motion == 2) == (image.determinant > 0)
            # files older than G74 and G75 mean a quarter of a circle
            single = self.single if self.single is not None else True
            steps = arc(start, end, offset, clockwise, single, statement)
        if self._region is None and self._trail is None:
            self._check_pen(statement)
        if self._trail is None:
            self._trail = PenRun(statement.line, [start])
        if self._region is None and self._pen() is None and any(bulge for _, bulge in steps):
            raise statement.fault("an arc is drawn with an aperture that is not round")
        self._trail.add(steps)
        self._room(len(self._trail.points) // 2, statement)

    def _check_pen(self, statement: Statement) -> None:
        """Only round apertures and rectangles draw lines."""
        if self.current is None:
            raise statement.fault("draws before an aperture is selected")
        if self._pen() is None and not self._is_rectangle():
            raise statement.fault(
                f"draws a line with aperture D{self.current}, which is neither round nor a "
                "rectangle, or has a hole"
            )

    def _pen(self) -> float | None:
        aperture = self.apertures.get(self.current or 0)
        return None if aperture is None else aperture.pen(self.xy.mm or 1.0)

    def _is_rectangle(self) -> bool:
        aperture = self.apertures.get(self.current or 0)
        return aperture is not None and aperture.kind == "R" and not aperture.hollow

    def _flash(self, to: Point, statement: Statement) -> None:
        if self._region is not None:
            raise statement.fault("flashes within a region")
        if self.current is None:
            raise statement.fault("flashes before an aperture is selected")
        x, y = self.xy.image.point(*to)
        pose = Affine(c=x, f=y)
        if self.current in self.blocks:
            block = self.blocks[self.current]
            self._room(len(block), statement)
            pose = pose.after(self._map())
            self.shapes += [
                replace(shape.placed(pose), dark=shape.dark == self.dark) for shape in block
            ]
            return
        areas = self._aperture()
        if not areas:
            self.note(statement, "no size")
            return
        self._paint(areas, pose, statement.line, "flash")

    def _paint(
        self, areas: tuple[shapely.Polygon, ...], pose: Affine, line: int, kind: str
    ) -> None:
        self._room(1, Statement(line, kind))
        aperture = self.apertures.get(self.current or 0)
        curved = kind == "flash" and aperture is not None and aperture.kind == "C"
        fill = Fill(self._source(kind, line), areas, curved)
        self.shapes.append(Painted(fill, self.dark, self.net).placed(pose))

    def _map(self) -> Affine:
        """What a flash goes through: mirror, turn, scale."""
        mx, my = MIRRORS[self.mirror]
        angle = math.radians(self.turn)
        cos, sin = math.cos(angle) * self.scale, math.sin(angle) * self.scale
        if self.turn % 90 == 0:
            cos, sin = round(cos / self.scale) * self.scale, round(sin / self.scale) * self.scale
        return Affine(cos * mx, -sin * my, 0.0, sin * mx, cos * my, 0.0)

    def _aperture(self) -> tuple[shapely.Polygon, ...]:
        """The area of the current aperture about its middle; made once."""
        assert self.current is not None
        key = (self.current, self._map())
        if key not in self._flashes:
            aperture = self.apertures[self.current]
            mm = self.xy.mm_in_use(aperture.statement)
            area = aperture.area(mm, SAGITTA / self.scale)
            area = shapely.transform(area, key[1].points)
            parts = [part for part in shapely.get_parts(area) if part.area > 0]
            self._flashes[key] = tuple(parts)
        return self._flashes[key]

    def end_trail(self) -> None:
        """Make a shape of the lines since the pen went down."""
        trail, self._trail = self._trail, None
        if trail is None:
            return
        if self._region is not None:
            self._region.append(trail)
            return
        xy, bulges = trail.arrays()
        width = self._pen()
        if width is None:
            self._sweep(trail)
            return
        if trail.closed:
            xy = xy[:-1]
        self._room(1, Statement(trail.line, "D01"))
        width *= self.scale
        count = max(len(bulges), 1)
        source = self._source("stroke", trail.line)
        stroke = Stroke(source, xy, bulges, np.full(count, width), trail.closed, Affine())
        self.shapes.append(Painted(stroke, self.dark, self.net))

    def _sweep(self, trail: PenRun) -> None:
        """Lines drawn with a rectangle: what it covers on its way."""
        (corner,) = self._aperture()
        points = trail.points if len(trail.points) > 1 else trail.points * 2
        for start, end in itertools.pairwise(points):
            ends = [shapely.transform(corner, Affine(c=x, f=y).points) for x, y in (start, end)]
            hull = shapely.MultiPolygon(ends).convex_hull
            assert isinstance(hull, shapely.Polygon)
            self._paint((hull,), Affine(), trail.line, "stroke")

    def open_region(self, statement: Statement) -> None:
        """What is drawn from here is the contours of areas."""
        if self._region is not None:
            raise statement.fault("a region opens within a region")
        self.end_trail()
        self._region, self._region_line = [], statement.line

    def finish(self, statement: Statement) -> None:
        """The end of the file: nothing may be open.

        Raises:
            UnreadableError: for a region or a block aperture without an end.
        """
        self.end_trail()
        if self._region is not None:
            raise statement.fault(f"the region that opens in line {self._region_line} has no end")
        if self._outer:
            raise statement.fault(f"block aperture D{self._outer[-1][0]} has no end")
        self.end_repeat(statement)

    def end_region(self, statement: Statement) -> None:
        """Fill the contours since the region opened."""
        if self._region is None:
            raise statement.fault("closes a region, but none is open")
        self.end_trail()
        contours, self._region = self._region, None
        for trail in contours:
            if len(trail.points) > 1 and not trail.closed and len(trail.points) != 2:
                gap = math.dist(trail.points[0], trail.points[-1])
                raise UnreadableError(
                    trail.line, f"the contour that begins here is open: {gap:.4f} mm are missing"
                )
            xy, bulges = trail.arrays()
            area: shapely.Geometry | None = shapely.Polygon()
            if len(bulges) > 1:
                area = enclosed(Path(xy, bulges).flattened(SAGITTA))
            if area is None:
                raise UnreadableError(trail.line, "the contour that begins here crosses itself")
            parts = tuple(part for part in shapely.get_parts(area) if part.area > 0)
            if not parts:
                self.note(Statement(trail.line, ""), "no area")
                continue
            self._room(1, statement)
            fill = Fill(self._source("region", trail.line), parts, bool((bulges != 0).all()))
            self.shapes.append(Painted(fill, self.dark, self.net))

    def block(self, statement: Statement) -> None:
        """Begin or end a block aperture."""
        if self._pattern is not None:
            raise statement.fault("a block aperture cannot be defined while a step is repeated")
        if statement.text == "AB":
            if not self._outer:
                raise statement.fault("closes a block aperture, but none is open")
            number, outer = self._outer.pop()
            self.blocks[number], self.shapes = self.shapes, outer
            self.apertures.pop(number, None)
            return
        match = re.fullmatch(r"ABD0*(\d+)", statement.text)
        if match is None or int(match[1]) < 10:
            raise statement.fault("opens no block aperture; one is written ABD10")
        self._outer.append((int(match[1]), self.shapes))
        self.shapes = []

    def step_and_repeat(self, statement: Statement) -> None:
        """Begin or end shapes that are repeated in columns and rows."""
        self.end_repeat(statement)
        if statement.text == "SR":
            return
        match = _REPEAT.fullmatch(statement.text.replace(" ", ""))
        if match is None or not int(match[1]) * int(match[2]):
            raise statement.fault("repeats no steps; one is written SRX2Y3I5.0J4.0")
        columns, rows = int(match[1]), int(match[2])
        if columns * rows == 1:
            return
        if self._outer:
            raise statement.fault("a step cannot be repeated within a block aperture")
        if columns * rows > MOST_SHAPES:
            raise statement.fault(f"repeats more than {MOST_SHAPES} steps")
        dx, dy = (self.xy.length(text, statement) for text in match.groups()[2:])
        steps = [Affine(c=i * dx, f=j * dy) for i in range(columns) for j in range(rows)]
        self._pattern = (steps, self.shapes)
        self.shapes = []

    def end_repeat(self, statement: Statement) -> None:
        """Copy the shapes since the repetition began: up each column, then the next."""
        if self._pattern is None:
            return
        steps, shapes = self._pattern
        pattern, self.shapes, self._pattern = self.shapes, shapes, None
        self._room(len(steps) * len(pattern), statement)
        self.shapes += [shape.placed(step) for step in steps for shape in pattern]

    def _room(self, more: int, statement: Statement) -> None:
        if len(self.shapes) + more > MOST_SHAPES:
            raise statement.fault(f"the file draws more than {MOST_SHAPES} shapes")
