"""What each kind of entity draws, through inserts and planes of every sort."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.drawing import read
from millprep.geometry.path import SAGITTA
from millprep.model.board import Board
from millprep.model.finding import Refusal
from tests.helpers.sheet import FOIL, ROLES, Sheet, codes


def only(board: Board) -> shapely.Polygon:
    assert len(board.pieces) == 1
    return board.pieces[0].shape


def rim_of(area: shapely.Polygon) -> np.ndarray:
    return np.asarray(area.exterior.coords)[:-1]


@pytest.mark.parametrize("radius", [0.05, 0.5, 2.0, 12.0])
def test_a_circle_is_a_filled_pad_with_equal_steps(tmp_path: Path, radius: float) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(20, 15, radius)
    rim = rim_of(only(sheet.read()))
    away = np.hypot(*(rim - [20, 15]).T)
    assert away == pytest.approx(np.full(len(rim), radius), abs=1e-12 * 20)
    chords = np.hypot(*(rim - np.roll(rim, 1, axis=0)).T)
    assert np.ptp(chords) < 1e-9
    assert radius - math.sqrt(radius**2 - (chords[0] / 2) ** 2) <= SAGITTA + 1e-12
    assert only(sheet.read()).bounds == pytest.approx(
        (20 - radius, 15 - radius, 20 + radius, 15 + radius), abs=1e-12
    )


def test_width_of_a_polyline_constant_default_and_per_vertex(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (10, 5)], dxfattribs={**FOIL, "const_width": 1.0})
    sheet.space.add_lwpolyline(
        [(5, 10, 1.2, 1.2), (10, 10, 0, 0)], format="xyse", dxfattribs={**FOIL, "const_width": 9.0}
    )
    sheet.space.add_polyline2d(
        [(5, 15), (10, 15)],
        dxfattribs={**FOIL, "default_start_width": 1.4, "default_end_width": 1.4},
    )
    sheet.space.add_polyline2d(
        [(5, 20, 1.6, 1.6), (10, 20, 1.6, 1.6)], format="xyse", dxfattribs=FOIL
    )
    board = sheet.read()
    heights = [p.shape.bounds[3] - p.shape.bounds[1] for p in board.pieces]
    assert sorted(heights) == pytest.approx([1.0, 1.2, 1.4, 1.6])


def test_a_fill_keeps_its_inner_ring(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path([(5, 5), (15, 5), (15, 15), (5, 15)])
    edge = fill.paths.add_edge_path(flags=16)
    edge.add_arc((10, 10), 2, 0, 360)
    area = only(sheet.read())
    assert len(area.interiors) == 1
    ring = np.asarray(area.interiors[0].coords)
    assert np.hypot(*(ring - [10, 10]).T) == pytest.approx(2.0)


def test_a_fill_bounded_by_edges_of_every_kind(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    edge = fill.paths.add_edge_path()
    edge.add_line((5, 5), (15, 5))
    edge.add_arc((15, 10), 5, -90, 90)
    edge.add_line((15, 15), (5, 15))
    edge.add_ellipse((5, 10), (0, 5), 0.4, 0, 180)
    area = only(sheet.read())
    exact = 100 + math.pi * 25 / 2 + math.pi * 5 * 2 / 2
    assert area.area == pytest.approx(exact, abs=0.05)
    assert area.area < exact


@pytest.mark.parametrize(("style", "area"), [(0, 100 - 64 + 36), (1, 100 - 64), (2, 100)])
def test_islands_of_a_fill_follow_its_style(tmp_path: Path, style: int, area: float) -> None:
    # 0 fills every second ring, 1 only the outermost band, 2 ignores what lies within
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs={**FOIL, "hatch_style": style})
    fill.dxf.hatch_style = style
    for k, flags in ((0, 1), (1, 16), (2, 0)):
        ring = [(5 + k, 5 + k), (15 - k, 5 + k), (15 - k, 15 - k), (5 + k, 15 - k)]
        fill.paths.add_polyline_path(ring, flags=flags)
    assert sum(p.shape.area for p in sheet.read().pieces) == pytest.approx(area)


def test_solids_take_their_corners_crosswise(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_solid([(5, 5), (9, 5), (5, 8), (9, 8)], dxfattribs=FOIL)
    assert only(sheet.read()).area == pytest.approx(12)


def test_a_solid_with_crossed_corners_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_solid([(5, 5), (9, 5), (9, 8), (5, 8)], dxfattribs=FOIL)
    assert codes(sheet.refusal()) == ["fill-crosses-itself"]


def test_closed_outlines_nest(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for k in (0, 1, 2):
        sheet.box(5 + k, 5 + k, 15 - k, 15 - k, layer="foil")
    board = sheet.read()
    assert [p.shape.area for p in board.pieces] == pytest.approx([100 - 64, 36])


def test_an_ellipse_and_a_spline_enclose_copper(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_ellipse((20, 15), (6, 0), 0.5, dxfattribs=FOIL)
    assert only(sheet.read()).area == pytest.approx(math.pi * 18, rel=1e-3)
    x, y = rim_of(only(sheet.read())).T
    assert ((x - 20) / 6) ** 2 + ((y - 15) / 3) ** 2 == pytest.approx(1.0)


def test_a_closed_spline_stays_on_its_curve(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    points = [(10, 10, 0), (20, 8, 0), (22, 18, 0), (12, 20, 0)]
    spline = sheet.space.add_spline(dxfattribs=FOIL)
    spline.set_closed(points, degree=3)
    area = only(sheet.read())
    tool = spline.construction_tool()
    low, high = tool.knots()[3], tool.knots()[-4]
    dense = np.array([(p.x, p.y) for p in tool.points(np.linspace(low, high, 20001))])
    away = shapely.distance(shapely.points(dense), area.exterior)
    assert away.max() <= SAGITTA
    on_curve = shapely.LineString(dense)
    assert shapely.distance(shapely.points(rim_of(area)), on_curve).max() < 1e-6


def unit_block(sheet: Sheet, name: str = "land") -> None:
    block = sheet.doc.blocks.new(name)
    block.add_circle((0, 0), 0.5, dxfattribs={"layer": "0"})


def test_an_insert_on_layer_0_takes_the_inserts_layer_and_scale(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    unit_block(sheet)
    sheet.space.add_blockref(
        "land", (20, 10), dxfattribs={**FOIL, "xscale": 4, "yscale": 2, "rotation": 90}
    )
    area = only(sheet.read())
    assert area.bounds == pytest.approx((19, 8, 21, 12))
    x, y = rim_of(area).T
    assert (x - 20) ** 2 + ((y - 10) / 2) ** 2 == pytest.approx(1.0)


def test_inserts_in_inserts_and_base_points(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    unit_block(sheet)
    outer = sheet.doc.blocks.new("group", base_point=(1, 1))
    outer.add_blockref("land", (3, 1), dxfattribs={"layer": "0", "xscale": 2, "yscale": 2})
    sheet.space.add_blockref("group", (10, 10), dxfattribs={**FOIL, "rotation": 90})
    assert only(sheet.read()).bounds == pytest.approx((9, 11, 11, 13))


def test_an_array_of_inserts(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    unit_block(sheet)
    sheet.space.add_blockref(
        "land",
        (10, 10),
        dxfattribs={
            **FOIL, "column_count": 3, "row_count": 2, "column_spacing": 4, "row_spacing": 5,
        },
    )  # fmt: skip
    centres = sorted(p.shape.centroid.coords[0] for p in sheet.read().pieces)
    assert np.array(centres) == pytest.approx(
        np.array([(10, 10), (10, 15), (14, 10), (14, 15), (18, 10), (18, 15)])
    )


def test_a_wide_line_in_an_uneven_insert_is_stretched_as_a_whole(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("bar")
    block.add_lwpolyline([(0, 0), (1, 0)], dxfattribs={"layer": "0", "const_width": 1.0})
    sheet.space.add_blockref("bar", (10, 10), dxfattribs={**FOIL, "xscale": 3, "yscale": 2})
    assert only(sheet.read()).bounds == pytest.approx((8.5, 9, 14.5, 11))


def test_content_of_a_block_on_a_layer_of_its_own_stays_there(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("part")
    block.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
    block.add_circle((0, 0), 0.4, dxfattribs={"layer": "bores"})
    block.add_line((-5, 0), (5, 0), dxfattribs={"layer": "legend"})
    sheet.space.add_blockref("part", (20, 20), dxfattribs=FOIL)
    board = sheet.read()
    assert len(board.pieces) == 1
    assert [h.diameter for h in board.holes] == pytest.approx([0.8, 1.0])
    assert board.holes[0].piece == "c1"
    (left,) = board.left_out
    assert (left.layer, left.kind, left.count) == ("legend", "LINE in block part", 1)


def test_a_view_from_behind_is_turned_round(tmp_path: Path) -> None:
    # extrusion (0, 0, -1): x runs the other way
    sheet = Sheet(tmp_path)
    sheet.space.add_circle((-20, 10), 1, dxfattribs={**FOIL, "extrusion": (0, 0, -1)})
    sheet.space.add_lwpolyline(
        [(-5, 5), (-8, 5), (-8, 9)],
        dxfattribs={**FOIL, "const_width": 1, "extrusion": (0, 0, -1)},
    )
    board = sheet.read()
    assert board.pieces[0].shape.bounds == pytest.approx((4.5, 4.5, 8.5, 9.5))
    assert board.pieces[1].shape.bounds == pytest.approx((19, 9, 21, 11))


def test_a_mirrored_insert(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("hook")
    block.add_lwpolyline(
        [(0, 0, 0.4142135623730951), (4, 0, 0), (4, 3, 0)],
        format="xyb",
        dxfattribs={"layer": "0", "const_width": 1},
    )
    sheet.space.add_blockref("hook", (20, 10), dxfattribs={**FOIL, "xscale": -1})
    sheet.space.add_blockref("hook", (30, 10), dxfattribs=FOIL)
    mirrored, plain = (piece.shape for piece in sheet.read().pieces)
    turned = shapely.transform(plain, lambda xy: np.column_stack((50 - xy[:, 0], xy[:, 1])))
    assert shapely.symmetric_difference(mirrored, turned).area < 1e-9


def test_what_stands_tilted_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_circle((20, 10), 1, dxfattribs={**FOIL, "extrusion": (1, 0, 1)})
    (finding,) = sheet.refusal()
    assert finding.code == "entity-not-flat"


def lined(fill: Any) -> None:
    fill.paths.add_polyline_path([(1, 1), (2, 1), (2, 2)])
    fill.set_pattern_fill("ANSI31")


@pytest.mark.parametrize(
    ("draw", "code"),
    [
        (lambda s: s.add_3dface([(1, 1), (2, 1), (2, 2), (1, 2)], dxfattribs=FOIL),
         "entity-unsupported"),
        (lambda s: s.add_point((5, 5), dxfattribs=FOIL), "entity-unsupported"),
        (lambda s: s.add_xline((5, 5), (1, 0), dxfattribs=FOIL), "entity-unsupported"),
        (lambda s: lined(s.add_hatch(dxfattribs=FOIL)), "hatch-not-solid"),
        (lambda s: s.add_lwpolyline([(5, 5, 1, 2), (9, 5, 2, 2)], format="xyse", dxfattribs=FOIL),
         "copper-tapered"),
        (lambda s: s.add_lwpolyline([(5, 5, 1, 1), (9, 5, 0, 0), (12, 5, 0, 0)], format="xyse",
                                    dxfattribs=FOIL), "copper-zero-width"),
        (lambda s: s.add_line((5, 5), (9, 5), dxfattribs=FOIL), "copper-zero-width"),
        (lambda s: s.add_blockref("nowhere", (5, 5), dxfattribs=FOIL), "block-missing"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_truly_is_refused(tmp_path: Path, draw, code: str) -> None:  # type: ignore[no-untyped-def]
    sheet = Sheet(tmp_path)
    sheet.pad(30, 20)
    draw(sheet.space)
    (finding,) = sheet.refusal()
    assert finding.code == code
    assert "layer 'foil'" in finding.message
    assert ";" in finding.message


def test_a_block_that_holds_itself(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("loop")
    block.add_blockref("loop", (1, 1), dxfattribs={"layer": "0"})
    sheet.space.add_blockref("loop", (5, 5), dxfattribs=FOIL)
    assert "block-cycle" in codes(sheet.refusal())


def test_letters_and_the_ways_they_read_backwards(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(30, 20)
    add = sheet.space.add_text
    add("PLAIN", dxfattribs={**FOIL, "insert": (1, 1)})
    add("BACK", dxfattribs={**FOIL, "insert": (2, 1), "text_generation_flag": 2})
    add("OVER", dxfattribs={**FOIL, "insert": (3, 1), "text_generation_flag": 4})
    add("TURN", dxfattribs={**FOIL, "insert": (4, 1), "text_generation_flag": 6})
    add("BEHIND", dxfattribs={**FOIL, "insert": (-5, 1), "extrusion": (0, 0, -1)})
    sheet.space.add_mtext("MANY", dxfattribs={**FOIL, "insert": (6, 1)})
    block = sheet.doc.blocks.new("sign")
    block.add_text("SCALED", dxfattribs={"layer": "0", "insert": (0, 0)})
    sheet.space.add_blockref("sign", (7, 1), dxfattribs={**FOIL, "xscale": -1})
    board = sheet.read()
    found = {text.words: (text.at, text.mirrored) for text in board.lettering}
    assert {w for w, (_, mirrored) in found.items() if mirrored} == {
        "BACK", "OVER", "BEHIND", "SCALED",
    }  # fmt: skip
    assert found["BEHIND"][0] == pytest.approx((5, 1))
    assert found["SCALED"][0] == pytest.approx((7, 1))
    assert sum(left.count for left in board.left_out) == 7


def test_a_fill_bounded_by_splines_is_whole(tmp_path: Path) -> None:
    """R2010 and later: a spline edge has a count of fit points of its own in group 97."""
    sheet = Sheet(tmp_path)
    hatch = sheet.space.add_hatch(dxfattribs=FOIL)
    for x in (5.0, 22.0):
        path = hatch.paths.add_edge_path()
        path.add_spline(
            control_points=[(x, 5), (x + 2, 13), (x + 8, 13), (x + 10, 5)],
            degree=3,
            knot_values=[0, 0, 0, 0, 1, 1, 1, 1],
        )
        path.add_line((x + 10, 5), (x, 5))
    areas = [piece.shape.area for piece in sheet.read().pieces]
    # integral of y dx, u = t (1 - t): y = 24 u, dx = (6 + 24 u) dt; flattened to 2 µm
    assert areas == pytest.approx([43.2, 43.2], abs=0.002 * 20)


def changed(sheet: Sheet, old: str, new: str) -> Board:
    """The board of the drawing in which one number was damaged."""
    sheet.doc.saveas(sheet.file)
    words = sheet.file.read_text()
    assert words.count(f"\n{old}\n") == 1
    sheet.file.write_text(words.replace(f"\n{old}\n", f"\n{new}\n"))
    return read(sheet.file, name="lamp", shown_as="sheet.dxf", layers=ROLES, unit=None)


@pytest.mark.parametrize("number", ["6.25", "0.515"], ids=["axis", "ratio"])
def test_an_ellipse_whose_size_is_no_number_is_refused(tmp_path: Path, number: str) -> None:
    # left out, its copper would be missing without a word
    sheet = Sheet(tmp_path)
    sheet.pad(40, 20)
    sheet.space.add_ellipse((20, 15), (6.25, 0), 0.515, dxfattribs=FOIL)
    with pytest.raises(Refusal) as caught:
        changed(sheet, number, "nan")
    (finding,) = caught.value.findings
    assert finding.code == "entity-damaged"
    assert "its axes are no numbers" in finding.message


def test_an_ellipse_without_a_size_is_named_as_left_out(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(40, 20)
    sheet.space.add_ellipse((20, 15), (6.25, 0), 0.5, dxfattribs=FOIL)
    board = changed(sheet, "6.25", "0.0")
    assert [(left.kind, left.reason) for left in board.left_out] == [("ELLIPSE", "it has no size")]
    assert len(board.pieces) == 1


def test_a_tilted_ellipse_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_ellipse((20, 15), (6, 0), 0.5, dxfattribs={**FOIL, "extrusion": (0, 0.5, 1)})
    (finding,) = sheet.refusal()
    assert finding.code == "entity-not-flat"
    assert "it is tilted out of the drawing plane" in finding.message


@pytest.mark.parametrize("kind", ["ARC", "CIRCLE"])
@pytest.mark.parametrize("radius", [-1.5, float("nan")])
def test_a_radius_that_is_none_is_refused_at_its_place(
    tmp_path: Path, kind: str, radius: float
) -> None:
    sheet = Sheet(tmp_path)
    shape = {"ARC": lambda: sheet.space.add_arc((5, 6), radius, 0, 90, dxfattribs=FOIL),
             "CIRCLE": lambda: sheet.space.add_circle((5, 6), radius, dxfattribs=FOIL)}  # fmt: skip
    shape[kind]()
    (finding,) = sheet.refusal()
    assert finding.code == "entity-damaged"
    assert f"at (5.000, 6.000) mm: its radius is {radius:g}" in finding.message


def test_the_frame_of_a_fitted_curve_is_no_part_of_it(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    track = sheet.space.add_polyline2d(
        [(5, 5), (10, 20), (15, 5)],
        dxfattribs={**FOIL, "flags": 4, "default_start_width": 1, "default_end_width": 1},
    )
    track.append_vertices([(5, 5), (10, 10), (15, 5)])
    for k, vertex in enumerate(track.vertices):
        vertex.dxf.flags = 16 if k < 3 else 8  # the frame's control points; the fitted curve
    # half a pen above its vertex the round corner ends; the frame goes up to 20
    assert only(sheet.read()).bounds[3] == pytest.approx(10.5, abs=SAGITTA)


def test_a_wide_line_of_no_length_is_a_dot(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (5, 5)], dxfattribs={**FOIL, "const_width": 1.0})
    assert only(sheet.read()).bounds == pytest.approx((4.5, 4.5, 5.5, 5.5))


def test_lines_of_no_vertices_and_of_no_length_are_named_as_left_out(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(40, 20)
    sheet.space.add_polyline2d([], dxfattribs=FOIL)
    sheet.space.add_open_spline([(5, 5)] * 4, dxfattribs=FOIL)
    board = sheet.read()
    assert [(left.kind, left.reason) for left in board.left_out] == [
        ("POLYLINE", "it has no vertices"),
        ("SPLINE", "it has no length"),
    ]


@pytest.mark.parametrize(
    ("insert", "code", "words"),
    [
        ({"insert": (float("nan"), 1)}, "entity-damaged", "its place is no finite number"),
        ({"insert": (1, 1), "xscale": 1e-5}, "entity-not-flat", "its insert squashes it to a line"),
    ],
)
def test_what_an_insert_puts_nowhere_or_squashes_is_refused(
    tmp_path: Path, insert: dict[str, Any], code: str, words: str
) -> None:
    sheet = Sheet(tmp_path)
    unit_block(sheet)
    outer = sheet.doc.blocks.new("row")
    outer.add_blockref("land", (0, 0), dxfattribs={**FOIL, "xscale": 1e-5})
    sheet.space.add_blockref("row", insert["insert"], dxfattribs={**FOIL, **insert})
    (finding,) = sheet.refusal()
    assert finding.code == code
    assert words in finding.message
