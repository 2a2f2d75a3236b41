"""Isolation along the medial axis of every gap: all copper that need not go stays with its piece.

Every curve between two pieces is cut once. It belongs to the piece with the lower number, which it
goes around as far as no piece before has claimed it; so laps are closed or end on a lap of a piece
before, a little beyond it. Where the required gap needs more than one lap, the others run along
both sides of the curve, but never nearer to copper than the cutter is wide.

All outside of a board counts as one more piece: copper that is left along the edge is on no net.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.medial_axis import MedialAxis, medial_axis
from millprep.geometry.offset import boundaries_of, from_line, offset
from millprep.geometry.path import Path
from millprep.model.cut import Lap
from millprep.model.job.isolation import CutterUse, IsolationPlan
from millprep.toolpaths.isolation import GOUGE, Island, TightGap
from millprep.toolpaths.medial_chains import extended, medial_chains, turned

SMOOTH = 0.001
"""Places nearer than this to the line between others are left out, mm."""
LACKING = GOUGE - SMOOTH
"""A gap may lack so much on either side of the cutter, mm: `SMOOTH` comes on top, and the two
together are no gouge."""
SHORTEST = 0.02
"""Crumbs of path shorter than this are dropped, mm."""


@dataclass(frozen=True, slots=True)
class MedialLaps:
    """The laps one cutter needs across a gap: their distances from its medial axis.

    Attributes:
        pairs: distances above 0, outermost first; each is cut on both sides.
        centre: whether the medial axis itself is cut.
    """

    pairs: tuple[float, ...]
    centre: bool

    @classmethod
    def of(cls, foot: float, gap: float, overlap: float) -> MedialLaps:
        """The fewest laps in equal steps that open the gap at the foot without leaving ridges."""
        pitch = foot * (1 - overlap)
        count = 1 + max(0, math.ceil((gap - foot) / pitch - 1e-9))
        step = (gap - foot) / (count - 1) if count > 1 else 0.0
        half = (count - 1) / 2
        return cls(tuple((half - k) * step for k in range(count // 2)), count % 2 == 1)


def isolate_along_medial_axis(
    islands: Sequence[Island],
    outlines: Mapping[int, shapely.Polygon],
    plan: IsolationPlan,
    copper: float,
) -> tuple[tuple[Lap, ...], tuple[TightGap, ...]]:
    """The laps along the medial axis of every gap, and the gaps too tight for all cutters.

    Args:
        islands: all copper on one blank.
        outlines: area of every board on it, by placement.
        plan: gap, depth and cutters; the widest cutter that fits everywhere on a board serves it.
        copper: thickness of the foil.
    """
    laps: list[Lap] = []
    tight: list[TightGap] = []
    uses = plan.uses
    for placement, outline in outlines.items():
        mine = [island for island in islands if island.placement == placement]
        if not mine:
            continue
        shapes = [island.shape for island in mine]
        finest = uses[-1].surface
        # what reaches the edge ends there: no cutter passes between it and the edge
        axis = medial_axis(shapes, outline, finest)
        least = 2 * float(axis.clearance[axis.areas[:, 1] < len(mine)].min(initial=math.inf))
        fit = [use for use in uses if use.surface <= least + 2 * LACKING]
        use = fit[0] if fit else uses[-1]
        if use != uses[-1]:
            axis = medial_axis(shapes, outline, use.surface)
        board = _BoardGaps(mine, outline, axis, use, plan, copper)
        laps += board.laps()
        tight += tight_gaps(mine, axis, board.lost.tolist(), board.surface)
    return tuple(laps), tuple(tight)


class _BoardGaps:
    """One copy of a board and the medial axis of its gaps."""

    def __init__(
        self,
        islands: Sequence[Island],
        outline: shapely.Polygon,
        axis: MedialAxis,
        use: CutterUse,
        plan: IsolationPlan,
        copper: float,
    ) -> None:
        self.islands, self.outline, self.axis = islands, outline, axis
        self.use, self.plan = use, plan
        self.surface = use.surface
        self.foot = use.foot(copper)
        self.spacing = MedialLaps.of(self.foot, plan.gap, plan.overlap)
        self.rim_laps: list[tuple[BaseGeometry, int]] = []
        self.bound = offset(outline, self.surface)
        shapely.prepare(self.bound)
        rim = axis.areas[:, 1] == len(islands)
        self.kept = axis.clearance >= self.surface / 2 - LACKING
        # where no cutter passes between a piece and the edge, the piece ends at the edge
        self.lost = np.flatnonzero(~self.kept & ~rim)

    def laps(self) -> list[Lap]:
        """All laps, those nearest to the copper first."""
        laps: list[Lap] = []
        number = 0
        if self.spacing.pairs:
            cells = self._cells()
            for distance in self.spacing.pairs:
                for n, cell in enumerate(cells):
                    laps += self._side_laps(n, cell, distance, number)
                number += 1
        if self.spacing.centre:
            laps += self._centre(number, self.bound)
        else:
            where = self._between(laps)
            if not where.is_empty:
                laps += self._centre(number, where)
        return laps

    def _centre(self, number: int, where: BaseGeometry) -> list[Lap]:
        """The curves themselves, within an area."""
        laps = []
        for chain in medial_chains(self.axis, self.kept):
            line: BaseGeometry = shapely.LineString(extended(chain, self.outline, self.surface))
            line = shapely.simplify(line, SMOOTH)
            if not where.contains(line):
                line = line.intersection(where)
            laps += [self._lap(chain.owner, path, number) for path in _paths(line)]
        return laps

    def _between(self, laps: Sequence[Lap]) -> BaseGeometry:
        """Where three curves meet and the laps along them, which turn there, leave an island."""
        at = np.flatnonzero(self.axis.degree == 3)
        places = np.asarray(shapely.points(self.axis.places[at]))
        tree = shapely.STRtree([lap.path.line() for lap in laps])
        which, away = tree.query_nearest(places, all_matches=False, return_distance=True)
        # where more than three meet, the island may be next to the place
        far = away > 0.75 * self.foot / 2
        return shapely.union_all(shapely.buffer(places[which[0][far]], away[far]))

    def _lap(self, owner: int, path: Path, number: int) -> Lap:
        island = self.islands[owner]
        # chains and boundaries have copper on the left; a climbing cutter wants it on the right
        climb = self.plan.direction == "climb"
        return Lap(
            path.reversed() if climb else path,
            island.placement,
            island.piece,
            number,
            self.use.cutter.name,
            self.use.depth,
        )

    def _cells(self) -> list[BaseGeometry]:
        """What the curves give to every piece, and last the rim."""
        axis = self.axis
        lines = list(np.asarray(shapely.linestrings(axis.places[axis.chords[self.kept]])))
        rim = [shapely.LineString(boundary.coords) for boundary in boundaries_of(self.bound)]
        ends = [
            shapely.LineString(xy[-2:])
            for chain in medial_chains(self.axis, self.kept)
            for end in (chain, turned(chain))
            if end.branch_reach[1] is None
            # across the rim, not just up to it
            for xy in [extended(end, self.outline, self.surface + GOUGE)]
        ]
        noded = shapely.union_all([*lines, *rim, *ends])
        faces = shapely.get_parts(shapely.polygonize([noded]))
        tree = shapely.STRtree(faces)
        cells: list[BaseGeometry] = []
        taken: set[int] = set()
        for island in self.islands:
            inner = shapely.buffer(island.shape, -GOUGE)
            hits = tree.query(island.shape if inner.is_empty else inner, predicate="intersects")
            taken |= set(hits.tolist())
            cells.append(shapely.union_all(faces[np.sort(hits)]))
        rest = [face for n, face in enumerate(faces) if n not in taken]
        cells.append(shapely.union_all(rest) if rest else shapely.Polygon())
        return cells

    def _side_laps(self, n: int, cell: BaseGeometry, distance: float, number: int) -> Iterator[Lap]:
        """The laps on one side of the curves around a cell, by the cell's number."""
        inner = offset(cell, -distance)
        owner = n
        if n < len(self.islands):
            inner = shapely.union(inner, offset(self.islands[n].shape, self.surface / 2))
        for boundary in boundaries_of(inner):
            line: BaseGeometry = shapely.simplify(shapely.LineString(boundary.coords), SMOOTH)
            # along the board's own edge there is nothing to isolate
            line = line.intersection(offset(self.outline, -distance / 2))
            if n == len(self.islands) and not line.is_empty:
                owner = self._rim_owner(line)
            for path in _paths(line):
                yield self._lap(owner, path, number)

    def _rim_owner(self, line: BaseGeometry) -> int:
        """The piece that a lap around the rim counts to: the same for laps that lie side by side.

        Where passes meet, their joins lie next to each other.
        """
        away = shapely.distance(line, [rim for rim, _ in self.rim_laps])
        if len(away) and away.min() < self.foot:
            owner = self.rim_laps[int(np.argmin(away))][1]
        else:
            owner = int(
                np.argmin(shapely.distance(line, [island.shape for island in self.islands]))
            )
        self.rim_laps.append((line, owner))
        return owner


