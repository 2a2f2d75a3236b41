"""Isolation: laps around every copper piece, to the required gap.

Two widths of the groove matter. The path keeps half the width at the *surface* from the
copper, so that its edge is met and no neighbour is gouged; laps are counted by the
width at the *foot*, where the gap is judged.

Laps are made per piece from the piece itself, never from each other or from the union
of the copper: the union would lose laps in tight gaps. What would gouge a neighbour is
left out; from the second lap on also what a neighbour's own first lap clears.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import boundaries_of, from_line, offset, offsets
from millprep.geometry.path import Path, Point
from millprep.model.cut import Lap
from millprep.model.job.isolation import CutterUse, IsolationPlan

GOUGE = 0.003
"""How far a groove may reach into a neighbour before the lap is broken, mm."""
SHORTEST = 0.02
"""Crumbs of path shorter than this are dropped, mm; their neighbours cover them."""


@dataclass(frozen=True, slots=True)
class Island:
    """A copper piece on a blank: which copy, which piece, where (blank frame)."""

    placement: int
    piece: str
    shape: shapely.Polygon


@dataclass(frozen=True, slots=True)
class TightGap:
    """A place where not even the finest cutter fits between two pieces.

    Attributes:
        gap: distance between the pieces there.
        width: what the finest cutter would cut at the surface.

    """

    pieces: tuple[Island, Island]
    at: Point
    gap: float
    width: float


@dataclass(frozen=True, slots=True)
class LapSpacing:
    """Laps one cutter needs for a gap: axis distances from the copper's edge, in order."""

    distances: tuple[float, ...]
    surface: float
    foot: float

    @property
    def pitch(self) -> float:
        """Distance between neighbouring laps; the foot width when there is only one."""
        return self.distances[1] - self.distances[0] if len(self.distances) > 1 else self.foot

    @classmethod
    def for_gap(cls, use: CutterUse, plan: IsolationPlan, copper: float) -> LapSpacing:
        """The fewest equal steps that open the gap at the foot without leaving ridges."""
        surface, foot = use.surface, use.foot(copper)
        # at the shallowest place the groove is still as wide as the overlap takes for granted
        pitch = foot * (1 - plan.overlap)
        count = 1 + max(0, math.ceil((plan.gap - foot) / pitch - 1e-9))
        step = (plan.gap - foot) / (count - 1) if count > 1 else 0.0
        return cls(tuple(surface / 2 + k * step for k in range(count)), surface, foot)


def isolate(
    islands: Sequence[Island],
    edge: BaseGeometry,
    plan: IsolationPlan,
    copper: float,
) -> tuple[tuple[Lap, ...], tuple[TightGap, ...]]:
    """The laps around every piece, widest cutter first, and the gaps too tight for all.

    Args:
        islands: all copper on one blank.
        edge: area of the boards on that blank; nothing outside needs isolation.
        plan: gap, depth and cutters.
        copper: thickness of the foil.

    """
    shapes = np.array([island.shape for island in islands], dtype=object)
    tree = shapely.STRtree(shapes)
    laps: list[Lap] = []
    missing: dict[int, BaseGeometry] | None = None
    tight: list[TightGap] = []
    for use in plan.uses:
        spacing = LapSpacing.for_gap(use, plan, copper)
        made, broken = _with_cutter(islands, tree, edge, plan, use, spacing, missing)
        laps += made
        missing = {i: offset(line, spacing.surface) for i, line in broken.items()}
        if use == plan.uses[-1]:
            tight = _tight_gaps(islands, tree, broken, spacing)
        if not missing:
            break
    return tuple(laps), tuple(tight)


