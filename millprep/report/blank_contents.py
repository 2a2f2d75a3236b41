"""One blank ready to be drawn: everything that lies on it, moved into its frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut
from millprep.model.blank import Blank, Box, Placement
from millprep.model.board import Hole
from millprep.model.cut import Clearing, HoleCut, Lap, Profile
from millprep.model.cutter import Cutter
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet, MilledBlank


@dataclass(frozen=True, slots=True)
class DrawnCopy:
    """One copy in the blank frame; `pieces` are (id, shape)."""

    placement: Placement
    outline: shapely.Polygon
    pieces: tuple[tuple[str, shapely.Polygon], ...]
    holes: tuple[Hole, ...]

    @property
    def title(self) -> str:
        """Board and copy in words."""
        return f"{self.placement.board.name} copy {self.placement.copy}"


@dataclass(frozen=True, slots=True)
class BlankContents:
    """All that lies on one blank.

    Attributes:
        cutters: the cutters in the order of the set, used or not; the place gives the style.
        narrowest_gap: between two pieces as cut, mm, and where.
    """

    blank: Blank
    cutters: tuple[Cutter, ...]
    placed: tuple[DrawnCopy, ...]
    laps: tuple[Lap, ...]
    holes: tuple[HoleCut, ...]
    profiles: tuple[Profile, ...]
    joins: tuple[Join, ...]
    passes: tuple[MillingPass, ...]
    programs: tuple[Program, ...]
    as_cut: AsCut | None
    clearings: tuple[Clearing, ...] = ()
    narrowest_gap: tuple[float, Point] | None = None

    @property
    def pieces(self) -> list[shapely.Polygon]:
        """Every piece of copper."""
        return [shape for placed in self.placed for _, shape in placed.pieces]

    @property
    def hole_areas(self) -> list[shapely.Polygon]:
        """The area of every hole of the boards."""
        every = [hole for placed in self.placed for hole in placed.holes]
        # all round ones at once: one point at a time takes ten times as long
        spines: Any = shapely.points(np.array([hole.at for hole in every]).reshape(-1, 2))
        for k, hole in enumerate(every):
            if hole.end is not None:
                spines[k] = hole.spine
        areas: list[shapely.Polygon] = shapely.buffer(
            spines, [hole.diameter / 2 for hole in every], quad_segs=4
        ).tolist()
        return areas

    @property
    def path_cuts(self) -> list[Lap | Clearing | Profile]:
        """Everything that is cut along a path."""
        return [*self.laps, *self.clearings, *self.profiles]

    @property
    def registration(self) -> dict[str, RegistrationHole]:
        """Each registration hole once, by id."""
        return {hole.id: hole for milling_pass in self.passes for hole in milling_pass.registration}

    def box(self) -> Box:
        """The blank, and anything that sticks out of it."""
        x, y = self.blank.size
        corners = [(0.0, 0.0), (x, y)]
        for placed in self.placed:
            x0, y0, x1, y1 = placed.outline.bounds
            corners += [(x0, y0), (x1, y1)]
        return around(corners)


def contents_of(cut_set: CutSet, blank: MilledBlank) -> BlankContents:
    """What lies on one blank of a set, its boards moved into its frame."""
    gaps = [
        (copy.proof.narrowest_gap, copy.proof.gap_at)
        for copy in blank.copies
        if copy.proof is not None
        and copy.proof.narrowest_gap is not None
        and copy.proof.gap_at is not None
    ]
    return BlankContents(
        blank=blank.laminate,
        cutters=ordered_cutters(cut_set),
        placed=tuple(map(_placed, blank.placements)),
        laps=blank.cuts.laps,
        holes=blank.cuts.holes,
        profiles=blank.cuts.profiles,
        joins=blank.joins,
        passes=blank.passes,
        programs=blank.programs,
        as_cut=blank.as_cut,
        clearings=blank.cuts.clearings,
        narrowest_gap=min(gaps, default=None),
    )


def _placed(placement: Placement) -> DrawnCopy:
    pose, board = placement.pose, placement.board
    shapes = posed([piece.shape for piece in board.pieces], pose)
    ids = (piece.id for piece in board.pieces)
    return DrawnCopy(
        placement,
        pose.shape(board.outline),
        tuple(zip(ids, shapes, strict=True)),
        tuple(hole.transformed(pose) for hole in board.holes),
    )


def posed(shapes: Sequence[shapely.Polygon], pose: Pose) -> list[shapely.Polygon]:
    """All shapes at once in another frame."""
    array: list[shapely.Polygon] = list(
        shapely.transform(np.array(shapes, dtype=object), pose.points)
    )
    return array


def ordered_cutters(cut_set: CutSet) -> tuple[Cutter, ...]:
    """Cutters that run along paths first: they need a colour of their own most."""
    rank = {"vee": 0, "endmill": 1, "drill": 2}
    return tuple(sorted(cut_set.cutters, key=lambda cutter: rank.get(cutter.kind, 3)))


def around(corners: Iterable[Point], margin: float = 0.02) -> Box:
    """The smallest box around points, with a margin, given as a part of its longer side."""
    xy = np.array(list(corners), dtype=float)
    (x0, y0), (x1, y1) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
    by = max(x1 - x0, y1 - y0, 1.0) * margin
    return Box(x0 - by, y0 - by, x1 + by, y1 + by)
