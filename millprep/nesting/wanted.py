"""Boards to be laid out, and the stock to lay them on: outlines alone.

They come from a job's boards and blanks, and what nesting makes of them becomes a layout.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Layout, Placement, Spot
from millprep.model.board import Board
from millprep.model.finding import Finding, Refusal, usage
from millprep.model.job.board import BoardPlan
from millprep.model.job.job import BlankPlan


@dataclass(frozen=True, slots=True)
class Wanted:
    """Copies of one board that need a place.

    Attributes:
        name: the job's name for the board.
        outline: drawing frame, with its cut-outs.
        copies: numbers of the copies.
        mirrored: the drawing shows the copper through the board.
        turns: degrees by which a copy may be turned.
        priority: boards of a higher number get their places first.

    Raises:
        ValueError: for an outline without an area, copies listed twice, or no turn at all.
    """

    name: str
    outline: shapely.Polygon
    copies: tuple[int, ...]
    mirrored: bool = False
    turns: tuple[float, ...] = (0.0,)
    priority: int = 0

    def __post_init__(self) -> None:
        if self.outline.is_empty or not self.outline.is_valid:
            raise ValueError(f"board {self.name} has no valid outline")
        if len(set(self.copies)) != len(self.copies) or any(copy < 1 for copy in self.copies):
            raise ValueError(f"board {self.name}: copies are different numbers from 1")
        if not self.turns or not all(map(math.isfinite, self.turns)):
            raise ValueError(f"board {self.name} needs at least one turn")


@dataclass(frozen=True, slots=True)
class StockSheet:
    """One size of blank, or one offcut, and how many of it there are.

    Attributes:
        outline: blank frame.
        margin: strip along every edge that no board may enter.
        spacing: between neighbouring boards, at least.
        count: how many there are.
        keep_outs: areas that boards may touch but not enter, blank frame: clamps and
            registration holes, with the room around them that they need.
        avoided: groups of places that boards keep off, blank frame: each group by all boards
            that have a place off it on an empty blank, of those places that the groups before
            it leave. A layout is not judged by them.

    Raises:
        ValueError: for an outline without an area, or a length below 0.
    """

    outline: shapely.Polygon
    margin: float
    spacing: float
    count: int = 1
    keep_outs: tuple[shapely.Polygon, ...] = ()
    avoided: tuple[tuple[shapely.Polygon, ...], ...] = ()

    def __post_init__(self) -> None:
        if self.outline.is_empty or not self.outline.is_valid:
            raise ValueError("a blank has no valid outline")
        if not (self.margin >= 0 and self.spacing >= 0 and self.count >= 0):
            raise ValueError("margin, spacing and count of a blank are 0 or more")

    @property
    def is_box(self) -> bool:
        """Whether it is an upright rectangle."""
        return is_box(self.outline)

    @property
    def axis(self) -> int:
        """Its long direction: 0 for x, 1 for y."""
        x0, y0, x1, y1 = self.outline.bounds
        return 0 if x1 - x0 >= y1 - y0 else 1

    @property
    def usable(self) -> BaseGeometry:
        """What boards may cover: the outline less margin and keep-outs."""
        inner = self.outline.buffer(-self.margin, quad_segs=32)
        return inner.difference(shapely.union_all(self.keep_outs))


def is_box(shape: shapely.Polygon) -> bool:
    """Whether a polygon is an upright rectangle, to 1e-9 mm²."""
    return bool(abs(shapely.box(*shape.bounds).area - shape.area) <= 1e-9)


def pose_of(outline: shapely.Polygon, mirrored: bool, spot: Spot) -> Pose:
    """Drawing to blank: mirrored about the board's long axis, turned, low corner on the spot.

    The long direction keeps its sense, and with it the meaning of the passes.
    """
    x0, y0, x1, y1 = outline.bounds
    pose = Pose.shift(-x0, -y0)
    if mirrored and x1 - x0 >= y1 - y0:
        pose = pose.then(Pose.mirror_y(y1 - y0))
    elif mirrored:
        pose = pose.then(Pose(a=-1.0, c=x1 - x0))
    pose = pose.then(Pose.turn(spot.turn))
    low_x, low_y, _, _ = pose.shape(outline).bounds
    return pose.then(Pose.shift(spot.x - low_x, spot.y - low_y))


def area_of(wanted: Wanted, spot: Spot) -> shapely.Polygon:
    """The board's area on its blank, from the numbers of its spot."""
    return pose_of(wanted.outline, wanted.mirrored, spot).shape(wanted.outline)


