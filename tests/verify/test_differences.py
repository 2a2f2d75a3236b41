"""Copper as cut less copper as drawn, both ways."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
import shapely

from millprep.model.as_cut import CopperPart, Differences
from millprep.verify.edges import EDGE, differences, extra_copper, lost_copper
from tests.helpers.invented_set import invented

(PLACEMENT,) = invented(1).layout.placements
DRAWN = {"a": shapely.box(0, 0, 10, 10)}
MORE = shapely.box(0, 0, 11, 10)
BITE = shapely.box(2, 2, 3, 3)


def part(shape: shapely.Geometry, *pieces: str) -> CopperPart:
    assert isinstance(shape, shapely.Polygon)
    return CopperPart(shape, tuple((PLACEMENT.index, piece) for piece in pieces))


def off_the_drawing(
    copper: list[CopperPart],
    drawn: dict[str, shapely.Polygon] = DRAWN,
    holes: Sequence[shapely.Polygon] = (),
) -> Differences:
    lost, _ = lost_copper(copper, PLACEMENT, drawn, holes)
    return differences(extra_copper(copper, PLACEMENT, drawn)[0], lost)


def test_copper_beyond_and_copper_gone_are_kept_apart() -> None:
    found = off_the_drawing([part(MORE.difference(BITE), "a")])
    assert found.too_much.area == pytest.approx((1 - EDGE) * 10, abs=1e-3)
    assert found.too_little.equals(shapely.MultiPolygon([BITE]))


def test_a_hole_is_no_difference_and_nor_is_the_tolerance() -> None:
    copper = shapely.box(-EDGE, EDGE / 2, 10, 10).difference(BITE)
    found = off_the_drawing([part(copper, "a")], holes=[BITE])
    assert found.too_much.is_empty
    assert found.too_little.is_empty


def test_a_piece_that_is_gone_is_all_too_little() -> None:
    found = off_the_drawing([])
    assert found.too_much.is_empty
    assert found.too_little.area == pytest.approx((10 - 2 * EDGE) ** 2)


def test_a_short_counts_once() -> None:
    pieces = DRAWN | {"b": shapely.box(12, 0, 20, 10)}
    found = off_the_drawing([part(shapely.box(0, 0, 20, 10), "a", "b")], pieces)
    assert found.too_much.area == pytest.approx((2 - 2 * EDGE) * 10, abs=1e-3)


def test_floating_copper_is_no_difference() -> None:
    copper = [part(DRAWN["a"], "a"), part(shapely.box(20, 0, 30, 10))]
    assert off_the_drawing(copper).too_much.is_empty
