"""What lies on a blank, moved into its frame and ready to be drawn, and the findings there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import FOLLOWS
from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut
from millprep.model.blank import Blank, Box, Placement
from millprep.model.board import Hole
from millprep.model.cut import Clearing, HoleCut, Lap, Profile
from millprep.model.cutter import Cutter, with_shapes
from millprep.model.finding import Finding
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import BoardCopy, CutSet, MilledBlank
from millprep.report.words import place, plain


@dataclass(frozen=True, slots=True)
class DrawnCopy:
    """One copy in the blank frame, all of which follows from its placement.

    `pieces` are (id, shape).
    """

    placement: Placement
    outline: shapely.Polygon = field(metadata=FOLLOWS)
    pieces: tuple[tuple[str, shapely.Polygon], ...] = field(metadata=FOLLOWS)
    holes: tuple[Hole, ...] = field(metadata=FOLLOWS)

    @property
    def title(self) -> str:
        """Board and copy in words."""
        return f"{self.placement.board.name} copy {self.placement.copy}"


@dataclass(frozen=True, slots=True)
class DrawnProgram:
    """A program as it is drawn: where its cutter goes, whatever its feeds.

    Attributes:
        program: without its moves and what follows from feeds; of its cutter the shape.
        ends, clockwise: those of the program.
    """

    program: Program
    ends: FloatArray
    clockwise: NDArray[np.bool_]

    @classmethod
    def of(cls, program: Program) -> DrawnProgram:
        """What is drawn of a program."""
        bare = replace(
            program,
            cutter=program.cutter.shape,
            spindle=0.0,
            moves=(),
            figures=None,
            trail=None,
            cutting=None,
        )
        return cls(bare, program.ends, program.clockwise)


@dataclass(frozen=True, slots=True)
class BlankContents:
    """All that lies on one blank.

    Attributes:
        cutters: the shapes of the set's cutters, used or not; the place gives the style.
        passes: without their programs.
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
    as_cut: AsCut | None
    clearings: tuple[Clearing, ...] = ()
    narrowest_gap: tuple[float, Point] | None = None

    @property
    def pieces(self) -> list[shapely.Polygon]:
        """Every piece of copper."""
        return [shape for placed in self.placed for _, shape in placed.pieces]

    @property
    def hole_boxes(self) -> list[shapely.Polygon]:
        """The box around every hole of the boards."""
        every = [hole for placed in self.placed for hole in placed.holes]
        ends = np.array([(hole.at, hole.end or hole.at) for hole in every]).reshape(-1, 2, 2)
        reach = np.array([hole.diameter / 2 for hole in every]).reshape(-1, 1)
        low, high = ends.min(axis=1) - reach, ends.max(axis=1) + reach
        boxes: list[shapely.Polygon] = shapely.box(*low.T, *high.T).tolist()
        return boxes

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
        cutters=with_shapes(ordered_cutters(cut_set)),
        placed=tuple(map(_placed, blank.placements)),
        laps=blank.cuts.laps,
        holes=blank.cuts.holes,
        profiles=blank.cuts.profiles,
        joins=blank.joins,
        passes=tuple(replace(milling_pass, programs=()) for milling_pass in blank.passes),
        as_cut=blank.as_cut,
        clearings=blank.cuts.clearings,
        narrowest_gap=min(gaps, default=None),
    )


def _placed(placement: Placement) -> DrawnCopy:
    outline = placement.pose.shape(placement.board.outline)
    return DrawnCopy(placement, outline, tuple(placement.pieces.items()), placement.holes)


def posed(shapes: Sequence[shapely.Polygon], pose: Pose) -> list[shapely.Polygon]:
    """All shapes at once in another frame."""
    array: list[shapely.Polygon] = list(
        shapely.transform(np.array(shapes, dtype=object), pose.points)
    )
    return array


def bare_set(cut_set: CutSet) -> CutSet:
    """The set with nothing but its job's name, and the machine with what holds blanks there."""
    bare = replace(cut_set, id="", inputs=(), findings=(), blanks=(), cutters=())
    return replace(bare, chosen=(), derived_from=None, time_fit=None)


def bare_blank(blank: MilledBlank) -> MilledBlank:
    """The blank with its passes and where its boards lie, and nothing else."""
    copies = tuple(BoardCopy(placement) for placement in blank.placements)
    passes = tuple(replace(each, programs=()) for each in blank.passes)
    return MilledBlank(blank.laminate, copies, passes=passes)


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


_FRAME_WORDS = {"drawing": "in the drawing", "blank": "on the blank", "machine": "on the machine"}


@dataclass(frozen=True, slots=True)
class Marked:
    """A finding, its short name ("F3": third of the set's list) and its place on a blank.

    Attributes:
        places: further places of the same finding, blank frame.
    """

    name: str
    finding: Finding
    blank: int
    at: Point
    places: tuple[Point, ...] = ()


def name_of(index: int) -> str:
    """The short name that pictures and sheet call a finding by."""
    return f"F{index + 1}"


def marked(cut_set: CutSet) -> tuple[Marked, ...]:
    """Every finding whose place on a blank is known, `stop` first, otherwise in order."""
    marks = []
    for index, finding in enumerate(cut_set.findings):
        ground = _ground(cut_set, finding)
        if ground is not None and finding.at is not None:
            blank, pose = ground
            at, *places = (pose.point(place) for place in (finding.at, *finding.places))
            marks.append(Marked(name_of(index), finding, blank, at, tuple(places)))
    return tuple(sorted(marks, key=lambda mark: mark.finding.rank))


def _ground(cut_set: CutSet, finding: Finding) -> tuple[int, Pose] | None:
    """Blank number, and the pose that takes the finding's places there; None when not known."""
    if finding.at is None:
        return None
    if finding.frame == "drawing":
        for placement in (copy.placement for copy in cut_set.copies):
            if finding.board in (None, placement.board.name) and finding.copy in (
                None,
                placement.copy,
            ):
                return placement.blank, placement.pose
        return None
    blanks = {blank.number: blank for blank in cut_set.blanks}
    number = min(blanks, default=None) if finding.blank is None else finding.blank
    if number is None or number not in blanks:
        return None
    if finding.frame == "blank":
        return number, Pose()
    for milling_pass in blanks[number].passes:
        if finding.mill_pass in (None, milling_pass.number):
            return number, milling_pass.pose.inverse()
    return None


def where_words(finding: Finding) -> str:
    """The place of a finding in words; empty when it has none."""
    parts = []
    if finding.board is not None:
        copy = "" if finding.copy is None else f", copy {finding.copy}"
        parts.append(f"board {plain(finding.board, 60)}{copy}")
    if finding.blank is not None:
        parts.append(f"blank {finding.blank}")
    if finding.mill_pass is not None:
        parts.append(f"pass {finding.mill_pass}")
    if finding.at is not None:
        parts.append(f"{place(finding.at)} {_FRAME_WORDS[finding.frame or 'drawing']}")
    if finding.file is not None:
        line = "" if finding.line is None else f", line {finding.line}"
        parts.append(f"{plain(finding.file, 120)}{line}")
    return "; ".join(parts)
