"""Which pass frees what of a blank: the last one that reaches the place.

So pass k cuts through only what no later pass reaches, and the frame that carries the
registration holes stays whole until the last. A board that lies in one region is cut in one pass,
with all its copper and holes.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.blank import Box
from millprep.passes.shift import ShiftPlan

NO_SOLE_PASS: Mapping[int, int] = MappingProxyType({})
"""No board has a pass of its own."""
SLACK = 1e-6
"""Rounding that a board may reach over the end of a region, mm."""


def crowded(overrun: float) -> float:
    """Stretches shorter than this are not cut apart; half of it lies within a line's margin."""
    return min(4 * overrun, 2 * (overrun + 1.0))


def least_overlap(radius: float) -> float:
    """What two windows must share so that profiles can be handed on, also in a grid."""
    return 2 * profile_slack(profile_overrun(radius), grid=True)


def profile_slack(overrun: float, *, grid: bool) -> float:
    """How far inside its window a pass takes over profiles; half of what windows must share."""
    return overrun + (crowded(overrun) if grid else 1.0)


def profile_overrun(radius: float) -> float:
    """How far both sides of a join in a profile are cut past it."""
    return radius + 0.5


@dataclass(frozen=True, slots=True)
class Regions:
    """The regions of all passes.

    Attributes:
        inner: windows, less what overruns need on the sides that face other passes.
    """

    inner: tuple[Box, ...]

    @classmethod
    def of(cls, shift: ShiftPlan, overrun: float) -> Regions:
        """The regions of a plan."""
        slack = profile_slack(overrun, grid=bool(shift.cells))
        return cls(tuple(shift.inner(k, slack) for k in range(len(shift.windows))))

    @property
    def lines(self) -> list[tuple[int, float]]:
        """Everything that may bound a region: (axis, value)."""
        return sorted(
            {
                line
                for box in self.inner
                for line in ((0, box.x0), (0, box.x1), (1, box.y0), (1, box.y1))
            }
        )

    def owner(self, at: Point) -> int:
        """The pass (from 0) that cuts here; the nearest one where none reaches."""
        reached = [k for k, box in enumerate(self.inner) if box.contains(*at)]
        if reached:
            return reached[-1]
        x, y = at
        off = [max(box.x0 - x, x - box.x1, box.y0 - y, y - box.y1, 0.0) for box in self.inner]
        return min(range(len(off)), key=off.__getitem__)

    def areas(self) -> tuple[BaseGeometry, ...]:
        """What every pass cuts through, blank frame."""
        boxes = [shapely.box(b.x0, b.y0, b.x1, b.y1) for b in self.inner]
        return tuple(
            box.difference(shapely.union_all(boxes[k + 1 :])) for k, box in enumerate(boxes)
        )

    def join_lines(self) -> tuple[shapely.LineString, ...]:
        """Straight lines along which two regions meet, blank frame."""
        found: list[shapely.LineString] = []
        for one, other in itertools.combinations(self.areas(), 2):
            common = shapely.line_merge(one.boundary.intersection(other.boundary))
            for part in shapely.get_parts(common):
                if part.length > SLACK:
                    corners = list(part.coords)
                    found += [shapely.LineString(pair) for pair in itertools.pairwise(corners)]
        return tuple(found)

    def whole(self, outlines: Mapping[int, BaseGeometry], reach: float) -> dict[int, int]:
        """The pass (from 0) that alone cuts a board, for every board that lies in one region.

        Of a single pass nothing is told.

        Args:
            outlines: of boards, by any number; blank frame.
            reach: how far from its outline the cutter's axis frees a board.
        """
        if len(self.inner) < 2:
            return {}
        areas = [area.buffer(SLACK, join_style="mitre") for area in self.areas()]
        found = {}
        for number, outline in outlines.items():
            x0, y0, x1, y1 = outline.bounds
            swept = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
            k = next((k for k, area in enumerate(areas) if area.covers(swept)), None)
            if k is not None:
                found[number] = k
        return found

    def across(
        self, outlines: Mapping[int, BaseGeometry], reach: float, size: tuple[float, float]
    ) -> tuple[int, ...]:
        """Boards that several passes cut, though one could cut them whole as they are turned.

        Args:
            outlines: of boards, by any number; blank frame.
            reach: how far from its outline the cutter's axis frees a board.
            size: of the blank.
        """
        if len(self.inner) < 2:
            return ()
        blank = shapely.box(0.0, 0.0, *size)
        rooms = [area.intersection(blank).bounds for area in self.areas()]
        whole = self.whole(outlines, reach)
        found = []
        for number, outline in outlines.items():
            x0, y0, x1, y1 = outline.bounds
            w, h = x1 - x0 + 2 * reach, y1 - y0 + 2 * reach
            short = any(u1 - u0 >= w and v1 - v0 >= h for u0, v0, u1, v1 in rooms)
            if short and number not in whole:
                found.append(number)
        return tuple(found)
