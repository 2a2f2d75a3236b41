"""How far two passes may be misaligned before a place is a short, an open, or loses the gap.

Every place is examined where two passes cut within the largest misalignment of each other: joins,
and neighbours that whole loops of different passes separate. Copper away from such places is cut by
one pass alone and moves as it is.

How far the gap lasts is looked for only as far as it matters.

The shortest misalignment that does harm comes from a quadtree over all of them: the plane of
misalignments is covered by squares, the nearest to zero first. A square that its test does not
clear is split, until one of the tolerance's size stays in doubt: its nearest point is the answer.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import FloatArray, Point
from millprep.model.as_cut import AsCut, Certificate, CopperPart, Kind, Limit
from millprep.model.blank import Blank
from millprep.model.milling_pass import Join
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.contact import Axes, Cuts
from millprep.verify.separation import (
    FLOATING,
    ContinuityTest,
    IsolationTest,
    Mask,
    Surroundings,
    far,
)
from millprep.verify.sweep import Shapes, Steps, steps_of

TOLERANCE = 0.002
"""The answer is at most this far below the true one, mm."""
AT_ONCE = 16
"""So many squares are tested together."""
MOST = 0.5
"""Misalignments beyond this, mm, are not looked at."""
AHEAD = 1.5
"""How far the gap lasts is looked for up to so many times the expected misalignment."""

KINDS: tuple[Kind, ...] = ("short", "open", "gap")
Key = tuple[int, str]


class MisalignmentTest(Protocol):
    """What can say which misalignments it tolerates."""

    def holds(self, middle: FloatArray, near: FloatArray, reach: FloatArray) -> Mask:
        """Which squares of misalignments, all within `reach` of their middles, it tolerates whole.

        `near` are the squares' nearest points to no misalignment at all.
        """
        ...


def least_misalignment(place: MisalignmentTest, most: float) -> float:
    """Length of the shortest misalignment that the place is not known to tolerate, or `most`."""
    squares = [(0.0, 0.0, 0.0, most)]
    while squares and squares[0][0] < most:
        some = [heapq.heappop(squares)]
        while squares and squares[0][0] < most and len(some) < AT_ONCE:
            some.append(heapq.heappop(squares))
        _, x, y, half = np.array(some).T
        middle, side = np.column_stack((x, y)), half[:, None]
        near = np.copysign(np.maximum(np.abs(middle) - side, 0.0), middle)
        # what lies farther off than `most` does not matter: the rest of a square is in this box
        wide = np.sqrt(most**2 - near[:, ::-1] ** 2)
        low, high = np.maximum(middle - side, -wide), np.minimum(middle + side, wide)
        held = place.holds((low + high) / 2, near, np.hypot(*(high - low).T) / 2)
        for (away, cx, cy, size), good in zip(some, held.tolist(), strict=True):
            if good:
                continue
            # the nearest point of a square is no farther from its farthest than its diagonal
            if 2 * math.sqrt(2) * size <= TOLERANCE:
                most = min(most, away)
                continue
            part = size / 2
            for x in (cx - part, cx + part):
                for y in (cy - part, cy + part):
                    least = math.hypot(max(abs(x) - part, 0.0), max(abs(y) - part, 0.0))
                    heapq.heappush(squares, (least, x, y, part))
    return most


@dataclass(frozen=True, slots=True)
class _Place:
    """A place where two passes meet."""

    area: shapely.Polygon
    moving: int
    at: Point
    key: Key | None


def certificate_of(
    blanks: Sequence[MilledBlank],
    cuts: Sequence[Cuts],
    as_cuts: Sequence[AsCut],
    *,
    gap: float,
    edges: float,
) -> Certificate | None:
    """What misalignment the places of all blanks tolerate; None when no two passes meet on copper.

    `cuts` and `as_cuts` go blank by blank; `as_cuts` show whose copper is whose. `gap` is the
    required one, of which the tolerances of two edges may take `edges`; where less is left without
    any misalignment, no misalignment takes it. How far the gap lasts is looked for up to `AHEAD`
    times the expected misalignment.
    """
    limits: list[dict[Kind, Limit]] = []
    levers: list[float] = []
    ends: list[float] = []
    for blank, of_blank, copper in zip(blanks, cuts, as_cuts, strict=True):
        passes = {mill_pass.number: mill_pass for mill_pass in blank.passes}
        if len(passes) < 2:
            continue
        here = [join for join in blank.joins if join.piece is not None]
        # to the digits of the report, from which it must come out the same
        expected = [round(join.predicted, 4) for join in here if join.predicted is not None]
        ahead = min(AHEAD * max(expected, default=MOST), MOST)
        places, limit_of = _limits(
            steps_of(of_blank), blank.laminate, copper, here, gap - edges, ahead
        )
        if limit_of is None:
            continue
        limits.append(limit_of)
        ends.append(ahead)
        for place in places:
            holes = [
                hole.blank for hole in passes[place.moving].registration if hole.role == "locate"
            ]
            middle = np.mean(holes, axis=0) if holes else np.zeros(2)
            corners = shapely.get_coordinates(place.area)
            levers.append(float(np.hypot(*(corners - middle).T).max()))
    if not limits:
        return None

    def first(kind: Kind) -> Limit:
        return min((limit[kind] for limit in limits), key=lambda limit: limit.misalignment)

    end: dict[Kind, float] = {
        "short": MOST, "open": first("short").misalignment, "gap": min(ends),
    }  # fmt: skip
    tolerated = min(first("short").misalignment, first("open").misalignment)
    lever = max(levers)
    # a turn shifts every point of a place by its distance from the middle of the holes
    turn = math.degrees(2 * math.asin(min(tolerated / (2 * lever), 1.0))) if lever else 180.0
    return Certificate(
        first("short"),
        first("open"),
        first("gap"),
        gap - edges,
        turn,
        at_least=tuple(kind for kind in KINDS if first(kind).misalignment >= end[kind] - TOLERANCE),
    )


@cached
def _limits(
    cuts: Sequence[Steps],
    blank: Blank,
    copper: AsCut,
    joins: Sequence[Join],
    gap: float,
    ahead: float,
) -> tuple[list[_Place], dict[Kind, Limit] | None]:
    """The places of a blank, and what gives way first at them."""
    axes = Axes.of(cuts)
    moving = sorted({cut.number for cut in cuts})[1:]
    places = [at for k in moving for at in _places(axes, k, joins)]
    return places, _weakest(axes, blank, copper, places, gap, ahead)


def _places(axes: Axes, moving: int, joins: Sequence[Join]) -> list[_Place]:
    """Where a pass meets earlier ones; those with a join are named after it and come first."""
    places = []
    for area in axes.contacts(moving, MOST).tolist():
        here = [
            join
            for join in joins
            if max(join.passes) == moving and area.intersects(shapely.Point(join.at))
        ]
        spot = area.representative_point()
        at = here[0].at if here else (float(spot.x), float(spot.y))
        key = (here[0].placement, str(here[0].piece)) if here else None
        places.append(_Place(area, moving, at, key))
    return sorted(places, key=lambda place: (place.key is None, place.at))


@dataclass(slots=True)
class _Carriers:
    """Whose copper is whose: the parts that carry pieces, each numbered from 1."""

    parts: list[CopperPart]
    tree: shapely.STRtree

    @staticmethod
    def of(parts: Sequence[CopperPart]) -> _Carriers:
        carriers = [part for part in parts if part.pieces]
        return _Carriers(carriers, shapely.STRtree([part.shape for part in carriers]))

    def label(self, parts: Shapes) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
        """The number of the part that each is a section of, 0 for floating copper."""
        result = np.full(len(parts), FLOATING, dtype=np.int64)
        which, carrier = self.tree.query(shapely.point_on_surface(parts), predicate="intersects")
        result[which] = carrier + 1
        return result

    def key(self, number: int) -> Key:
        """The first piece of a part."""
        return self.parts[number - 1].pieces[0]


class _Work:
    """The places of a blank and the grooves around them."""

    def __init__(self, axes: Axes, blank: Blank, copper: AsCut, places: Sequence[_Place]) -> None:
        boxes = shapely.buffer([place.area for place in places], far(MOST), quad_segs=2)
        near = axes.near(np.asarray(boxes))
        self.foot, self.surface = near.grooves(blank.copper), near.grooves(0.0)
        self.carriers = _Carriers.of(copper.parts)
        self.upper = _Carriers.of(copper.surface or copper.parts)

    def around(self, place: _Place, most: float, *, surface: bool = False) -> Surroundings:
        grooves = self.surface if surface else self.foot
        wide = place.area.buffer(far(MOST), quad_segs=2).bounds
        near = {n: shapely.clip_by_rect(groove, *wide) for n, groove in grooves.items()}
        rest = shapely.union_all([groove for n, groove in near.items() if n != place.moving])
        label = (self.upper if surface else self.carriers).label
        return Surroundings(rest, near[place.moving], place.area, label, most)


def _weakest(
    axes: Axes,
    blank: Blank,
    copper: AsCut,
    places: Sequence[_Place],
    gap: float,
    ahead: float,
) -> dict[Kind, Limit] | None:
    """What gives way first on a blank, by what is lost; None when no copper is at stake.

    Of a place that tolerates more than the weakest so far, how much more is not worked out, which
    is far quicker.
    """
    if not places:
        return None
    work = _Work(axes, blank, copper, places)
    best: dict[Kind, Limit] = {}
    for place in places:
        foot = work.around(place, MOST)
        sides = IsolationTest(foot, 0.0)
        own = foot.of[foot.of != FLOATING]
        if place.key is None and not len(own):
            # nothing but floating copper, or no copper that both passes come near
            continue
        key = place.key or work.carriers.key(int(own[0]))

        def keep(kind: Kind, most: float, tolerated: float, place: _Place, key: Key) -> None:
            if kind not in best or tolerated < most:
                best[kind] = Limit(tolerated, blank.number, place.at, *key)

        most = _enough(best, "short", MOST)
        tolerated = least_misalignment(sides, most) if sides.seen else (0.0 if place.key else most)
        keep("short", most, tolerated, place, key)
        # Beyond a short nobody can say what is the piece and what is not.
        most = _enough(best, "open", best["short"].misalignment)
        surface = ContinuityTest(work.around(place, best["short"].misalignment, surface=True))
        keep("open", most, least_misalignment(surface, most) if surface.seen else most, place, key)
        most = _enough(best, "gap", ahead)
        near = IsolationTest(work.around(place, ahead), gap - 1e-6)
        keep("gap", most, least_misalignment(near, most) if near.seen else most, place, key)
    return best or None


def _enough(best: Mapping[Kind, Limit], kind: Kind, most: float) -> float:
    """How much a place must tolerate so that it is no weaker than the weakest so far.

    One that tolerates as much within the tolerance is as weak: no need to know.
    """
    if kind in best and best[kind].misalignment < most:
        return max(best[kind].misalignment - TOLERANCE, 0.0)
    return most