def tight_gaps(
    islands: Sequence[Island], axis: MedialAxis, lost: Sequence[int], width: float
) -> list[TightGap]:
    """One entry for every stretch between two pieces where the cutter does not fit."""
    tight: list[TightGap] = []
    by_pair: dict[tuple[int, int], list[int]] = {}
    for k in lost:
        a, b = axis.areas[k].tolist()
        by_pair.setdefault((a, b), []).append(k)
    for (a, b), chords in sorted(by_pair.items()):
        lines = np.asarray(shapely.linestrings(axis.places[axis.chords[chords]]))
        stretches = shapely.get_parts(shapely.line_merge(shapely.multilinestrings([*lines])))
        places = np.unique(axis.chords[chords])
        for stretch in stretches:
            on = [p for p in places.tolist() if stretch.distance(_at(axis, p)) < 1e-9]
            least = min(on, key=lambda p: float(axis.reach[p]))
            spot = _at(axis, least)
            tight.append(
                TightGap(
                    (islands[a], islands[b]),
                    (spot.x, spot.y),
                    2 * float(axis.reach[least]),
                    width,
                )
            )
    return tight


def _at(axis: MedialAxis, place: int) -> shapely.Point:
    return shapely.Point(axis.places[place])


def _paths(line: BaseGeometry) -> Iterator[Path]:
    """A line or its parts as paths."""
    parts = [
        g for g in shapely.get_parts(line) if isinstance(g, shapely.LineString) and not g.is_empty
    ]
    if not parts:
        return
    merged = shapely.line_merge(shapely.MultiLineString(parts), directed=True)
    for part in shapely.get_parts(merged):
        if part.length >= SHORTEST:
            yield from_line(part)
