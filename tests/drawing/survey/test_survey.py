from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.drawing import read
from millprep.drawing.marks import evenodd
from millprep.drawing.marks.chain import Chained, chain
from millprep.drawing.marks.neighbours import narrowest
from millprep.drawing.survey.candidates import Candidate
from millprep.drawing.survey.record import record
from millprep.drawing.survey.survey import Survey, survey_file
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles
from tests.helpers.chance import examples
from tests.helpers.sheet import FOIL, ROLES, Sheet


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
    assert all(layer.candidates for layer in found.layers)


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
    nested, overlapping = layer.candidates
    assert (nested.modes, nested.pieces, nested.stated) == (("nested outlines",), 2, False)
    assert nested.gap == pytest.approx(2.0)
    assert (overlapping.pieces, overlapping.stated) == (1, True)
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


def modes(found: Survey, name: str) -> dict[tuple[str, ...], Candidate]:
    """The readings of a layer as copper."""
    (layer,) = [one for one in found.layers if one.name == name]
    return {c.modes: c for c in reversed(layer.candidates) if c.role == "copper"}


def test_nested_and_overlapping_leave_the_mode_to_the_job(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(5, 5, 20, 15, layer="foil")
    sheet.box(17, 5, 25, 20, layer="foil")
    sheet.box(7, 7, 9, 9, layer="foil")
    found = surveyed(sheet)
    assert found.roles == ROLES
    assert found.needs_mode == ("foil",)
    assert any("more than one reading" in doubt for doubt in found.doubts)
    read_as = modes(found, "foil")
    assert [code for code, _ in read_as[()].refused] == ["copper-ambiguous"]
    assert [code for code, _ in read_as["nested outlines",].refused] == ["copper-not-nested"]
    assert read_as["overlapping outlines",].pieces == 1


def test_bare_centre_lines_ask_for_their_width(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((5, 5), (9, 5), dxfattribs=FOIL)
    sheet.space.add_line((5, 9), (9, 9), dxfattribs=FOIL)
    found = surveyed(sheet)
    assert found.roles == ROLES
    assert found.needs_width == ("foil",)
    assert any("width is lost" in doubt for doubt in found.doubts)
    assert modes(found, "foil")["strokes",].needs_width


def test_copper_beside_other_things_on_its_layer_is_a_reading_of_its_own(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    sheet.space.add_line((5, 9), (9, 9), dxfattribs=FOIL)
    sheet.space.add_text("lamp", dxfattribs=FOIL)
    found = surveyed(sheet)
    assert found.needs_mode == ("foil",)
    read_as = modes(found, "foil")
    assert [code for code, _ in read_as[()].refused] == ["copper-zero-width"]
    strokes = read_as["strokes",]
    assert strokes.pieces == 1
    assert {(kind, n) for kind, n, _ in strokes.left_out} == {("LINE", 1), ("TEXT", 1)}


def test_the_gap_and_its_place_are_reported(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for y in (5.0, 6.4, 20.0):
        sheet.space.add_lwpolyline([(5, y), (9, y)], dxfattribs={**FOIL, "const_width": 1})
    copper = modes(surveyed(sheet), "foil")["strokes",]
    assert copper.pieces == 3
    assert copper.gap == pytest.approx(0.4)
    assert copper.gap_at is not None
    assert copper.gap_at[1] == pytest.approx(5.7)


def test_pads_with_their_holes_are_not_taken_for_holes_alone(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    for r in (1.0, 0.4):
        sheet.space.add_circle((9, 5), r, dxfattribs={"layer": "through"})
    found = surveyed(sheet)
    assert found.roles is None
    (through,) = [la for la in found.layers if la.name == "through"]
    assert {c.role for c in through.candidates} == {"copper", "holes"}
    assert through.candidates[0].drills == ((0.8, 1),)


@pytest.mark.parametrize(("inner", "roles"), [(0.4, ("bores", "foil")), (0.3, ("bores",))])
def test_circles_in_pads_are_holes_where_the_layer_of_holes_lacks_them(
    tmp_path: Path, inner: float, roles: tuple[str, ...]
) -> None:
    """Of another size at the place of a hole, they settle nothing."""
    sheet = Sheet(tmp_path)
    for x in (10, 20):
        sheet.space.add_circle((x, 10), 1.0, dxfattribs=FOIL)
        sheet.space.add_circle((x, 10), inner, dxfattribs=FOIL)
    sheet.space.add_lwpolyline([(10, 10), (20, 10)], dxfattribs={**FOIL, "const_width": 1})
    sheet.space.add_circle((10, 10), 0.4, dxfattribs={"layer": "bores"})
    found = surveyed(sheet)
    assert found.roles is not None
    assert found.roles.holes == roles
    said = [doubt for doubt in found.doubts if "taken for holes too" in doubt]
    assert len(said) == len(roles) - 1


def test_a_circle_as_large_as_its_pad_is_no_hole_in_it(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    sheet.pad(9, 5, 3.0)
    (copper,) = modes(surveyed(sheet), "foil").values()
    assert not copper.own_holes
    assert copper.pieces == 1


def test_a_gap_in_the_outline_is_reported_with_its_place(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    corners = [(0.0, 0.03), (0.0, 30.0), (50.0, 30.0), (50.0, 0.0), (0.0, 0.0)]
    sheet.space.add_lwpolyline(corners, dxfattribs={"layer": "rim"})
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    found = surveyed(sheet)
    assert found.roles == ROLES
    assert found.close_gaps == pytest.approx(0.04)
    (rim,) = [la for la in found.layers if la.name == "rim"]
    ((at, size),) = rim.candidates[0].gaps
    assert at == pytest.approx((0.0, 0.015))
    assert size == pytest.approx(0.03)
    # the gap that is offered is closed by it
    roles = replace(ROLES, close_gaps=found.close_gaps)
    assert read(sheet.file, name="b", shown_as="x", unit=None, layers=roles).outline.area > 1499


def test_several_boards_are_not_taken_for_copper(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(60, 0, 110, 30)
    for x in (10, 70):
        sheet.pad(x, 10)
    found = surveyed(sheet)
    assert found.roles is None
    (rim,) = [la for la in found.layers if la.name == "rim"]
    assert [code for code, _ in rim.candidates[0].refused] == ["outline-several"]


def test_what_parts_one_layer_is_counted(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 50, 30, layer="0")
    sheet.space.add_line((1, 1), (9, 1), dxfattribs={"color": 3})
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={"const_width": 1, "color": 1})
    block = sheet.doc.blocks.new("PAD")
    block.add_circle((0, 0), 1)
    sheet.space.add_blockref("PAD", (20, 20))
    found = surveyed(sheet)
    (layer,) = found.layers
    assert dict(layer.distinctions) == {
        "colour": (("7", 2), ("1", 1), ("3", 1)),
        "line_type": (("Continuous", 4),),
        "block": (("PAD", 1),),
        "shape": (("closed", 2), ("open", 2)),
    }
    assert any("--split colour" in doubt for doubt in found.doubts)


def test_a_unit_that_is_asked_for_is_applied(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=None)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    sheet.doc.saveas(sheet.file)
    found = survey_file(sheet.file, "inch")
    assert (found.unit, found.stated, found.unit_mm) == ("inch", False, 25.4)
    assert found.box == pytest.approx((0, 0, 50 * 25.4, 30 * 25.4))
    assert found.per_mm == pytest.approx(1 / 25.4)


def test_a_unit_that_contradicts_the_file_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.saveas(sheet.file)
    with pytest.raises(Refusal) as caught:
        survey_file(sheet.file, "inch")
    assert [f.code for f in caught.value.findings] == ["unit-contradicts"]


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


def test_hidden_layers_and_what_cannot_be_read_are_reported(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((1, 1), (2, 2), dxfattribs={"layer": "legend"})
    sheet.doc.layers.add("legend").off()
    sheet.space.add_point((1, 1), dxfattribs=FOIL)
    found = surveyed(sheet)
    assert {layer.name for layer in found.layers if layer.hidden} == {"legend"}
    assert found.unread == ("1 × layer 'foil', POINT: a POINT cannot be read as a flat shape",)


@given(st.integers(1, 40), st.integers(0, 10_000))
@examples(40)
def test_the_narrowest_gap_is_that_of_the_nearest_two(count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy, reach = rng.uniform(0, 50, (count, 2)), rng.uniform(0.2, 4, count)
    discs = shapely.buffer(shapely.points(xy), reach, quad_segs=6)
    frames = shapely.get_parts(shapely.difference(discs, shapely.buffer(discs, -0.2)))
    pieces = list(shapely.get_parts(shapely.union_all(frames)))
    gap, at = narrowest(pieces)
    if len(pieces) < 2:
        assert gap is None
        assert at is None
        return
    assert gap is not None
    assert at is not None
    every = [a.distance(b) for k, a in enumerate(pieces) for b in pieces[:k]]
    assert gap == pytest.approx(min(every), abs=1e-12)
    away = sorted(piece.distance(shapely.Point(at)) for piece in pieces)
    assert away[:2] == pytest.approx([gap / 2, gap / 2], abs=1e-9)


def test_hundreds_of_circles_around_each_other_are_read(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.delete_all_entities()
    for k in range(200):
        sheet.space.add_circle((20, 20), 0.1 * (k + 1), dxfattribs=FOIL)
    (layer,) = surveyed(sheet).layers
    (copper,) = [c for c in layer.candidates if c.role == "copper"]
    assert copper.pieces == 100
    assert copper.gap == pytest.approx(0.1, abs=5e-3)


def test_more_circles_around_each_other_than_any_board_has_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # counted while layers are gathered, or only where a layer is read as the edge
    monkeypatch.setattr(evenodd, "MOST_ON_EACH_OTHER", 500)
    for sides in (0, 4):
        sheet = Sheet(tmp_path, rim=False)
        sheet.space.delete_all_entities()
        for k in range(1, 30):
            if sides:
                sheet.box(-k, -k, k, k, layer="foil")
            else:
                sheet.space.add_circle((0, 0), k, dxfattribs=FOIL)
        with pytest.raises(Refusal) as caught:
            surveyed(sheet)
        assert [finding.code for finding in caught.value.findings] == ["drawing-too-large"]
        assert caught.value.exit_code == 3


def test_blocks_nested_without_end_are_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.blocks.new("B0").add_line((0, 0), (1, 1))
    for k in range(25):
        sheet.doc.blocks.new(f"B{k + 1}").add_blockref(f"B{k}", (0, 0))
    sheet.space.add_blockref("B25", (0, 0))
    with pytest.raises(Refusal, match="blocks are nested more than 24 deep") as caught:
        surveyed(sheet)
    assert [finding.code for finding in caught.value.findings] == ["drawing-too-large"]
    assert caught.value.exit_code == 3


def test_a_region_in_mm_needs_a_unit(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=None)
    sheet.doc.saveas(sheet.file)
    for region, split in (((0.0, 0.0, 60.0, 40.0), ()), (None, ("edge",))):
        with pytest.raises(Refusal, match=r"sheet\.dxf does not say its unit") as caught:
            survey_file(sheet.file, region=region, split=split)  # type: ignore[arg-type]
        assert [finding.code for finding in caught.value.findings] == ["drawing-no-unit"]
    found = survey_file(sheet.file, "mm", region=(0.0, 0.0, 60.0, 40.0))
    assert found.box == pytest.approx((0, 0, 50, 30))


def test_copper_of_specks_is_refused_with_the_unit_in_doubt(tmp_path: Path) -> None:
    # drawn in metres, which the file does not say
    sheet = Sheet(tmp_path, insunits=None, rim=False)
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 0.05, 0.03)
    for x in (0.005, 0.015):
        sheet.box(x, 0.005, x + 0.0008, 0.0058, layer="foil")
    found = surveyed(sheet)
    (foil,) = [layer for layer in found.layers if layer.name == "foil"]
    assert {candidate.refused for candidate in foil.candidates} == {
        (
            (
                "copper-empty",
                "all that it draws is smaller than 0.001 × 0.001; check the drawing's unit",
            ),
        )
    }
    assert "NaN" not in json.dumps(record(found, "sheet.dxf", {}))
    # with its unit it is read
    (foil,) = [layer for layer in survey_file(sheet.file, "m").layers if layer.name == "foil"]
    assert [candidate.pieces for candidate in foil.candidates] == [2]


def test_lines_are_chained_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading a layer as edge and as copper takes the chains that the survey has."""
    chained = []

    def counted(*words: object) -> Chained:
        chained.append(words)
        return chain(*words)  # type: ignore[arg-type]

    for room in ("survey.layer_facts", "copper", "outline"):
        monkeypatch.setattr(f"millprep.drawing.{room}.chain", counted)
    sheet = Sheet(tmp_path)
    corners = [(10, 10), (20, 10), (20, 15), (10, 15), (10, 10)]
    for x in (0, 15):
        for (x0, y0), (x1, y1) in pairwise(corners):
            sheet.space.add_line((x0 + x, y0), (x1 + x, y1), dxfattribs={"layer": "foil"})
    found = surveyed(sheet)
    assert found.roles is not None
    assert len(chained) == len(found.layers) > 1
