from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from millprep.drawing import read
from millprep.drawing.survey import Survey, survey_file
from millprep.values.finding import Refusal
from millprep.values.plan import LayerRoles
from tests.drawing.sheet import FOIL, ROLES, Sheet


def test_a_clean_board_names_its_own_roles(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    sheet.doc.saveas(sheet.file)
    found = survey_file(sheet.file)
    assert found.roles == ROLES
    assert found.unit == "mm"
    assert found.box == pytest.approx((0, 0, 50, 30))
    assert found.entities == 3
    assert {layer.name: dict(layer.kinds) for layer in found.layers} == {
        "bores": {"CIRCLE": 1},
        "foil": {"LWPOLYLINE": 1},
        "rim": {"LWPOLYLINE": 1},
    }
    assert all(layer.roles for layer in found.layers)


def test_one_layer_for_all_settles_nothing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False, insunits=None)
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 50, 30, layer="0")
    sheet.space.add_circle((10, 10), 0.4)
    sheet.doc.saveas(sheet.file)
    found = survey_file(sheet.file)
    assert found.roles is None
    assert found.doubts
    assert found.unit is None
    assert "50.00 × 30.00 mm" in found.unit_words


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as caught:
        survey_file(tmp_path / "none.dxf")
    assert caught.value.exit_code == 3


def surveyed(sheet: Sheet) -> Survey:
    sheet.doc.saveas(sheet.file)
    return survey_file(sheet.file)


def test_merged_outlines_are_recognised_with_their_drills(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.delete_all_entities()
    for k in (0, 2, 4):
        sheet.box(k, k, 40 - k, 30 - k, layer="foil")
    sheet.pad(20, 15, 0.4)
    found = surveyed(sheet)
    assert found.roles == LayerRoles(
        ("foil",), (), ("foil",), copper_modes=(("foil", "nested outlines"),)
    )
    (layer,) = found.layers
    assert layer.pieces == 2
    assert layer.gap == pytest.approx(2.0)
    assert any("board's edge" in doubt for doubt in found.doubts)
    # the guess reads, once the edge is stated
    board = read(
        sheet.file, name="b", shown_as="x", unit=None, layers=replace(found.roles, outline_margin=1)
    )
    assert len(board.pieces) == 2
    assert [hole.diameter for hole in board.holes] == pytest.approx([0.8])


def test_overlapping_outlines_are_recognised(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 20, 8, layer="foil")
    sheet.box(17, 5, 20, 20, layer="foil")
    found = surveyed(sheet)
    assert found.roles is not None
    assert found.roles.copper_modes == (("foil", "overlapping outlines"),)
    assert found.roles.outline == ("rim",)


def test_nested_and_overlapping_settle_nothing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 20, 15, layer="foil")
    sheet.box(17, 5, 25, 20, layer="foil")
    sheet.box(7, 7, 9, 9, layer="foil")
    found = surveyed(sheet)
    assert found.roles is None
    assert any("may be gaps or copper" in doubt for doubt in found.doubts)


def test_bare_centre_lines_are_no_copper(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((5, 5), (9, 5), dxfattribs=FOIL)
    found = surveyed(sheet)
    assert found.roles is None
    assert any("width is lost" in doubt for doubt in found.doubts)


def test_an_edge_drawn_with_a_pen(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    corners = [(0, 0), (50, 0), (50, 30), (0, 30)]
    sheet.space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "rim", "const_width": 0.3})
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    assert surveyed(sheet).roles == ROLES


def test_two_copper_layers_are_left_to_the_user(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for layer in ("foil", "other"):
        sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={"layer": layer, "const_width": 1})
    found = surveyed(sheet)
    assert found.roles is None
    assert "2 layers may be copper: name yours" in found.doubts


def test_hidden_layers_and_what_cannot_be_read_are_told(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((1, 1), (2, 2), dxfattribs={"layer": "legend"})
    sheet.doc.layers.add("legend").off()
    sheet.space.add_point((1, 1), dxfattribs=FOIL)
    found = surveyed(sheet)
    assert {layer.name for layer in found.layers if layer.hidden} == {"legend"}
    assert found.unread == ("1 × layer 'foil', POINT: a POINT cannot be read as a flat shape",)
