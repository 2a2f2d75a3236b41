"""A plain layout: boards in rows, the deepest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from millprep.values.blank import Blank
from millprep.values.board import Board
from millprep.values.finding import Finding, Refusal
from millprep.values.layout import Layout, Placement
from millprep.values.plan import BlankPlan
from millprep.values.pose import Pose


@dataclass(frozen=True, slots=True)
class Order:
    """How many of a board, and whether its drawing shows the copper through the board."""

    board: Board
    count: int
    mirrored: bool


def lay_out(orders: Sequence[Order], blanks: Sequence[BlankPlan]) -> Layout:
    """Every copy on a blank, in rows from the low corner; alone on a blank, in its middle.

    Raises:
        Refusal: listing every board that does not fit, with the size that would do.
    """
    stock = [plan for plan in blanks for _ in range(plan.count)]
    waiting = [(order, copy) for order in orders for copy in range(1, order.count + 1)]
    waiting.sort(key=lambda item: -_size(item[0].board)[1])
    findings = [f for f in (_never_fits(order, blanks) for order in orders) if f]
    if findings:
        raise Refusal(findings)
    used: list[Blank] = []
    spots: list[tuple[Order, int, int, float, float]] = []
    for plan in stock:
        if not waiting:
            break
        number = len(used) + 1
        placed, waiting = _fill(waiting, plan)
        if placed:
            used.append(Blank(number, plan.size, plan.thickness, plan.copper))
            spots += [(order, copy, number, x, y) for order, copy, x, y in placed]
    if waiting:
        raise Refusal([_stock_out(waiting)])
    rank = {id(order): n for n, order in enumerate(orders)}
    spots.sort(key=lambda spot: (spot[2], rank[id(spot[0])], spot[1]))
    return Layout(
        tuple(used),
        tuple(
            Placement(n, order.board, copy, blank, _pose(order, x, y))
            for n, (order, copy, blank, x, y) in enumerate(spots)
        ),
    )


def _size(board: Board) -> tuple[float, float]:
    x0, y0, x1, y1 = board.outline.bounds
    return (x1 - x0, y1 - y0)


def _pose(order: Order, x: float, y: float) -> Pose:
    """The motion that brings the board's low corner to (x, y), mirrored about its long axis."""
    x0, y0, x1, y1 = order.board.outline.bounds
    to_corner = Pose.shift(-x0, -y0)
    if order.mirrored:
        # about the long axis, so that the long direction keeps its meaning
        if x1 - x0 >= y1 - y0:
            to_corner = to_corner.then(Pose.mirror_y(y1 - y0))
        else:
            to_corner = to_corner.then(Pose(a=-1.0, c=x1 - x0))
    return to_corner.then(Pose.shift(x, y))


def _fill(
    waiting: list[tuple[Order, int]], plan: BlankPlan
) -> tuple[list[tuple[Order, int, float, float]], list[tuple[Order, int]]]:
    """What goes on one blank, and what is left for the next."""
    x_end, y_end = plan.size[0] - plan.margin, plan.size[1] - plan.margin
    x = y = plan.margin
    row = 0.0
    placed: list[tuple[Order, int, float, float]] = []
    left: list[tuple[Order, int]] = []
    for order, copy in waiting:
        width, height = _size(order.board)
        if x + width > x_end + 1e-9 and row > 0:
            x, y, row = plan.margin, y + row + plan.spacing, 0.0
        if x + width > x_end + 1e-9 or y + height > y_end + 1e-9:
            left.append((order, copy))
            continue
        placed.append((order, copy, x, y))
        x += width + plan.spacing
        row = max(row, height)
    if len(placed) == 1:
        order, copy, _, _ = placed[0]
        width, height = _size(order.board)
        placed = [(order, copy, (plan.size[0] - width) / 2, (plan.size[1] - height) / 2)]
    return placed, left


def _never_fits(order: Order, blanks: Sequence[BlankPlan]) -> Finding | None:
    width, height = _size(order.board)
    for plan in blanks:
        room = (plan.size[0] - 2 * plan.margin, plan.size[1] - 2 * plan.margin)
        if width <= room[0] + 1e-9 and height <= room[1] + 1e-9:
            return None
    need = max(plan.margin for plan in blanks)
    return Finding(
        code="board-larger-than-blank",
        severity="stop",
        message=(
            f"Board {order.board.name} is {width:.2f} × {height:.2f} mm and fits no blank of the "
            f"job. A blank of at least {width + 2 * need:.2f} × {height + 2 * need:.2f} mm would "
            "do; or lower [[blank]] margin."
        ),
        board=order.board.name,
    )


def _stock_out(waiting: Sequence[tuple[Order, int]]) -> Finding:
    counts: dict[str, int] = {}
    for order, _ in waiting:
        counts[order.board.name] = counts.get(order.board.name, 0) + 1
    left = ", ".join(f"{count} × {name}" for name, count in counts.items())
    return Finding(
        code="blanks-used-up",
        severity="stop",
        message=f"The blanks are full and these boards have no place: {left}. "
        "Raise [[blank]] count or lower [[board]] count.",
    )
