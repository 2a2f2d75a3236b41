"""One step of nesting: the best free place for one board on a partly filled blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.model.layout import Spot
from millprep.nesting.coarse import covering
from millprep.nesting.parts import PLAY, FloatArray, convex_parts, no_fit
from millprep.nesting.wanted import Sheet, Wanted, pose_of

Regions = NDArray[np.object_]
DIGITS = 4
_NEAR = np.array([(i, j) for i in (-1, 0, 1, 2) for j in (-1, 0, 1, 2)])


@dataclass(frozen=True, slots=True)
class Lean:
    """What makes one place better than another; the lowest sum along the blank wins.

    Attributes:
        far: share of the board's far end in what is measured, the rest is its centroid's.
        across: weight of the position across the blank; below 0 packs against the far side.
    """

    far: float
    across: float


@dataclass(frozen=True, slots=True)
class Way:
    """One board in one turn, its low corner at (0, 0).

    Attributes:
        kind: place of the board in the list of what is wanted.
        turns: degrees, several if they make no difference; the first is written.
        shape: covers the board's outline.
        size: of the box around it.
        centroid: of the shape.
        allowed: False for the turn of a fixed copy that no further copy may have.
    """

    kind: int
    turns: tuple[float, ...]
    shape: shapely.Polygon
    size: tuple[float, float]
    centroid: tuple[float, float]
    allowed: bool = True


def ways_of(
    wanted: Sequence[Wanted], tolerance: float, fixed: Sequence[Spot] = ()
) -> tuple[Way, ...]:
    """Every board in every turn that makes a difference, outlines coarse within the tolerance.

    Allowed turns come first, then those that only fixed copies have.
    """
    ways: list[Way] = []
    for kind, one in enumerate(wanted):
        mine: list[Way] = []
        extra = [spot.turn for spot in fixed if spot.board == one.name]
        for turn in dict.fromkeys((*one.turns, *extra)):
            pose = pose_of(one.outline, one.mirrored, Spot(one.name, 1, 1, 0.0, 0.0, turn))
            true = shapely.normalize(pose.shape(one.outline))
            same = [n for n, w in enumerate(mine) if shapely.equals_exact(true, w.shape, 1e-7)]
            if same:
                mine[same[0]] = replace(mine[same[0]], turns=(*mine[same[0]].turns, turn))
                continue
            middle = shapely.centroid(true)
            size = (true.bounds[2], true.bounds[3])
            mine.append(Way(kind, (turn,), true, size, (middle.x, middle.y), turn in one.turns))
        ways += [replace(way, shape=covering(way.shape, tolerance)) for way in mine]
    return tuple(ways)


def allowed_ways(ways: Sequence[Way]) -> list[list[int]]:
    """For every kind the ways a further copy may have, as places in the list."""
    last = max(way.kind for way in ways)
    return [[n for n, w in enumerate(ways) if w.kind == k and w.allowed] for k in range(last + 1)]


def able(ways: Sequence[Way], fits: Sequence[bool]) -> list[int]:
    """All ways of the boards that a further copy can have in a way that fits."""
    kinds = {way.kind for way, one in zip(ways, fits, strict=True) if one and way.allowed}
    return [n for n, way in enumerate(ways) if way.kind in kinds]


class Placer(Protocol):
    """What the search needs of a packing; what it holds of a blank is the placer's own."""

    def empty(self, sheet: int) -> Any:
        """A blank with nothing on it."""

    def best(self, blank: Any, kind: int, lean: Lean) -> tuple[int, tuple[float, float]] | None:
        """The way and the low corner for one more of a kind, or None."""

    def filled(self, blank: Any, way: int, at: tuple[float, float], live: Sequence[int]) -> Any:
        """The blank with one more board on it; `live` counts what each kind still needs."""

    def work(self, live: Sequence[int]) -> int:
        """What putting one more board costs, in tenths of a millisecond or so."""


def scores(way: Way, at: FloatArray, lean: Lean, axis: int) -> FloatArray:
    """How far along the blank a board lies at each of (n, 2) low corners."""
    along = lean.far * way.size[axis] + (1 - lean.far) * way.centroid[axis]
    aside = way.centroid[1 - axis]
    if lean.across < 0:
        aside = 0.0
    result: FloatArray = at[:, axis] + along + lean.across * (at[:, 1 - axis] + aside)
    return result


