"""Boards in rows: all of them, apart, within the margin, turned over where asked."""

from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from millprep.layout.rows import Order, lay_out
from millprep.values.board import Board, CopperPiece
from millprep.values.finding import Refusal
from millprep.values.layout import Layout
from millprep.values.plan import BlankPlan


def board(width: float, height: float, name: str = "panel") -> Board:
    """Drawn away from the origin, as drawings are; its copper stands in the low corner."""
    copper = shapely.box(101.0, -49.0, 103.0, -48.0)
    outline = shapely.box(100, -50, 100 + width, -50 + height)
    return Board(name, outline, (CopperPiece("c1", copper),), ())


def blank(width: float, height: float, count: int = 1, margin: float = 8.0) -> BlankPlan:
    return BlankPlan((width, height), 1.6, 0.035, margin, 3.0, count)


def areas(layout: Layout, number: int) -> list[shapely.Polygon]:
    return [p.pose.shape(p.board.outline) for p in layout.on(number)]


sizes = st.tuples(st.integers(8, 60), st.integers(8, 60), st.integers(1, 6), st.booleans())


@settings(max_examples=60, deadline=None)
@given(st.lists(sizes, min_size=1, max_size=4), st.booleans())
def test_every_copy_has_its_place(boards: list[tuple[int, int, int, bool]], large: bool) -> None:
    orders = [
        Order(board(w, h, f"b{n}"), count, mirrored)
        for n, (w, h, count, mirrored) in enumerate(boards)
    ]
    plan = blank(300.0, 180.0, 3) if large else blank(120.0, 80.0, 30)
    try:
        layout = lay_out(orders, [plan])
    except Refusal as refusal:
        told = {f.code for f in refusal.findings}
    else:
        told = set()
    if told:
        assert told == {"blanks-used-up"}
        return
    wanted = sorted((o.board.name, copy) for o in orders for copy in range(1, o.count + 1))
    assert sorted((p.board.name, p.copy) for p in layout.placements) == wanted
    assert [p.index for p in layout.placements] == list(range(len(wanted)))
    assert [b.number for b in layout.blanks] == list(range(1, len(layout.blanks) + 1))
    inside = shapely.box(8, 8, plan.size[0] - 8, plan.size[1] - 8).buffer(1e-9)
    for one in layout.blanks:
        here = areas(layout, one.number)
        assert here
        assert all(inside.contains(area) for area in here)
        assert all(a.distance(b) >= 3.0 - 1e-9 for a, b in itertools.combinations(here, 2))
    mirrored = {o.board.name: o.mirrored for o in orders}
    assert all(p.pose.mirrored == mirrored[p.board.name] for p in layout.placements)


def test_a_board_alone_lies_in_the_middle() -> None:
    layout = lay_out([Order(board(100, 40), 1, mirrored=False)], [blank(200.0, 100.0)])
    assert areas(layout, 1)[0].bounds == pytest.approx((50, 30, 150, 70))


@pytest.mark.parametrize(("width", "height", "flips"), [(80, 40, "y"), (40, 80, "x")])
def test_a_board_is_mirrored_about_its_long_axis(width: float, height: float, flips: str) -> None:
    """So the long direction keeps its sense, and with it the meaning of the passes."""
    layout = lay_out([Order(board(width, height), 1, mirrored=True)], [blank(200.0, 100.0)])
    (placement,) = layout.placements
    x0, y0, x1, y1 = placement.pose.shape(placement.board.outline).bounds
    x, y = placement.pose.point((102.0, -48.5))
    assert (x - x0 < (x1 - x0) / 2) == (flips == "y")
    assert (y - y0 < (y1 - y0) / 2) == (flips == "x")


def test_what_never_fits_is_told_with_the_size_that_would_do() -> None:
    orders = [Order(board(300, 40, "long"), 1, False), Order(board(20, 200, "tall"), 1, False)]
    with pytest.raises(Refusal) as refused:
        lay_out(orders, [blank(200.0, 100.0)])
    messages = [f.message for f in refused.value.findings]
    assert [f.code for f in refused.value.findings] == ["board-larger-than-blank"] * 2
    assert "316.00 × 56.00 mm" in messages[0]
    assert "36.00 × 216.00 mm" in messages[1]
    layout = lay_out([Order(board(300, 40), 1, False)], [blank(200, 100), blank(316.0, 56.0)])
    assert [b.number for b in layout.blanks] == [1]
    assert layout.blanks[0].size == (316.0, 56.0)


def test_too_few_blanks() -> None:
    with pytest.raises(Refusal, match="2 × panel"):
        lay_out([Order(board(100, 60), 4, False)], [blank(200.0, 100.0, 2)])
