"""Outlines that a person draws by mistake, and holes near each other and between pads."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely

from millprep.drawing import hole_marks
from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.ledger import Ledger
from millprep.geometry.path import SAGITTA
from millprep.model.job.layers import OutlinePen
from tests.helpers.sheet import BORES, FOIL, RIM, ROLES, Sheet


def left_out(sheet: Sheet) -> list[tuple[str, str, str]]:
    return [(left.layer, left.kind, left.reason) for left in sheet.read().left_out]


@pytest.mark.parametrize(("pen", "edge"), [("outer", 0.1), ("middle", 0.0), ("inner", -0.1)])
def test_equal_cut_outs_in_an_edge_of_a_pen_are_all_cut(
    tmp_path: Path, pen: OutlinePen, edge: float
) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 20)
    sheet.box(-0.1, -0.1, 50.1, 30.1)
    sheet.box(0.1, 0.1, 49.9, 29.9)
    cut_outs = [(5.0 + 10 * k, 5.0, 7.0 + 10 * k, 8.0) for k in range(4)]
    for box in cut_outs:
        sheet.box(*box)
    outline = sheet.read(replace(ROLES, outline_pen=pen)).outline
    assert sorted(ring.bounds for ring in outline.interiors) == cut_outs
    assert shapely.Polygon(outline.exterior).bounds == pytest.approx(
        (-edge, -edge, 50 + edge, 30 + edge)
    )


def test_a_filled_area_draws_no_edge(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_solid([(1, 1), (9, 1), (1, 9), (9, 9)], dxfattribs=RIM)
    assert sheet.read().outline.area == pytest.approx(1500)
    assert left_out(sheet) == [("rim", "SOLID", "a filled area draws no edge")]


def test_an_outline_layer_of_fills_only_has_no_edge(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 10)
    sheet.space.add_solid([(0, 0), (50, 0), (0, 30), (50, 30)], dxfattribs=RIM)
    (finding,) = sheet.refusal()
    assert finding.code == "outline-empty"
    assert "the outline layers hold no lines" in finding.message


def test_an_edge_drawn_twice_in_two_ways_counts_once(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    corners = [(0, 0), (25, 0), (50, 0), (50, 30), (0, 30)]
    sheet.space.add_lwpolyline(corners, close=True, dxfattribs=RIM)
    assert sheet.read().outline.area == pytest.approx(1500)
    assert left_out(sheet) == [("rim", "LWPOLYLINE", "it is drawn twice or encloses nothing")]


def test_a_cut_out_from_edge_to_edge_leaves_two_parts(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.box(20, 0, 22, 30)
    (finding,) = sheet.refusal()
    assert finding.code == "outline-falls-apart"
    assert "the cut-outs cut the board into several parts" in finding.message


def test_a_cut_out_on_the_edge_is_a_notch(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.box(20, 0, 22, 20)
    outline = sheet.read().outline
    assert len(outline.interiors) == 0
    assert outline.area == pytest.approx(1460)


def test_tracks_too_wide_for_a_pen_are_no_edge(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline(
        [(0, 0), (50, 0), (50, 30), (0, 30), (0, 5)], dxfattribs={**RIM, "const_width": 13}
    )
    (finding,) = sheet.refusal(replace(ROLES, outline_pen="outer"))
    assert finding.code == "outline-open"
    assert "all its lines have a width, as tracks have" in finding.message


def test_of_hundreds_of_open_ends_the_number_is_true_and_no_cure_is_promised(
    tmp_path: Path,
) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 10)
    for k in range(201):
        sheet.space.add_line((k / 4, 1), (k / 4, 20), dxfattribs=RIM)
    first = sheet.refusal()[0]
    assert first.code == "outline-open"
    assert "0.2500 mm away; it has 402 such ends; close the gap in the drawing" in first.message
    assert "closes all" not in first.message


def test_a_hole_across_two_pads_belongs_to_the_one_it_takes_most_of(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(10, 10, 12, 12, layer="foil")
    sheet.box(12.2, 10, 14, 12, layer="foil")
    for x, y in ((12.05, 10.6), (12.15, 11.4)):
        sheet.space.add_circle((x, y), 0.3, dxfattribs=BORES)
    holes = [(hole.at[0], hole.piece) for hole in sheet.read().holes]
    assert holes == [(12.05, "c1"), (12.15, "c2"), (45.0, None)]


def slot(sheet: Sheet, length: float, radius: float) -> None:
    """A slot about (10, 10), as long between the centres of its ends."""
    x0, x1 = 10 - length / 2, 10 + length / 2
    low, high = 10 - radius, 10 + radius
    corners = [(x0, low, 0), (x1, low, 1), (x1, high, 0), (x0, high, 1)]
    sheet.space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=BORES)


def test_a_circle_around_a_slot_is_the_edge_of_its_pad(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10, 3)
    slot(sheet, 2, 0.5)
    sheet.space.add_circle((10, 10), 2, dxfattribs=BORES)
    first, _ = sheet.read().holes
    assert first.end is not None
    assert (*first.at, *first.end, first.diameter) == pytest.approx((9, 10, 11, 10, 1))


def test_of_slots_around_each_other_the_narrowest_is_cut(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10, 4)
    for radius in (0.5, 1.0, 1.5):
        slot(sheet, 2, radius)
    assert [hole.diameter for hole in sheet.read().holes] == pytest.approx([1, 1])


def test_a_hole_in_the_middle_of_a_slot_is_doubtful(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10, 3)
    slot(sheet, 2, 0.5)
    sheet.space.add_circle((10, 10), 0.3, dxfattribs=BORES)
    (finding,) = sheet.refusal()
    assert (finding.code, finding.at) == ("hole-doubtful", (10, 10))
    assert "a hole of 0.600 mm within a slot 1.000 mm wide" in finding.message


def test_what_encloses_nothing_on_a_hole_layer_is_named_as_left_out(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline([(20, 10), (21, 10)], close=True, dxfattribs=BORES)
    assert len(sheet.read().holes) == 1
    assert left_out(sheet) == [("bores", "LWPOLYLINE", "it is drawn twice or encloses nothing")]


def test_a_ring_whose_pen_fills_it_is_a_pad_without_a_drill(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    ring = [(20, 10, 1), (21, 10, 1)]
    sheet.space.add_lwpolyline(
        ring, format="xyb", close=True, dxfattribs={**FOIL, "const_width": 1.0}
    )
    board = sheet.read(replace(ROLES, holes=("foil",)))
    assert board.holes == ()
    assert board.pieces[0].shape.bounds == pytest.approx((19.5, 9, 21.5, 11))


def test_a_line_that_crosses_itself_beside_a_fill_is_refused_at_its_crossing(
    tmp_path: Path,
) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_solid([(5, 5), (9, 5), (5, 8), (9, 8)], dxfattribs=FOIL)
    bow = [(20, 10), (25, 15), (25, 10), (20, 15)]
    sheet.space.add_lwpolyline(bow, close=True, dxfattribs=FOIL)
    (finding,) = sheet.refusal()
    assert (finding.code, finding.at) == ("copper-crosses-itself", (22.5, 12.5))


def test_bare_curves_take_the_width_that_the_job_gives(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_ellipse((30, 15), (6, 0), 0.5, dxfattribs=FOIL)
    sheet.space.add_open_spline([(5, 5), (8, 5), (10, 5), (12, 5)], dxfattribs=FOIL)
    line, ring = (p.shape for p in sheet.read(replace(ROLES, line_widths=(("foil", 0.8),))).pieces)
    assert line.bounds == pytest.approx((4.6, 4.6, 12.4, 5.4))
    assert ring.bounds == pytest.approx((23.6, 11.6, 36.4, 18.4), abs=SAGITTA)
    assert len(ring.interiors) == 1


def drilled(*lines: str) -> Any:
    words = "\n".join(("M48", "METRIC", "T1C1.0", "%", "T1", *lines, "M30"))
    return read_drill(words.encode(), "drill").strokes


def test_a_routed_cut_of_a_single_point_is_a_hole(tmp_path: Path) -> None:
    # read as a cut-out it would be a contour that no cutter goes around in
    marks = drilled("G00X10.0Y10.0", "M15", "G01X10.0Y10.0", "M16")
    ledger = Ledger("lamp", "lamp.drl")
    rest, openings = hole_marks.routed(marks, ledger)
    assert openings == []
    assert hole_marks.rounds(rest, [], ledger) == [((10.0, 10.0), 1.0)]
    assert not ledger.stopped


def test_two_routed_cuts_that_meet_around_an_island_are_refused() -> None:
    ledger = Ledger("lamp", "lamp.drl")
    marks = drilled(
        *("G00X5.0Y5.0", "M15", "G01X5.0Y15.0", "X15.0Y15.0", "M16"),
        *("G00X5.0Y5.0", "M15", "G01X15.0Y5.0", "X15.0Y15.0", "M16"),
    )
    _, openings = hole_marks.routed(marks, ledger)
    assert len(openings) == 2
    edge = shapely.box(0, 0, 50, 30)
    assert hole_marks.opened(edge, openings, [], ledger) is edge
    assert ledger.stopped
    (finding,) = ledger.take()
    assert finding.code == "outline-falls-apart"
    assert "the routed cuts of the drill file cut the board into several parts" in finding.message
    assert finding.at in list(openings[0].exterior.coords)