class NoFit:
    """Places by no-fit polygons: for every way the region of low corners that are still free."""

    def __init__(self, ways: Sequence[Way], sheets: Sequence[Sheet]) -> None:
        self.ways = tuple(ways)
        self.sheets = tuple(sheets)
        self.kinds = np.array([way.kind for way in ways], dtype=np.intp)
        self._of = allowed_ways(ways)
        self._parts = [convex_parts(way.shape) for way in ways]
        self._rows: dict[tuple[float, int], Regions] = {}
        self._empty: dict[int, tuple[int, Regions]] = {}

    def empty(self, sheet: int) -> tuple[int, Regions]:
        """The sheet's number and its regions."""
        if sheet not in self._empty:
            self._empty[sheet] = (sheet, self._start(self.sheets[sheet]))
        return self._empty[sheet]

    def _start(self, sheet: Sheet) -> Regions:
        x0, y0, x1, y1 = sheet.outline.bounds
        obstacles: list[tuple[shapely.Polygon, float]] = [(k, 0.0) for k in sheet.keep_outs]
        beyond = shapely.box(x0, y0, x1, y1).difference(sheet.outline)
        obstacles += [
            (part, sheet.margin)
            for part in shapely.get_parts(beyond)
            if isinstance(part, shapely.Polygon) and part.area > 1e-9
        ]
        convex = [(convex_parts(shape), margin) for shape, margin in obstacles]
        regions = np.empty(len(self.ways), dtype=object)
        m = sheet.margin - PLAY
        for n, way in enumerate(self.ways):
            w, h = way.size
            if x0 + m > x1 - m - w or y0 + m > y1 - m - h:
                regions[n] = shapely.Polygon()
                continue
            free: BaseGeometry = shapely.box(x0 + m, y0 + m, x1 - m - w, y1 - m - h)
            for parts, margin in convex:
                free = free.difference(no_fit(parts, self._parts[n], margin))
            regions[n] = free
        for group in sheet.avoided:
            off = self._off(regions, group)
            for n in able(self.ways, [not free.is_empty for free in off]):
                regions[n] = off[n]
        return regions

    def _off(self, regions: Regions, group: Sequence[shapely.Polygon]) -> Regions:
        """Regions less what lies on a group of places."""
        off = regions.copy()
        for parts in map(convex_parts, group):
            for n, free in enumerate(off):
                if not free.is_empty:
                    off[n] = free.difference(no_fit(parts, self._parts[n], 0.0))
        return off

    def _row(self, way: int, spacing: float) -> Regions:
        """No-fit polygons of all ways around one; a pair's other half is turned by 180°."""
        if (spacing, way) not in self._rows:
            row = np.empty(len(self.ways), dtype=object)
            for n in range(len(self.ways)):
                other = self._rows.get((spacing, n))
                row[n] = (
                    no_fit(self._parts[way], self._parts[n], spacing)
                    if other is None
                    else shapely.transform(other[way], np.negative)
                )
            self._rows[spacing, way] = row
        return self._rows[spacing, way]

    def best(
        self, blank: tuple[int, Regions], kind: int, lean: Lean
    ) -> tuple[int, tuple[float, float]] | None:
        """The best corner of the regions, moved to a point that can be written exactly."""
        sheet, regions = blank
        axis = self.sheets[sheet].axis
        offers = []
        for way in self._of[kind]:
            corners = shapely.get_coordinates(regions[way])
            if len(corners):
                values = scores(self.ways[way], corners, lean, axis)
                offers.append((float(values.min()), int(way), corners, values))
        # A thousandth of PLAY decides between ways, so that no rounding does.
        offers.sort(key=lambda offer: (round(offer[0] / PLAY), offer[1]))
        for _, way, corners, values in offers:
            at = self._writable(way, regions[way], corners, values, lean, axis)
            if at is not None:
                return way, at
        return None

    def _writable(
        self,
        way: int,
        region: shapely.Geometry,
        corners: FloatArray,
        values: FloatArray,
        lean: Lean,
        axis: int,
    ) -> tuple[float, float] | None:
        """A point of the region on the grid of the digits written, near its best corner."""
        step = 10.0**-DIGITS
        for n in np.argsort(np.round(values / PLAY), kind="stable"):
            near = np.round((np.floor(corners[n] / step) + _NEAR) * step, DIGITS) + 0.0
            near = near[shapely.intersects_xy(region, near[:, 0], near[:, 1])]
            if len(near):
                best = near[int(np.argmin(scores(self.ways[way], near, lean, axis)))]
                return (float(best[0]), float(best[1]))
        return None

    def filled(
        self,
        blank: tuple[int, Regions],
        way: int,
        at: tuple[float, float],
        live: Sequence[int],
    ) -> tuple[int, Regions]:
        """The regions less the no-fit polygons around the board at its place."""
        sheet, regions = blank
        row = self._row(way, self.sheets[sheet].spacing)
        shift = np.array(at)
        wanted = np.flatnonzero(np.array(live)[self.kinds] > 0)
        moved = shapely.transform(row[wanted], lambda xy: xy + shift)
        result = regions.copy()
        result[wanted] = shapely.difference(regions[wanted], moved)
        return sheet, result

    def work(self, live: Sequence[int]) -> int:
        """Every region is cut once, and something is the same for all."""
        return 8 + sum(len(ways) for ways, left in zip(self._of, live, strict=True) if left > 0)
