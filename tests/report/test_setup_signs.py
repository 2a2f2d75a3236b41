"""Running dimensions: every figure is there, none on another, arrows lead away from the origin."""

from __future__ import annotations

from itertools import pairwise

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.report.scene import Area, Shape, Text
from millprep.report.setup_signs import ROOM, Mark, Side, room, running, spread

BELOW = Side(0, 50.0, 1)


def words(shapes: list[Shape]) -> list[str]:
    return [shape.words for shape in shapes if isinstance(shape, Text)]


def arrows(shapes: list[Shape]) -> list[shapely.Geometry]:
    return [shape.shapes[0] for shape in shapes if isinstance(shape, Area)]


@given(st.lists(st.floats(-500, 500), min_size=1, max_size=30).map(sorted))
def test_figures_keep_their_order_and_their_room(places: list[float]) -> None:
    found = spread(places, ROOM)
    assert len(found) == len(places)
    assert all(b - a >= ROOM - 1e-9 for a, b in pairwise(found))
    # moved no more than a pile of all of them asks for
    assert max(abs(a - b) for a, b in zip(found, places, strict=True)) <= ROOM * len(places)


@given(st.lists(st.integers(0, 40), unique=True, min_size=1).map(sorted))
def test_figures_with_room_stay_where_they_are(places: list[int]) -> None:
    far = [p * (ROOM + 0.1) for p in places]
    assert spread(far, ROOM) == pytest.approx(far)


def test_two_that_are_too_near_part_about_their_centre() -> None:
    assert spread([10.0, 11.0], 3.0) == pytest.approx([9.0, 12.0])


def test_figures_that_are_the_same_share_one_arrow() -> None:
    marks = [Mark(217.0, (62.0, 10.0), "r1"), Mark(217.0, (62.0, 40.0), "r3"),
             Mark(-15.25, (5.0, 20.0))]  # fmt: skip
    drawn = running(BELOW, 10.0, marks)
    assert words(drawn) == ["−15.25", "217 r1 r3"]
    # each arrow's tip comes first; the one on the left of the origin points to the left
    tips = [shapely.get_coordinates(arrow)[:2].tolist() for arrow in arrows(drawn)]
    assert [tip for tip, _ in tips] == [[5.0, 52.5], [62.0, 52.5]]
    assert [back[0] for _, back in tips] == [6.5, 60.5]


def test_the_origin_itself_has_no_arrow() -> None:
    drawn = running(BELOW, 10.0, [Mark(0.0, (10.0, 20.0))])
    assert arrows(drawn) == []
    assert words(drawn) == ["0"]


def test_long_figures_ask_for_more_room() -> None:
    short, long = [Mark(1.0, (0, 0))], [Mark(-116.125, (0, 0), "r12")]
    assert room([]) < room(short) < room(long)
