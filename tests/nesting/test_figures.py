"""What no layout can beat, held against layouts and by hand."""

from __future__ import annotations

import pytest
import shapely

from millprep.nesting.figures import covered, least_blanks, most_covered
from millprep.nesting.nest import Effort, nest
from millprep.nesting.wanted import StockSheet, Wanted
from tests.bench.nesting import small_blank, small_boards


def plates(width: float, height: float, count: int, *turns: float) -> Wanted:
    copies = tuple(range(1, count + 1))
    return Wanted(
        f"{width}x{height}", shapely.box(0, 0, width, height), copies, turns=turns or (0,)
    )


SHEET = StockSheet(shapely.box(0, 0, 100, 100), 0.0, 0.0, 20)


def test_areas() -> None:
    assert least_blanks([plates(50, 50, 4)], [SHEET]) == 1
    assert least_blanks([plates(50, 50, 5)], [SHEET]) == 2
    assert least_blanks([plates(50, 50, 0)], [SHEET]) == 0
    assert most_covered([plates(50, 50, 3)], SHEET) == pytest.approx(0.75)
    assert most_covered([plates(50, 50, 9)], SHEET) == 1.0


def test_the_spacing_counts() -> None:
    """A plate of 8 owns 8² + 4 · 8 · 2 + 4π = 140.6 mm² of (98 + 4)², so 74 are too many by one."""
    spaced = StockSheet(shapely.box(0, 0, 98, 98), 0.0, 4.0, 20)
    close = StockSheet(shapely.box(0, 0, 98, 98), 0.0, 0.0, 20)
    assert least_blanks([plates(8, 8, 73)], [spaced]) == 1
    assert least_blanks([plates(8, 8, 75)], [spaced]) == 2
    assert least_blanks([plates(8, 8, 75)], [close]) == 1
    assert most_covered([plates(8, 8, 150)], spaced) == pytest.approx(10404 * 0.4552 / 9604, 0.005)


def test_boards_that_share_no_blank() -> None:
    """A quarter more than a quarter of the area each, and no two beside each other."""
    assert least_blanks([plates(51, 51, 3)], [SHEET]) == 3
    assert least_blanks([plates(51, 51, 3), plates(52, 60, 2)], [SHEET]) == 5
    assert least_blanks([plates(51, 51, 3), plates(49, 30, 2)], [SHEET]) == 3
    assert least_blanks([plates(51, 51, 2), plates(50, 99, 1)], [SHEET]) == 3
    assert least_blanks([plates(51, 40, 3, 0, 90)], [SHEET]) == 1


def test_no_layout_beats_the_bounds() -> None:
    boards, sheet = small_boards(), small_blank()
    nested = nest(boards, [sheet], Effort(0, 1))
    assert least_blanks(boards, [sheet]) <= len(nested.blanks) == 3
    best = most_covered(boards, sheet)
    assert all(covered(n, nested.spots, boards, sheet) <= best for n in (1, 2, 3))
    assert best < 0.95


def test_boards_that_share_no_blank_with_their_kind_may_share_one_with_another() -> None:
    """Two angles do not fit into each other, two plates not beside each other; a plate does fit
    into the bay of an angle."""
    angle = shapely.box(0, 0, 90, 90).difference(shapely.box(26, 26, 95, 95))
    assert isinstance(angle, shapely.Polygon)
    spaced = StockSheet(shapely.box(0, 0, 100, 100), 5.0, 3.0, 20)
    angles = Wanted("angle", angle, (1, 2))
    assert least_blanks([angles], [spaced]) == 2
    assert least_blanks([angles, plates(60, 60, 3)], [spaced]) == 3
    assert least_blanks([angles, plates(65, 65, 3)], [spaced]) == 5
