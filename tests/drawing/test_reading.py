"""Reading as a whole: units, layers, outline, holes, the ledger, and every refusal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.drawing import read
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles
from tests.helpers.sheet import BORES, FOIL, RIM, ROLES, Sheet, codes


def refused(file: Path) -> str:
    with pytest.raises(Refusal) as caught:
        read(file, name="lamp", shown_as="x.dxf", layers=ROLES, unit=None)
    assert caught.value.exit_code == 3
    (finding,) = caught.value.findings
    return finding.code


def test_a_missing_drawing(tmp_path: Path) -> None:
    assert refused(tmp_path / "none.dxf") == "drawing-missing"
    assert refused(tmp_path) == "drawing-missing"


@pytest.mark.parametrize("content", [b"", b" \r\n", b"\0" * 10])
def test_an_empty_file(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.dxf").write_bytes(content)
    assert refused(tmp_path / "a.dxf") == "drawing-empty"


def test_no_dxf_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.dxf").write_text("<svg></svg>")
    assert refused(tmp_path / "a.dxf") == "drawing-not-dxf"


@pytest.mark.parametrize(
    "content",
    [
        "0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nnot a number\n",
        "0\nSECTION\n2\nENTITIES\n0\nLINE\n",
        "  0\nSECTION\n  2\n",
        "12\n12\n12\n",
    ],
)
def test_damaged_structure_is_refused_without_a_traceback(tmp_path: Path, content: str) -> None:
    (tmp_path / "a.dxf").write_text(content)
    assert refused(tmp_path / "a.dxf") in {"drawing-unreadable", "drawing-empty"}


def test_every_cut_short_copy_of_a_file_is_read_or_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.read()
    whole = sheet.file.read_bytes()
    outcomes = set()
    for end in range(0, len(whole), max(1, len(whole) // 40)):
        sheet.file.write_bytes(whole[:end])
        try:
            read(sheet.file, name="lamp", shown_as="x.dxf", layers=ROLES, unit=None)
            outcomes.add("read")
        except Refusal as refusal:
            outcomes |= {finding.code for finding in refusal.findings}
    assert {"drawing-empty", "drawing-unreadable"} <= outcomes


def test_an_empty_model_space(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.delete_all_entities()
    assert codes(sheet.refusal()) == ["drawing-empty"]


def test_inches_in_the_file_become_mm(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=1)
    sheet.pad(1, 1, 0.05)
    board = sheet.read()
    assert board.outline.bounds == pytest.approx((0, 0, 1270, 762))
    rim = np.asarray(board.pieces[0].shape.exterior.coords)
    assert np.hypot(*(rim - 25.4).T) == pytest.approx(1.27)
    assert board.holes[0].diameter == pytest.approx(25.4)


def test_no_unit_is_asked_for_with_sizes(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=0)
    sheet.pad(10, 10)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-no-unit"
    for words in ("50.00 × 30.00 mm", "1270.00 × 762.00 mm", "17.64 × 10.58 mm",
                  "with mm, 100% of the holes"):  # fmt: skip
        assert words in finding.message
    assert sheet.read(unit="mm").outline.area == pytest.approx(1500)
    assert sheet.read(unit="point").outline.area == pytest.approx(1500 * (25.4 / 72) ** 2)


def test_inch_drills_speak_for_inches(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=None, rim=False)
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 3, 2)
    sheet.pad(1, 1, 0.05)
    for k, d in enumerate((1 / 32, 3 / 64, 0.04, 0.055)):
        sheet.space.add_circle((0.5 + k / 2, 0.5), d / 2, dxfattribs=BORES)
    (finding,) = sheet.refusal()
    assert "with inch, 100% of the holes are drill sizes in inch sizes" in finding.message


def test_a_unit_in_words_is_none(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.doc.saveas(sheet.file)
    content = sheet.file.read_text()
    assert content.count("$INSUNITS\n 70\n4\n") == 1
    sheet.file.write_text(content.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n  1\nmm\n"))
    assert refused(sheet.file) == "drawing-no-unit"


def test_a_drawing_of_words_without_a_unit_has_no_size(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=None, rim=False)
    sheet.space.add_text("HERE", dxfattribs={**FOIL, "insert": (5, 10)})
    sheet.space.add_text("EDGE", dxfattribs={**RIM, "insert": (5, 10)})
    sheet.space.delete_entity(sheet.space.query("CIRCLE")[0])
    (finding,) = sheet.refusal(LayerRoles(("foil",), ("rim",), ("foil",)))
    assert finding.code == "drawing-no-unit"
    assert "mm makes it 0.00 × 0.00 mm" in finding.message


def test_a_unit_that_contradicts_the_file(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    (finding,) = sheet.refusal(unit="inch")
    assert finding.code == "unit-contradicts"
    assert sheet.read(unit="mm").pieces


def test_an_absent_layer_with_its_nearest_spelling(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    findings = sheet.refusal(LayerRoles(("foli",), ("ri",), ("bores",)))
    assert codes(findings) == ["layer-absent", "layer-absent"]
    assert "did you mean 'foil'?" in findings[0].message
    assert "did you mean 'rim'?" in findings[1].message


def test_layer_names_do_not_care_for_case(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    assert sheet.read(LayerRoles(("FOIL",), ("Rim",), ("bores",))).pieces


def test_copper_on_no_layer_and_on_an_empty_one(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    assert codes(sheet.refusal(LayerRoles((), ("rim",), ("bores",)))) == ["copper-no-layer"]
    assert codes(sheet.refusal()) == ["copper-empty"]


def test_all_faults_come_together(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_line((0, 0), (50, 0), dxfattribs=RIM)
    sheet.space.add_line((5, 5), (9, 5), dxfattribs=FOIL)
    sheet.box(20, 20, 22, 21, layer="bores")
    assert set(codes(sheet.refusal())) == {"outline-open", "copper-zero-width", "hole-not-round"}


def test_an_outline_of_loose_lines_and_arcs(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_line((5, 0), (45, 0), dxfattribs=RIM)
    sheet.space.add_arc((45, 5), 5, -90, 0, dxfattribs=RIM)
    sheet.space.add_line((50, 5), (50, 30), dxfattribs=RIM)
    sheet.space.add_lwpolyline([(0, 5), (0, 30), (50, 30)], dxfattribs=RIM)
    sheet.space.add_arc((5, 5), 5, 180, 270, dxfattribs=RIM)
    sheet.pad(20, 20)
    outline = sheet.read().outline
    assert outline.area == pytest.approx(1500 - 2 * 25 * (1 - np.pi / 4), abs=0.002 * 16)
    corner = np.array([p for p in outline.exterior.coords if p[0] > 45 and p[1] < 5])
    assert np.hypot(*(corner - [45, 5]).T) == pytest.approx(5.0, abs=1e-9)


def test_an_open_outline_names_both_ends_and_the_gap(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_lwpolyline([(0, 0.03), (0, 30), (50, 30), (50, 0), (0, 0)], dxfattribs=RIM)
    sheet.pad(20, 20)
    (finding,) = sheet.refusal()
    assert finding.code == "outline-open"
    assert "(0.0000, 0.0300)" in finding.message
    assert "(0.0000, 0.0000)" in finding.message
    assert "0.0300 mm away" in finding.message
    assert finding.at == (0.0, 0.03)
    assert finding.frame == "drawing"


def test_cut_outs_are_interior_rings(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(10, 10, 20, 15)
    sheet.space.add_circle((30, 10), 3, dxfattribs=RIM)
    sheet.pad(5, 5)
    board = sheet.read()
    assert len(board.outline.interiors) == 2
    assert len(board.holes) == 1


def test_circles_on_a_layer_that_is_outline_and_holes_are_holes(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_circle((30, 10), 1.5, dxfattribs=RIM)
    sheet.pad(5, 5)
    board = sheet.read(LayerRoles(("foil",), ("rim",), ("rim",)))
    assert not board.outline.interiors
    assert [hole.diameter for hole in board.holes] == pytest.approx([3.0])


def test_a_round_board(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_circle((25, 15), 14, dxfattribs=RIM)
    sheet.pad(20, 20)
    assert sheet.read(LayerRoles(("foil",), ("rim",), ("rim",))).outline.area == pytest.approx(
        np.pi * 196, rel=1e-3
    )


def test_an_outline_drawn_with_a_pen_counts_by_its_middle(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_lwpolyline(
        [(0, 0), (50, 0), (50, 30), (0, 30)], close=True, dxfattribs={**RIM, "const_width": 0.2}
    )
    sheet.pad(20, 20)
    assert sheet.read().outline.area == pytest.approx(1500)


def test_two_boards_in_one_drawing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(60, 0, 110, 30)
    sheet.pad(20, 20)
    (finding,) = sheet.refusal()
    assert finding.code == "outline-several"
    assert "50.00 × 30.00 mm at (60.00, 0.00)" in finding.message


@pytest.mark.parametrize(
    ("second", "code"),
    [((40, 20, 60, 40), "outline-crosses"), ((10, 10, 20, 20), None)],
)
def test_lines_that_cross_the_outline(tmp_path: Path, second, code) -> None:  # type: ignore[no-untyped-def]
    sheet = Sheet(tmp_path)
    sheet.box(*second)
    sheet.pad(5, 5)
    if code is None:
        assert len(sheet.read().outline.interiors) == 1
    else:
        assert codes(sheet.refusal()) == [code]


def test_laminate_within_a_cut_out(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(10, 10, 20, 20)
    sheet.box(12, 12, 18, 18)
    sheet.pad(5, 5)
    assert codes(sheet.refusal()) == ["outline-island"]


def test_a_line_across_the_board_is_named(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((0, 0), (50, 30), dxfattribs=RIM)
    sheet.pad(5, 5)
    assert "outline-open" in codes(sheet.refusal())


def test_holes_stand_on_their_pieces(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(20, 20)
    sheet.space.add_lwpolyline(
        [(9.5, 10, 1), (10.5, 10, 1)], format="xyb", close=True,
        dxfattribs={**FOIL, "const_width": 0.6},
    )  # fmt: skip
    sheet.space.add_circle((10, 10), 0.15, dxfattribs=BORES)
    sheet.space.add_circle((20, 20), 0.4, dxfattribs=BORES)
    sheet.space.add_circle((20, 20), 0.4, dxfattribs=BORES)
    sheet.space.add_circle((20, 20), 0.9, dxfattribs=BORES)
    board = sheet.read()
    assert [(h.id, h.piece) for h in board.holes] == [("h1", "c1"), ("h2", "c2"), ("h3", None)]
    assert [h.diameter for h in board.holes] == pytest.approx([0.3, 0.8, 1.0])
    assert not board.pieces[1].shape.interiors


def test_an_opening_that_the_drill_takes_away_is_filled(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for x, bore in ((10, 0.4), (20, 0.3)):
        # a ring, 0.8 mm inside
        sheet.space.add_lwpolyline(
            [(x - 0.7, 10, 1), (x + 0.7, 10, 1)], format="xyb", close=True,
            dxfattribs={**FOIL, "const_width": 0.6},
        )  # fmt: skip
        sheet.space.add_circle((x, 10), bore, dxfattribs=BORES)
    whole, ring = sheet.read().pieces
    assert len(whole.shape.interiors) == 0
    assert len(ring.shape.interiors) == 1


def test_dots_rings_and_inserts_on_a_hole_layer(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(5, 5)
    add = sheet.space.add_lwpolyline
    dot = [(9.75, 10, 1), (10.25, 10, 1)]
    add(dot, format="xyb", close=True, dxfattribs={**BORES, "const_width": 0.5})
    add([(19.75, 10, 1), (20.25, 10, 1), (19.75, 10, 0)], format="xyb",
        dxfattribs={**BORES, "const_width": 0.5})  # fmt: skip
    add([(29, 10, 1), (31, 10, 1)], format="xyb", close=True,
        dxfattribs={**BORES, "const_width": 1.0})  # fmt: skip
    block = sheet.doc.blocks.new("via")
    block.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
    block.add_circle((0, 0), 0.5, dxfattribs={"layer": "0"})
    sheet.space.add_blockref("via", (40, 10), dxfattribs={**BORES, "xscale": 0.9, "yscale": 0.9})
    fill = sheet.space.add_hatch(dxfattribs=BORES)
    fill.paths.add_polyline_path([(9, 20, 1), (10, 20, 1)], is_closed=True)
    found = {(round(h.at[0], 6), round(h.at[1], 6)): h.diameter for h in sheet.read().holes}
    assert found == pytest.approx(
        {(10, 10): 1.0, (20, 10): 1.0, (30, 10): 1.0, (40, 10): 0.9, (45, 25): 1.0, (9.5, 20): 1.0}
    )


def test_a_circle_drawn_with_a_thin_pen_is_doubtful_as_a_hole(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(5, 5)
    sheet.space.add_lwpolyline(
        [(29, 10, 1), (31, 10, 1)], format="xyb", close=True,
        dxfattribs={**BORES, "const_width": 0.1},
    )  # fmt: skip
    (finding,) = sheet.refusal()
    assert finding.code == "hole-doubtful"
    assert "1.900 mm" in finding.message


def test_an_octagon_is_no_hole(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(5, 5)
    corners = [(10 + np.cos(a), 10 + np.sin(a)) for a in np.arange(8) * np.pi / 4]
    sheet.space.add_lwpolyline(corners, close=True, dxfattribs=BORES)
    assert codes(sheet.refusal()) == ["hole-not-round"]


def test_pads_and_drills_on_one_layer(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for x in (10, 20):
        sheet.pad(x, 10, 1.0)
        sheet.pad(x, 10, 0.4)
    sheet.space.add_lwpolyline([(10, 10), (20, 10)], dxfattribs={**FOIL, "const_width": 0.8})
    both = LayerRoles(("foil",), ("rim",), ("foil",))
    board = sheet.read(both)
    assert len(board.pieces) == 1
    assert not board.pieces[0].shape.interiors
    assert [h.diameter for h in board.holes] == pytest.approx([0.8, 0.8])
    assert [h.piece for h in board.holes] == ["c1", "c1"]
    # alone, a circle there may be a pad or a hole
    sheet.pad(30, 10, 1.5)
    (finding,) = sheet.refusal(both)
    assert finding.code == "hole-doubtful"
    assert finding.at == pytest.approx((30, 10))


def test_a_circle_in_an_outline_is_gap_pad_or_drill(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 15, 15, layer="foil")
    sheet.pad(10, 10, 0.4)
    assert codes(sheet.refusal()) == ["copper-ambiguous"]
    as_drill = sheet.read(LayerRoles(("foil",), ("rim",), ("foil",)))
    assert as_drill.pieces[0].shape.area == pytest.approx(100)
    assert as_drill.holes[0].piece == "c1"
    nested = LayerRoles(("foil",), ("rim",), (), copper_modes=(("foil", "nested outlines"),))
    assert sheet.read(nested).pieces[0].shape.area == pytest.approx(100 - np.pi * 0.16, abs=0.01)
    union = LayerRoles(("foil",), ("rim",), (), copper_modes=(("foil", "overlapping outlines"),))
    assert sheet.read(union).pieces[0].shape.area == pytest.approx(100)


def test_a_boundary_around_tracks_is_not_filled_in_silence(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(4, 4, 20, 20, layer="foil")
    for y in (6, 10):
        sheet.space.add_lwpolyline([(6, y), (15, y), (15, y + 2)],
                                   dxfattribs={**FOIL, "const_width": 1})  # fmt: skip
    (finding,) = sheet.refusal()
    assert finding.code == "copper-ambiguous"
    strokes = LayerRoles(("foil",), ("rim",), (), copper_modes=(("foil", "strokes"),))
    assert len(sheet.read(strokes).pieces) == 2


def test_a_track_may_begin_in_a_pad_drawn_as_an_outline(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(4, 4, 8, 8, layer="foil")
    sheet.space.add_lwpolyline([(5.5, 6), (6.5, 6), (15, 6)],
                               dxfattribs={**FOIL, "const_width": 1})  # fmt: skip
    assert len(sheet.read().pieces) == 1


def test_outlines_that_overlap_are_one_piece(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 15, 8, layer="foil")
    sheet.box(12, 5, 15, 20, layer="foil")
    (piece,) = sheet.read().pieces
    assert piece.shape.area == pytest.approx(30 + 45 - 9)


def test_outlines_that_overlap_and_nest_are_ambiguous(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 15, 15, layer="foil")
    sheet.box(12, 5, 20, 20, layer="foil")
    sheet.box(6, 6, 9, 9, layer="foil")
    (finding,) = sheet.refusal()
    assert finding.code == "copper-ambiguous"


def test_pieces_and_holes_are_numbered_in_reading_order(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for at in ((30, 5), (10, 20), (10, 5)):
        sheet.pad(*at)
        sheet.space.add_circle(at, 0.4, dxfattribs=BORES)
    board = sheet.read()
    assert [p.shape.centroid.coords[0] for p in board.pieces] == [
        pytest.approx(at) for at in ((10, 5), (10, 20), (30, 5))
    ]
    assert [(h.id, h.piece) for h in board.holes] == [
        ("h1", "c1"), ("h2", "c2"), ("h3", "c3"), ("h4", None),
    ]  # fmt: skip


def test_the_ledger_adds_up(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.pad(10, 10)
    sheet.space.add_line((0, 0), (9, 9), dxfattribs={"layer": "legend"})
    sheet.space.add_text("A", dxfattribs=RIM)
    sheet.space.add_linear_dim((0, -5), (0, 0), (50, 0), dxfattribs=RIM).render()
    sheet.space.add_circle((3, 3), 0, dxfattribs=FOIL)
    board = sheet.read()
    reasons = {left.kind: left.reason for left in board.left_out}
    assert set(reasons) == {"LINE", "TEXT", "DIMENSION", "CIRCLE"}
    left = sum(one.count for one in board.left_out)
    used = 4  # rim, bore, two pads over each other
    assert left + used == len(sheet.space)


def test_two_reads_are_the_same(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for k in range(6):
        sheet.pad(5 + 3 * k, 10, 1.6)
    one, two = sheet.read(), sheet.read()
    assert one.pieces[0].shape.wkb == two.pieces[0].shape.wkb
    assert one.holes == two.holes


def test_far_from_the_origin_nothing_is_lost(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.delete_all_entities()
    x, y = 1e6, -2e6
    sheet.box(x, y, x + 50, y + 30)
    sheet.pad(x + 10, y + 10)
    sheet.space.add_circle((x + 10, y + 10), 0.4, dxfattribs=BORES)
    board = sheet.read()
    assert board.outline.area == pytest.approx(1500)
    assert board.holes[0].diameter == pytest.approx(0.8, abs=1e-8)
    assert shapely.Point(x + 10, y + 10).within(board.pieces[0].shape)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2007", "R2018"])
def test_every_version_reads_the_same(tmp_path: Path, version: str) -> None:
    sheet = Sheet(tmp_path, version="R2010", rim=False)
    sheet.space.add_polyline2d([(0, 0), (50, 0), (50, 30), (0, 30)], close=True, dxfattribs=RIM)
    sheet.pad(10, 10)
    sheet.doc.dxfversion = version
    board = sheet.read(unit="mm")
    assert board.outline.area == pytest.approx(1500)
    assert len(board.pieces) == len(board.holes) == 1


def test_outline_and_holes_in_files_of_their_own(tmp_path: Path) -> None:
    files = {}
    for role in ("foil", "rim", "bores"):
        (tmp_path / role).mkdir()
        sheet = Sheet(tmp_path / role, rim=role == "rim", insunits=1 if role == "rim" else 4)
        for entity in sheet.space.query(f"CIRCLE[layer!='{role}']"):
            sheet.space.delete_entity(entity)
        if role == "foil":
            sheet.pad(10, 10)
        sheet.doc.saveas(sheet.file)
        files[role] = sheet.file
    board = read(
        files["foil"], name="lamp", shown_as="foil.dxf", layers=ROLES, unit=None,
        outline_file=files["rim"], holes_files=(files["bores"],),
    )  # fmt: skip
    # each file is read in its own unit
    assert board.outline.bounds == pytest.approx((0, 0, 1270, 762))
    assert [hole.at for hole in board.holes] == [pytest.approx((45, 25))]
    assert len(board.pieces) == 1
    with pytest.raises(Refusal) as caught:
        read(
            files["foil"], name="lamp", shown_as="foil.dxf", layers=ROLES, unit=None,
            outline_file=tmp_path / "none.dxf", holes_files=(files["foil"],),
        )  # fmt: skip
    assert {(f.code, f.file) for f in caught.value.findings} == {
        ("drawing-missing", "none.dxf"), ("holes-empty", "foil.dxf"),
    }  # fmt: skip
