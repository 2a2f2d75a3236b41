"""One step of nesting: the best free place for one board on a partly filled blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray
from millprep.model.blank import Spot
from millprep.nesting.no_fit import PLAY, convex_parts, covering, no_fit
from millprep.nesting.wanted import StockSheet, Wanted, pose_of

Regions = NDArray[np.object_]
DIGITS = 4
_NEAR = np.array([(i, j) for i in (-1, 0, 1, 2) for j in (-1, 0, 1, 2)])


@dataclass(frozen=True, slots=True)
class Lean:
    """What makes one place better than another; the lowest sum along the blank wins.

    Attributes:
        far: weight of the board's far end in what is measured, the rest is its centroid's.
        across: weight of the position across the blank; below 0 packs against the far side.
    """

    far: float
    across: float


@dataclass(frozen=True, slots=True)
class Orientation:
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


def orientations_of(
    wanted: Sequence[Wanted], tolerance: float, fixed: Sequence[Spot] = ()
) -> tuple[Orientation, ...]:
    """Every board in every turn that makes a difference, outlines simplified within the tolerance.

    Allowed turns come first, then those that only fixed copies have.
    """
    orientations: list[Orientation] = []
    for kind, board in enumerate(wanted):
        mine: list[Orientation] = []
        extra = [spot.turn for spot in fixed if spot.board == board.name]
        for turn in dict.fromkeys((*board.turns, *extra)):
            pose = pose_of(board.outline, board.mirrored, Spot(board.name, 1, 1, 0.0, 0.0, turn))
            true = shapely.normalize(pose.shape(board.outline))
            same = [n for n, w in enumerate(mine) if shapely.equals_exact(true, w.shape, 1e-7)]
            if same:
                mine[same[0]] = replace(mine[same[0]], turns=(*mine[same[0]].turns, turn))
                continue
            centre = shapely.centroid(true)
            size = (true.bounds[2], true.bounds[3])
            mine.append(
                Orientation(kind, (turn,), true, size, (centre.x, centre.y), turn in board.turns)
            )
        orientations += [
            replace(orientation, shape=covering(orientation.shape, tolerance))
            for orientation in mine
        ]
    return tuple(orientations)


def allowed_orientations(orientations: Sequence[Orientation]) -> list[list[int]]:
    """For every kind the orientations a further copy may have, as indices in the list."""
    last = max(orientation.kind for orientation in orientations)
    return [
        [n for n, w in enumerate(orientations) if w.kind == k and w.allowed]
        for k in range(last + 1)
    ]


def able(orientations: Sequence[Orientation], fits: Sequence[bool]) -> list[int]:
    """All orientations of the boards of which some allowed orientation fits."""
    kinds = {
        orientation.kind
        for orientation, fit in zip(orientations, fits, strict=True)
        if fit and orientation.allowed
    }
    return [n for n, orientation in enumerate(orientations) if orientation.kind in kinds]


class Placer(Protocol):
    """What the search needs of a packing; what it holds of a blank is the placer's own."""

    def empty(self, sheet: int) -> Any:
        """A blank with nothing on it."""

    def best(self, blank: Any, kind: int, lean: Lean) -> tuple[int, tuple[float, float]] | None:
        """The orientation and the low corner for one more of a kind, or None."""

    def filled(
        self, blank: Any, orientation: int, at: tuple[float, float], live: Sequence[int]
    ) -> Any:
        """The blank with one more board on it; `live` counts what each kind still needs."""

    def work(self, live: Sequence[int]) -> int:
        """What putting one more board costs, in tenths of a millisecond or so."""


def scores(orientation: Orientation, at: FloatArray, lean: Lean, axis: int) -> FloatArray:
    """How far along the blank a board lies at each of (n, 2) low corners."""
    along = lean.far * orientation.size[axis] + (1 - lean.far) * orientation.centroid[axis]
    aside = orientation.centroid[1 - axis]
    if lean.across < 0:
        aside = 0.0
    result: FloatArray = at[:, axis] + along + lean.across * (at[:, 1 - axis] + aside)
    return result


