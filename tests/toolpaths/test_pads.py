"""Lands: what of the copper around a hole is a land and what a track."""

from __future__ import annotations

import math

import pytest
import shapely

from millprep.model.board import Hole
from millprep.toolpaths.clearing_of_blank import AROUND, Pad, board_pads, drawn_pad_of, widths
from tests.helpers.rules_scene import joined, placed

HOLE = Hole("h1", (20.0, 20.0), 1.0, "c1")


def disc(radius: float, at: tuple[float, float] = (20.0, 20.0)) -> shapely.Polygon:
    return shapely.Point(at).buffer(radius, quad_segs=64)


def land(shape: shapely.Polygon, hole: Hole = HOLE) -> Pad:
    found = drawn_pad_of(hole, shape)
    assert found is not None
    return found


def apart(one: shapely.Geometry, other: shapely.Geometry) -> float:
    return float(shapely.hausdorff_distance(one, other))


@pytest.mark.parametrize("width", [0.4, 1.0, 1.6])
def test_a_track_that_leads_to_a_pad_is_no_land(width: float) -> None:
    pad = disc(1.0)
    track = shapely.LineString([(20, 20), (30, 20), (30, 30)]).buffer(width / 2)
    found = land(joined(pad, track))
    assert found.width == pytest.approx(2.0, abs=1e-3)
    # where the track enters the land may bulge, by less than a tenth of its width
    assert found.shape.buffer(1e-3).contains(pad)
    assert pad.buffer(0.2).contains(found.shape)


def test_square_and_oblong_pads_keep_their_corners_and_ends() -> None:
    square = shapely.box(19, 19, 21, 21)
    assert apart(land(square).shape, square) < 2e-3
    oblong = shapely.LineString([(19.2, 20), (20.8, 20)]).buffer(0.8, quad_segs=64)
    assert apart(land(oblong).shape, oblong) < 4e-3


def test_a_gap_drawn_for_the_hole_is_no_edge_of_the_land() -> None:
    ring = disc(1.0).difference(disc(0.3))
    assert isinstance(ring, shapely.Polygon)
    found = land(ring)
    assert found.width == pytest.approx(2.0, abs=1e-3)
    assert apart(found.shape, disc(1.0)) < 2e-3


def test_in_a_wide_area_it_ends_where_solder_does() -> None:
    found = land(shapely.box(0, 0, 40, 40))
    assert found.shape.area == pytest.approx(math.pi * (0.5 + AROUND) ** 2, rel=1e-3)


def test_a_slot_has_its_land_around_its_whole_length() -> None:
    slot = Hole("h1", (18.0, 20.0), 1.0, "c1", (22.0, 20.0))
    pad = shapely.LineString([(18, 20), (22, 20)]).buffer(1.0, quad_segs=64)
    track = shapely.LineString([(20, 20), (20, 30)]).buffer(0.3)
    found = land(joined(pad, track), slot)
    # where the track enters: 0.9 less √(0.9² − 0.3²)
    assert apart(found.shape, pad) < 0.052


def test_a_hole_that_breaks_the_edge_has_no_land() -> None:
    assert drawn_pad_of(HOLE, disc(1.0, (20.6, 20.0))) is None
    assert drawn_pad_of(HOLE, disc(0.5)) is None


def test_widths_are_those_of_the_lands() -> None:
    pads = [disc(1.0), disc(0.5, (30.0, 20.0)), shapely.box(39, 18, 42, 22)]
    holes = [
        HOLE,
        Hole("h2", (30.0, 20.0), 1.0, "c2"),
        Hole("h3", (40.5, 20.0), 1.0, "c3"),
        Hole("h4", (50.0, 20.0), 1.0),
    ]
    board = placed(pads, holes).board
    assert widths(board) == {land.hole.id: land.width for land in board_pads(board)}
    assert set(widths(board)) == {"h1", "h3"}
    assert board_pads(board) is board_pads(board)


def test_a_hole_whose_centre_is_off_its_copper_has_no_land() -> None:
    copper = shapely.box(0.0, 0.0, 10.0, 10.0)
    for x in (10.1, 10.0):
        hole = Hole("h1", (x, 5.0), 1.0, "c1")
        assert drawn_pad_of(hole, copper) is None
