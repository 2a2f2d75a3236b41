"""Two jobs, or a set and a job, compared by their drawings: copper, holes and edge of every board.

Drawings are compared in the drawing frame, as each job reads its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep import job
from millprep.geometry.path import Point
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import JobTable, NamedFile, keys
from millprep.model.job.mistakes import plain
from millprep.report import report_file
from millprep.workflow.inputs import read_boards
from millprep.workflow.source_set import job_of

SAME = 0.005
"""Edges and holes are the same within this, mm: curves of both drawings are flattened to 2 µm."""
NEAR = 5.0
"""A hole that is missing and a new one of its size this close to it, mm, are one that was moved."""


@dataclass(frozen=True, slots=True)
class CopperChange:
    """Copper that only one of two drawings has.

    Attributes:
        shape: where, drawing frame.
        pieces: those of its drawing that it belongs to.
        joins: pieces of the other drawing that it joins, or that it was part of and that are
            separate now; empty for fewer than two.
    """

    shape: shapely.Polygon
    pieces: tuple[str, ...]
    joins: tuple[str, ...]

    @property
    def area(self) -> float:
        """Of it, mm²."""
        return round(float(self.shape.area), 4)

    @property
    def at(self) -> Point:
        """A place on it, drawing frame, mm."""
        point = self.shape.representative_point()
        return (round(point.x, 4), round(point.y, 4))


@dataclass(frozen=True, slots=True)
class HoleChange:
    """A hole that only one drawing has, or that is another in the second."""

    what: Literal["added", "removed", "moved", "resized"]
    before: Hole | None
    after: Hole | None

    @property
    def at(self) -> Point:
        """Where it is, or was if it is gone, drawing frame, mm."""
        hole = self.after or self.before
        assert hole is not None, "a change has a hole"
        return hole.at


@dataclass(frozen=True, slots=True)
class EdgeChange:
    """Another edge, cut-outs included.

    Attributes:
        before, after: width and height of the board, mm.
        added, removed: area of the board that only the second and only the first drawing has, mm².
    """

    before: tuple[float, float]
    after: tuple[float, float]
    added: float
    removed: float


@dataclass(frozen=True, slots=True)
class BoardChange:
    """A board in two drawings.

    Attributes:
        board: its name.
        before, after: as drawn; None where one of the jobs has no such board.
        shift: how far all of it was moved in the drawing, mm, where that is all.
        added, removed: copper that only the second and only the first drawing has.
        holes: what became of holes.
        edge: another edge; None for the same one.
    """

    board: str
    before: Board | None
    after: Board | None
    shift: Point | None = None
    added: tuple[CopperChange, ...] = ()
    removed: tuple[CopperChange, ...] = ()
    holes: tuple[HoleChange, ...] = ()
    edge: EdgeChange | None = None

    @property
    def same(self) -> bool:
        """Whether the same board is cut."""
        both = self.before is not None and self.after is not None
        return both and not (self.added or self.removed or self.holes or self.edge)


@dataclass(frozen=True, slots=True)
class KeyChange:
    """A key with another value: its tables and name, and both values as a job has them."""

    key: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class DrawingsCompared:
    """Two jobs by their drawings.

    Attributes:
        boards: in the order of the first, then those that only the second has.
        keys: what else the jobs state otherwise.
        built: the copies of the set that was named, by board; of a job, those it plans.
    """

    boards: tuple[BoardChange, ...]
    keys: tuple[KeyChange, ...]
    built: tuple[tuple[str, int], ...]

    @property
    def cut_again(self) -> tuple[tuple[str, int], ...]:
        """Of these copies the ones whose board is another now."""
        changed = {board.board for board in self.boards if board.after and not board.same}
        return tuple(copy for copy in self.built if copy[0] in changed)


def compare_drawings(first: Path, second: Path) -> DrawingsCompared:
    """Compare two jobs by their drawings; instead of a job, a set with the drawings that it keeps.

    Raises:
        Refusal: exit code 2 for a job or a set that cannot be used, 3 for a drawing.
    """
    (before, copies), (after, others) = (_plan_of(place) for place in (first, second))
    built = others if second.is_dir() and not first.is_dir() else copies
    old = {board.name: board for board in read_boards(before, repair=True)}
    new = {board.name: board for board in read_boards(after, repair=True)}
    boards = tuple(_compared(name, old.get(name), new.get(name)) for name in {**old, **new})
    return DrawingsCompared(boards, tuple(_keys(before, after)), built)


def _plan_of(place: Path) -> tuple[JobPlan, tuple[tuple[str, int], ...]]:
    """The job of a set or of a job file, with the copies that it makes."""
    if place.is_dir():
        report = report_file.read(place)
        plan = job_of(report, place, None).plan
        return plan, tuple((row.name, row.copy_number) for row in report.boards)
    plan = job.load(place)
    copies = ((b.name, n) for b in plan.boards for n in range(1, b.count + 1))
    return plan, tuple(copies)


def _compared(name: str, before: Board | None, after: Board | None) -> BoardChange:
    if before is None or after is None:
        return BoardChange(name, before, after)
    change = _as_drawn(name, before, after)
    (x0, y0, *_), (x1, y1, *_) = before.outline.bounds, after.outline.bounds
    shift = (round(x1 - x0, 4), round(y1 - y0, 4))
    if change.same or max(map(abs, shift)) <= SAME:
        return change
    there = _as_drawn(name, _shifted(before, *shift), after)
    return BoardChange(name, before, after, shift) if there.same else change


def _shifted(board: Board, x: float, y: float) -> Board:
    """The outline, copper and holes of a board, drawn elsewhere."""

    def put(shape: shapely.Polygon) -> shapely.Polygon:
        return shapely.transform(shape, lambda xy: xy + np.array((x, y)))

    def put_point(at: Point) -> Point:
        return (at[0] + x, at[1] + y)

    pieces = tuple(CopperPiece(piece.id, put(piece.shape)) for piece in board.pieces)
    holes = tuple(
        Hole(h.id, put_point(h.at), h.diameter, h.piece, h.end and put_point(h.end))
        for h in board.holes
    )
    return Board(board.name, put(board.outline), pieces, holes)


def _as_drawn(name: str, before: Board, after: Board) -> BoardChange:
    old, new = (shapely.union_all([p.shape for p in b.pieces]) for b in (before, after))
    added = tuple(
        CopperChange(shape, _touching(shape, after), _joined(shape, before))
        for shape in _beyond(new, old)
    )
    removed = tuple(
        CopperChange(shape, _touching(shape, before), _joined(shape, after))
        for shape in _beyond(old, new)
    )
    more = sum(shape.area for shape in _beyond(after.outline, before.outline))
    less = sum(shape.area for shape in _beyond(before.outline, after.outline))
    edge = None
    if more or less:
        sizes = (_size(before.outline), _size(after.outline))
        edge = EdgeChange(*sizes, round(more, 4), round(less, 4))
    holes = tuple(_holes(before.holes, after.holes))
    return BoardChange(name, before, after, None, added, removed, holes, edge)


def _size(outline: shapely.Polygon) -> tuple[float, float]:
    x0, y0, x1, y1 = outline.bounds
    return (round(x1 - x0, 4), round(y1 - y0, 4))


def _beyond(shape: BaseGeometry, other: BaseGeometry) -> list[shapely.Polygon]:
    """What only the first covers, the largest first, without slivers along edges in common."""
    whole = shapely.difference(shape, other)
    thick = whole.buffer(-SAME, join_style="mitre").buffer(2 * SAME, join_style="mitre")
    parts = shapely.get_parts(shapely.intersection(thick, whole))
    polygons = [part for part in parts.tolist() if part.geom_type == "Polygon"]
    polygons = [part for part in polygons if not part.buffer(-SAME).is_empty]
    return sorted(polygons, key=lambda part: (-round(part.area, 4), part.bounds))


def _touching(shape: BaseGeometry, board: Board) -> tuple[str, ...]:
    return tuple(
        piece.id for piece in board.pieces if shapely.dwithin(piece.shape, shape, 2 * SAME)
    )


def _joined(shape: BaseGeometry, board: Board) -> tuple[str, ...]:
    """The pieces of a board that a change of its copper connects, two at least."""
    pieces = _touching(shape, board)
    return pieces if len(pieces) > 1 else ()


def _holes(before: Sequence[Hole], after: Sequence[Hole]) -> Iterator[HoleChange]:
    """What became of holes: resized in place, moved to the nearest new one, removed, added."""
    old = [hole for hole in before if not any(_same_hole(hole, other) for other in after)]
    new = [hole for hole in after if not any(_same_hole(hole, other) for other in before)]
    pairs = sorted(
        (
            (math.dist(a.at, b.at), i, j)
            for i, a in enumerate(old)
            for j, b in enumerate(new)
            if _like(a, b)
        ),
    )
    taken: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in taken and j not in taken.values():
            taken[i] = j
    for i, hole in enumerate(old):
        if i not in taken:
            yield HoleChange("removed", hole, None)
            continue
        other = new[taken[i]]
        in_place = math.dist(hole.at, other.at) <= SAME
        yield HoleChange("resized" if in_place else "moved", hole, other)
    for j, hole in enumerate(new):
        if j not in taken.values():
            yield HoleChange("added", None, hole)


def _same_hole(hole: Hole, other: Hole) -> bool:
    return abs(hole.diameter - other.diameter) <= SAME and _same_spine(hole, other)


def _same_spine(hole: Hole, other: Hole) -> bool:
    return bool(shapely.hausdorff_distance(hole.spine, other.spine) <= SAME)


def _like(hole: Hole, other: Hole) -> bool:
    """Whether one hole may have become the other: of its size, or in its place."""
    if _same_spine(hole, other):
        return True
    as_long = abs(hole.spine.length - other.spine.length) <= SAME
    as_wide = abs(hole.diameter - other.diameter) <= SAME
    return as_long and as_wide and math.dist(hole.at, other.at) <= NEAR


def _keys(before: JobTable, after: JobTable, at: str = "") -> Iterator[KeyChange]:
    """Every key that has another value; what files hold is compared elsewhere."""
    for name, key in keys(type(before)).items():
        here = f"{at}.{name}" if at else name
        old, new = (getattr(table, key.attribute) for table in (before, after))
        if here == "name" or _is_file(old) or _is_file(new):
            continue
        if at:
            # tables name cutters, which have tables of their own
            old, new = _names(old), _names(new)
        tables, others = _tables(old, here), _tables(new, here)
        if not (tables and others):
            tables, others = {here: old}, {here: new}
        for place in {**tables, **others}:
            mine, other = tables.get(place), others.get(place)
            if isinstance(mine, JobTable) and type(mine) is type(other):
                yield from _keys(mine, other, place)
            elif mine != other:
                yield KeyChange(place, _value(mine), _value(other))


def _is_file(value: object) -> bool:
    """Whether it is a file or several."""
    several = isinstance(value, tuple) and bool(value) and isinstance(value[0], NamedFile)
    return several or isinstance(value, NamedFile)


def _names(value: object) -> object:
    """The names of cutters in place of the cutters."""
    if isinstance(value, tuple):
        return tuple(_names(item) for item in value)
    return value.name if isinstance(value, Cutter) else value


def _tables(value: object, at: str) -> dict[str, JobTable]:
    """The tables of a key by their names, or their numbers if they have none; none of a value."""
    if isinstance(value, JobTable):
        return {at: value}
    if not isinstance(value, tuple):
        return {}
    rows = [row for row in value if isinstance(row, JobTable)]
    return {f"{at}.{getattr(row, 'name', n)}": row for n, row in enumerate(rows, 1)}


def _value(value: object) -> str:
    if value is None:
        return "none"
    return "a table" if isinstance(value, JobTable) else plain(value)
