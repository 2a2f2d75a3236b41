"""Filled areas: their boundaries of edges, their islands, and what is no fill."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
import shapely

from millprep.geometry.path import SAGITTA
from tests.helpers.sheet import FOIL, Sheet

SQUARE = [(5.0, 5.0), (15.0, 5.0), (15.0, 15.0), (5.0, 15.0)]


def bounded(sheet: Sheet, *lines: tuple[tuple[float, float], tuple[float, float]]) -> None:
    edge = sheet.space.add_hatch(dxfattribs=FOIL).paths.add_edge_path()
    for start, end in lines:
        edge.add_line(start, end)


def areas(sheet: Sheet) -> list[float]:
    return [piece.shape.area for piece in sheet.read().pieces]


def left_out(sheet: Sheet) -> list[tuple[str, str]]:
    return [(left.kind, left.reason) for left in sheet.read().left_out]


def test_edges_written_either_way_round_bound_one_area(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    a, b, c, d = SQUARE
    bounded(sheet, (b, a), (b, c), (d, c), (d, a))
    assert areas(sheet) == pytest.approx([100])


@pytest.mark.parametrize("missing", [1, 3])
def test_a_boundary_without_one_of_its_edges_is_open(tmp_path: Path, missing: int) -> None:
    # the end of the last edge must meet the first one too: no straight line is put in
    sheet = Sheet(tmp_path)
    sides = list(zip(SQUARE, SQUARE[1:] + SQUARE[:1], strict=True))
    bounded(sheet, *(side for k, side in enumerate(sides) if k != missing))
    (finding,) = sheet.refusal()
    assert finding.code == "entity-damaged"
    x, y = SQUARE[missing]
    assert f"its boundary is open at ({x:.4f}, {y:.4f})" in finding.message


def test_a_single_arc_bounds_no_area(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_hatch(dxfattribs=FOIL).paths.add_edge_path().add_arc((10, 10), 3, 0, 90)
    (finding,) = sheet.refusal()
    assert "its boundary is open at (10.0000, 13.0000)" in finding.message


def test_a_whole_circle_is_no_open_boundary_however_large(tmp_path: Path) -> None:
    # its chords are 1.26 mm long
    sheet = Sheet(tmp_path)
    sheet.space.add_hatch(dxfattribs=FOIL).paths.add_edge_path().add_arc((9, 9), 100, 0, 360)
    (area,) = areas(sheet)
    assert 0 < math.pi * 100**2 - area < 2 * math.pi * 100 * SAGITTA


def test_a_fill_with_a_gradient_is_refused(tmp_path: Path) -> None:
    # programs that draw one set the flag of a solid fill as well
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(SQUARE)
    fill.set_gradient((10, 20, 30), (40, 50, 60))
    assert fill.has_solid_fill
    (finding,) = sheet.refusal()
    assert finding.code == "hatch-not-solid"
    assert "it is filled with a gradient" in finding.message


def test_gradient_data_of_a_plain_solid_fill_change_nothing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(SQUARE)
    fill.set_gradient((10, 20, 30), (40, 50, 60))
    fill.gradient.kind = 0
    assert areas(sheet) == pytest.approx([100])


def test_the_frame_around_a_text_is_no_island(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(SQUARE, flags=1)
    fill.paths.add_polyline_path([(7, 7), (9, 7), (9, 9), (7, 9)], flags=8)
    assert areas(sheet) == pytest.approx([100])


def test_a_ring_that_repeats_its_first_corner_is_the_same_ring(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_hatch(dxfattribs=FOIL).paths.add_polyline_path([*SQUARE[:3], SQUARE[0]])
    assert areas(sheet) == pytest.approx([50])


def empty(space: Any) -> None:
    space.add_hatch(dxfattribs=FOIL).paths.add_edge_path()


def there_and_back(space: Any) -> None:
    space.add_hatch(dxfattribs=FOIL).paths.add_polyline_path([(5, 5), (15, 5), (5, 5)])


def flat(space: Any) -> None:
    space.add_solid([(5, 5), (9, 5), (6, 5), (8, 5)], dxfattribs=FOIL)


@pytest.mark.parametrize(
    ("draw", "kind"), [(empty, "HATCH"), (there_and_back, "HATCH"), (flat, "SOLID")]
)
def test_a_fill_of_no_area_is_named_as_left_out(tmp_path: Path, draw: Any, kind: str) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(30, 20)
    draw(sheet.space)
    assert left_out(sheet) == [(kind, "it encloses nothing")]
    assert len(sheet.read().pieces) == 1


def test_islands_that_cross_their_fill_are_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.dxf.hatch_style = 1
    fill.paths.add_polyline_path(SQUARE, flags=1)
    # a bow tie: its inside is not clear
    fill.paths.add_polyline_path([(7, 7), (9, 9), (9, 7), (7, 9)], flags=16)
    (finding,) = sheet.refusal()
    assert finding.code == "fill-crosses-itself"
    assert "at (8.000, 8.000) mm" in finding.message


def test_a_fill_with_a_corner_too_far_out_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path([(5, 5), (15, 5), (1e10, 15)])
    (finding,) = sheet.refusal()
    assert "it holds numbers that no board has" in finding.message


def test_knots_that_are_one_but_for_their_last_digit(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    edge = sheet.space.add_hatch(dxfattribs=FOIL).paths.add_edge_path()
    half = 0.5
    edge.add_spline(
        control_points=[(5, 5), (10, 5), (15, 5), (15, 10), (15, 15)],
        degree=2,
        knot_values=[0, 0, 0, half, half + 1e-15, 1, 1, 1],
    )
    edge.add_line((15, 15), (5, 5))
    # two parabolas that meet at (15, 5), each flat on its side: a triangle
    assert areas(sheet) == pytest.approx([50], abs=1e-9)


def test_a_spline_that_bends_without_bound_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    points = [(5, 5), (5e8, 9), (-5e8, 9), (9, 5)]
    sheet.space.add_open_spline(points, dxfattribs=FOIL)
    (finding,) = sheet.refusal()
    assert finding.code == "entity-damaged"
    assert "the spline bends without bound" in finding.message


def test_an_island_that_shares_an_edge_with_its_fill_is_a_notch(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(SQUARE)
    fill.paths.add_polyline_path([(5, 8), (9, 8), (9, 12), (5, 12)], flags=16)
    (piece,) = sheet.read().pieces
    assert (len(piece.shape.interiors), piece.shape.area) == (0, 84.0)


def test_an_island_of_two_halves_leaves_both(tmp_path: Path) -> None:
    # its ring runs along a line there and back from one half to the other
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(SQUARE)
    halves = [(6, 6), (8, 6), (8, 7), (11, 7), (11, 6), (13, 6), (13, 9), (11, 9), (11, 7),
              (8, 7), (8, 9), (6, 9)]  # fmt: skip
    fill.paths.add_polyline_path(halves, flags=16)
    (piece,) = sheet.read().pieces
    assert sorted(shapely.Polygon(ring).area for ring in piece.shape.interiors) == [6.0, 6.0]
