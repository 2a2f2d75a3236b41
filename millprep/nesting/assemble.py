"""From a job's boards and blanks to the input of nesting, and from its spots to a layout."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import shapely

from millprep.model.blank import Blank
from millprep.model.board import Board
from millprep.model.finding import Finding, Refusal
from millprep.model.job.board import BoardPlan
from millprep.model.job.job import BlankPlan
from millprep.model.layout import Layout, Placement, Spot
from millprep.nesting.wanted import StockSheet, Wanted, pose_of

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


def without(spots: Sequence[Spot], skipped: Collection[Copy]) -> tuple[Spot, ...]:
    """The spots of a layout less some copies; all others keep their places.

    Raises:
        Refusal: for copies that are not in the layout.
    """
    _known(spots, skipped)
    return tuple(spot for spot in spots if (spot.board, spot.copy) not in skipped)


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