def _with_cutter(
    islands: Sequence[Island],
    tree: shapely.STRtree,
    edge: BaseGeometry,
    plan: IsolationPlan,
    use: CutterUse,
    spacing: LapSpacing,
    only: dict[int, BaseGeometry] | None,
) -> tuple[list[Lap], dict[int, BaseGeometry]]:
    """One cutter's laps, and per island what of its first lap had to be left out."""
    which = range(len(islands)) if only is None else sorted(only)
    chosen = [islands[i].shape for i in which]
    bound = offset(edge, spacing.surface)
    shapely.prepare(bound)
    first_zone = spacing.surface / 2 - GOUGE
    # what a neighbour's own first lap clears, counted from its edge, needs no later lap
    later_zone = max(first_zone, spacing.surface / 2 + spacing.foot - spacing.pitch)
    laps: list[Lap] = []
    broken: dict[int, BaseGeometry] = {}
    for number, distance in enumerate(spacing.distances):
        grown = offsets(chosen, distance)
        if number < 2:
            kept_clear = later_zone if number else first_zone
            zone = offsets(list(tree.geometries), kept_clear)
        near = _neighbours(tree, chosen, distance + kept_clear)
        for k, i in enumerate(which):
            keep_out = [zone[j] for j in near[k] if j != i]
            for boundary in boundaries_of(grown[k]):
                line: BaseGeometry = shapely.LineString(boundary.coords)
                if not bound.contains(line):
                    line = line.intersection(bound)
                if keep_out:
                    whole = line
                    line = _less(line, keep_out)
                    if number == 0 and line is not whole:
                        lost = whole.difference(line)
                        if lost.length > SHORTEST:
                            broken[i] = lost if i not in broken else shapely.union(broken[i], lost)
                if only is not None:
                    line = line.intersection(only[i])
                laps += [
                    Lap(
                        path,
                        islands[i].placement,
                        islands[i].piece,
                        number,
                        use.cutter.name,
                        use.depth,
                    )
                    for path in _paths(line, boundary, plan.direction == "climb")
                ]
    return laps, broken


def _neighbours(
    tree: shapely.STRtree, shapes: Sequence[BaseGeometry], reach: float
) -> list[list[int]]:
    """For every shape the pieces within reach of it."""
    near: list[list[int]] = [[] for _ in shapes]
    a, b = tree.query(np.asarray(shapes, dtype=object), predicate="dwithin", distance=reach)
    for k, j in zip(a.tolist(), b.tolist(), strict=True):
        near[k].append(j)
    return near


def _less(line: BaseGeometry, zones: Sequence[BaseGeometry]) -> BaseGeometry:
    """The line without what lies in the zones; the very same object when nothing does."""
    hit = [zone for zone in zones if zone.intersects(line)]
    if not hit:
        return line
    x0, y0, x1, y1 = line.bounds
    clipped = [shapely.clip_by_rect(zone, x0 - 1, y0 - 1, x1 + 1, y1 + 1) for zone in hit]
    return shapely.difference(line, shapely.union_all(clipped) if len(clipped) > 1 else clipped[0])


def _paths(line: BaseGeometry, boundary: shapely.LinearRing, climb: bool) -> Iterable[Path]:
    """The pieces of a lap as paths, every one in the required direction."""
    if line.is_empty:
        return
    if not isinstance(line, shapely.LineString):
        line = shapely.line_merge(
            shapely.MultiLineString(
                [g for g in shapely.get_parts(line) if isinstance(g, shapely.LineString)]
            )
        )
    for part in shapely.get_parts(line):
        if part.length < SHORTEST:
            continue
        path = from_line(part)
        if not _along(part, path, boundary):
            path = path.reversed()
        # the boundary has its copper on the left; a climbing cutter wants it on the right
        yield path.reversed() if climb else path


def _along(line: shapely.LineString, path: Path, boundary: shapely.LinearRing) -> bool:
    """Whether a piece of a boundary, a line with its path, runs the way the boundary does."""
    if path.closed:
        return bool(shapely.is_ccw(line) == boundary.is_ccw)
    step = min(path.length / 3, 0.05)
    a, b = (shapely.Point(path.point_at(s)) for s in (0.0, step))
    forward = (boundary.project(b) - boundary.project(a)) % boundary.length
    return bool(forward < boundary.length / 2)


def _tight_gaps(
    islands: Sequence[Island],
    tree: shapely.STRtree,
    broken: dict[int, BaseGeometry],
    spacing: LapSpacing,
) -> list[TightGap]:
    """One entry for every place where two pieces are too close for the finest cutter."""
    tight: list[TightGap] = []
    for i, lost in sorted(broken.items()):
        for part in shapely.get_parts(shapely.line_merge(lost)):
            middle = part.interpolate(0.5, normalized=True)
            others = [
                j for j in tree.query(part, predicate="dwithin", distance=spacing.surface) if j != i
            ]
            j = min(others, key=lambda j: (islands[j].shape.distance(middle), j))
            # each place is met from both sides; the lower number reports it
            if j < i and j in broken and broken[j].distance(part) < 2 * spacing.surface:
                continue
            spot = part.intersection(offset(islands[j].shape, spacing.surface))
            reach = shapely.shortest_line(
                islands[i].shape.intersection(offset(spot, spacing.surface)), islands[j].shape
            )
            at = reach.interpolate(0.5, normalized=True)
            tight.append(
                TightGap((islands[i], islands[int(j)]), (at.x, at.y), reach.length, spacing.surface)
            )
    return tight