class NoFit:
    """Places by no-fit polygons: for every orientation the region of free low corners."""

    def __init__(self, orientations: Sequence[Orientation], sheets: Sequence[StockSheet]) -> None:
        self.orientations = tuple(orientations)
        self.sheets = tuple(sheets)
        self.kinds = np.array([orientation.kind for orientation in orientations], dtype=np.intp)
        self._of = allowed_orientations(orientations)
        self._parts = [convex_parts(orientation.shape) for orientation in orientations]
        self._rows: dict[tuple[float, int], Regions] = {}
        self._empty: dict[int, tuple[int, Regions]] = {}

    def empty(self, sheet: int) -> tuple[int, Regions]:
        """The sheet's number and its regions."""
        if sheet not in self._empty:
            self._empty[sheet] = (sheet, self._start(self.sheets[sheet]))
        return self._empty[sheet]

    def _start(self, sheet: StockSheet) -> Regions:
        x0, y0, x1, y1 = sheet.outline.bounds
        obstacles: list[tuple[shapely.Polygon, float]] = [(k, 0.0) for k in sheet.keep_outs]
        beyond = shapely.box(x0, y0, x1, y1).difference(sheet.outline)
        obstacles += [
            (part, sheet.margin)
            for part in shapely.get_parts(beyond)
            if isinstance(part, shapely.Polygon) and part.area > 1e-9
        ]
        convex = [(convex_parts(shape), margin) for shape, margin in obstacles]
        regions = np.empty(len(self.orientations), dtype=object)
        m = sheet.margin - PLAY
        for n, orientation in enumerate(self.orientations):
            w, h = orientation.size
            if x0 + m > x1 - m - w or y0 + m > y1 - m - h:
                regions[n] = shapely.Polygon()
                continue
            free: BaseGeometry = shapely.box(x0 + m, y0 + m, x1 - m - w, y1 - m - h)
            for parts, margin in convex:
                free = free.difference(no_fit(parts, self._parts[n], margin))
            regions[n] = free
        for group in sheet.avoided:
            off = self._off(regions, group)
            for n in able(self.orientations, [not free.is_empty for free in off]):
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

    def _row(self, orientation: int, spacing: float) -> Regions:
        """No-fit polygons of all orientations around one; a pair's other half is turned by 180°."""
        if (spacing, orientation) not in self._rows:
            row = np.empty(len(self.orientations), dtype=object)
            for n in range(len(self.orientations)):
                other = self._rows.get((spacing, n))
                row[n] = (
                    no_fit(self._parts[orientation], self._parts[n], spacing)
                    if other is None
                    else shapely.transform(other[orientation], np.negative)
                )
            self._rows[spacing, orientation] = row
        return self._rows[spacing, orientation]

    def best(
        self, blank: tuple[int, Regions], kind: int, lean: Lean
    ) -> tuple[int, tuple[float, float]] | None:
        """The best corner of the regions, moved to a point that can be written exactly."""
        sheet, regions = blank
        axis = self.sheets[sheet].axis
        offers = []
        for orientation in self._of[kind]:
            corners = shapely.get_coordinates(regions[orientation])
            if len(corners):
                values = scores(self.orientations[orientation], corners, lean, axis)
                offers.append((float(values.min()), int(orientation), corners, values))
        # A thousandth of PLAY decides between orientations, so that no rounding does.
        offers.sort(key=lambda offer: (round(offer[0] / PLAY), offer[1]))
        for _, orientation, corners, values in offers:
            at = self._writable(orientation, regions[orientation], corners, values, lean, axis)
            if at is not None:
                return orientation, at
        return None

    def _writable(
        self,
        orientation: int,
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
                best = near[
                    int(np.argmin(scores(self.orientations[orientation], near, lean, axis)))
                ]
                return (float(best[0]), float(best[1]))
        return None

    def filled(
        self,
        blank: tuple[int, Regions],
        orientation: int,
        at: tuple[float, float],
        live: Sequence[int],
    ) -> tuple[int, Regions]:
        """The regions less the no-fit polygons around the board at its place."""
        sheet, regions = blank
        row = self._row(orientation, self.sheets[sheet].spacing)
        shift = np.array(at)
        wanted = np.flatnonzero(np.array(live)[self.kinds] > 0)
        shifted = shapely.transform(row[wanted], lambda xy: xy + shift)
        result = regions.copy()
        result[wanted] = shapely.difference(regions[wanted], shifted)
        return sheet, result

    def work(self, live: Sequence[int]) -> int:
        """Every region is cut once, and something is the same for all."""
        return 8 + sum(
            len(orientations) for orientations, left in zip(self._of, live, strict=True) if left > 0
        )
