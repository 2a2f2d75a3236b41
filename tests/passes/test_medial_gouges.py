"""Bites in the middle of gaps: only drawn copper counts."""

from __future__ import annotations

import pytest
import shapely

from millprep.passes.neighbours import Gouge, Pair, gouges_of_drawn_copper
from tests.helpers.workshop import isolation, placed, vee

COPY = placed(shapely.box(0, 0, 20, 20), copper=shapely.box(5, 5, 10, 10))
HALF = vee().width(isolation().depth) / 2


def gouge(away: float, depth: float) -> Gouge:
    """A groove whose axis may come this far from the piece, reckoned to bite this deep."""
    pair = Pair((0, "c2"), (0, "c1"), 0.0, (10.0 + away, 7.0), (-1.0, 0.0))
    return Gouge(pair, (0, 1), depth)


def test_along_the_copper_a_bite_is_as_deep_as_reckoned() -> None:
    gouges = [gouge(0.3, 0.05)]
    assert gouges_of_drawn_copper(gouges, [COPY], isolation()) == tuple(gouges)


@pytest.mark.parametrize(("room", "left"), [(0.0, 0.05), (0.02, 0.03), (0.06, None)])
def test_in_the_middle_what_lies_before_the_copper_is_no_bite(
    room: float, left: float | None
) -> None:
    found = gouges_of_drawn_copper([gouge(HALF + room, 0.05)], [COPY], isolation(course="middle"))
    assert [one.depth for one in found] == ([] if left is None else [pytest.approx(left)])