def areas_on(
    blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted]
) -> list[tuple[Spot, shapely.Polygon]]:
    """Spots of one blank with the areas of their boards; spots of unknown boards are left out."""
    named = {board.name: board for board in wanted}
    return [
        (spot, area_of(named[spot.board], spot))
        for spot in spots
        if spot.blank == blank and spot.board in named
    ]


Copy = tuple[str, int]


def wanted_of(board: Board, plan: BoardPlan) -> Wanted:
    """All copies of one board that the job asks for."""
    return Wanted(
        name=board.name,
        outline=board.outline,
        copies=tuple(range(1, plan.count + 1)),
        mirrored=plan.drawn_from == "components",
        turns=plan.turns,
        priority=plan.priority,
    )


def sheet_of(plan: BlankPlan, keep_outs: Sequence[shapely.Polygon] = ()) -> StockSheet:
    """One size of blank; keep-outs in the blank frame, as it lies in its first pass."""
    outline = shapely.Polygon(plan.outline) if plan.outline else shapely.box(0, 0, *plan.size)
    return StockSheet(outline, plan.margin, plan.spacing, plan.count, tuple(keep_outs))


def layout_of(
    spots: Sequence[Spot],
    blanks: Sequence[int],
    wanted: Sequence[Wanted],
    boards: Mapping[str, Board],
    plans: Sequence[BlankPlan],
) -> Layout:
    """Boards on blanks for the next steps; empty blanks keep their numbers.

    Args:
        spots: in the order that the copies shall have.
        blanks: for every blank, number 1 first, the place of its plan in `plans`.
        wanted: what was nested.
        boards: by name.
        plans: the job's sizes of blanks, in the order of the sheets.
    """
    named = {board.name: board for board in wanted}
    return Layout(
        tuple(
            Blank(
                number,
                plans[index].size,
                plans[index].thickness,
                plans[index].copper,
                shapely.Polygon(outline) if (outline := plans[index].outline) else None,
                plans[index].grade,
                plans[index].modulus,
                plans[index].poisson,
            )
            for number, index in enumerate(blanks, start=1)
        ),
        tuple(
            Placement(
                index,
                boards[spot.board],
                spot.copy,
                spot.blank,
                pose_of(named[spot.board].outline, named[spot.board].mirrored, spot),
            )
            for index, spot in enumerate(spots)
        ),
    )


def only(wanted: Sequence[Wanted], kept: Collection[Copy]) -> tuple[Wanted, ...]:
    """The copies to make when only some are made again; they keep their numbers.

    Raises:
        Refusal: for copies that the job does not ask for.
    """
    _known([Spot(board.name, copy, 1, 0.0, 0.0) for board in wanted for copy in board.copies], kept)
    result = []
    for board in wanted:
        copies = tuple(copy for copy in board.copies if (board.name, copy) in kept)
        if copies:
            result.append(replace(board, copies=copies))
    return tuple(result)


def check_choice(wanted: Sequence[Wanted], skip: Collection[Copy], only: Collection[Copy]) -> None:
    """Whether some copies may be skipped, or made alone.

    Raises:
        Refusal: exit code 2, for copies that the job does not have, for a copy that is both, and
            when nothing is left to make.
    """
    every = [Spot(board.name, copy, 1, 0.0, 0.0) for board in wanted for copy in board.copies]
    _known(every, skip)
    for board, copy in sorted(set(skip) & set(only)):
        message = (
            f"Board {board} copy {copy} is named by --only and by --skip. Name it once: with "
            "--only to make it, with --skip to leave it out."
        )
        raise usage("copy-chosen-twice", message)
    if {(spot.board, spot.copy) for spot in every} <= set(skip):
        message = (
            f"--skip leaves out every copy of the job ({len(every)} in all), so nothing is left to "
            "make. Skip fewer copies."
        )
        raise usage("nothing-to-make", message)


def _known(spots: Sequence[Spot], named: Collection[Copy]) -> None:
    there = {(spot.board, spot.copy) for spot in spots}
    unknown = sorted(set(named) - there)
    if unknown:
        boards = sorted({spot.board for spot in spots})
        raise Refusal(
            [
                Finding(
                    code="copy-unknown",
                    severity="stop",
                    message=f"There is no board {name} copy {copy}. Boards: {', '.join(boards)}; "
                    "copies count from 1.",
                    board=name,
                    copy=copy,
                )
                for name, copy in unknown
            ],
            2,
        )
