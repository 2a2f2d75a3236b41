"""Which text names which pads."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
import shapely

from millprep.drawing.texts import REACH, named_in, with_part_names
from millprep.geometry.path import Point
from millprep.geometry.pose import Affine
from millprep.model.board import Board, CopperPiece, Hole, Lettering, NetPoint
from tests.helpers.sheet import ROLES, Sheet, codes

LAYER = "scrawl"


def board(*pads: Point, points: tuple[NetPoint, ...] = ()) -> Board:
    """Pads with holes, each a piece of its own, on a board of 80 x 60."""
    shapes = [shapely.Point(at).buffer(1.0) for at in pads]
    pieces = tuple(CopperPiece(f"c{n}", shape) for n, shape in enumerate(shapes, 1))
    holes = tuple(Hole(f"h{n}", at, 1.0, f"c{n}") for n, at in enumerate(pads, 1))
    return Board("lamp", shapely.box(-20, -20, 60, 40), pieces, holes, points=points)


def text(words: str, at: Point, layer: str = LAYER) -> Lettering:
    """A text of 1.5 mm with its middle there."""
    letters = Affine(1.5, 0.0, at[0], 0.0, 1.5, at[1])
    return Lettering(words, at, False, layer, letters, (0.5, 0.5))


def named(made: Board) -> dict[Point, str]:
    return {point.at: point.part for point in made.parts}


def test_a_text_between_two_pads_names_both_and_one_beside_a_pad_that_one() -> None:
    pads = board((0, 0), (10, 0), (0, 30), (10, 30))
    made = with_part_names(pads, [text("R5", (5, 2)), text("D1", (0, 28))], "lamp.dxf")
    assert named(made) == {(0, 0): "R5", (10, 0): "R5", (0, 30): "D1"}
    assert made.doubts == ()
    assert {point.net for point in made.parts} == {None}


def test_a_text_in_the_middle_of_a_valve_base_names_all_its_pins() -> None:
    pins = [(10.0 + dx, 10.0 + dy) for dx, dy in ((6, 0), (0, 6), (-6, 0), (0, -6), (4.2, 4.2))]
    made = with_part_names(board(*pins, (10, 26)), [text("V1", (10.5, 10.0))], "lamp.dxf")
    assert set(named(made)) == set(pins)


def test_a_pad_goes_to_the_nearer_text_and_to_none_where_both_are_about_as_near() -> None:
    texts = [text("R1", (4, 0)), text("R2", (13, 0))]
    made = with_part_names(board((5, 0), (11, 0)), texts, "lamp.dxf")
    assert named(made) == {(5, 0): "R1", (11, 0): "R2"}
    made = with_part_names(board((5, 0)), [text("R1", (2, 0)), text("R2", (9, 0))], "lamp.dxf")
    assert named(made) == {}
    (doubt,) = made.doubts
    assert (doubt.code, doubt.severity, doubt.at) == ("part-name-ambiguous", "note", (5, 0))
    assert "'R1' is 3.0 mm away and 'R2' 4.0 mm" in doubt.message


def test_a_text_far_from_every_pad_names_none() -> None:
    near = with_part_names(board((0, 0)), [text("R1", (REACH, 0))], "lamp.dxf")
    assert named(near) == {(0, 0): "R1"}
    far = with_part_names(board((0, 0)), [text("R1", (REACH + 0.1, 0))], "lamp.dxf")
    assert named(far) == {}
    (doubt,) = far.doubts
    assert (doubt.code, doubt.severity, doubt.at) == ("part-name-far", "warn", (15.1, 0))
    assert "15.1 mm away" in doubt.message


def test_two_parts_with_one_name_are_a_warning() -> None:
    texts = [text("R1", (0, 2)), text("r1", (30, 2))]
    made = with_part_names(board((0, 0), (30, 0)), texts, "lamp.dxf")
    assert named(made) == {(0, 0): "R1", (30, 0): "r1"}
    (doubt,) = made.doubts
    assert (doubt.code, doubt.severity, doubt.at) == ("part-name-twice", "warn", (30, 2))
    assert "(0.000, 2.000) and (30.000, 2.000)" in doubt.message


def test_the_netlist_wins_and_a_contradiction_is_a_warning() -> None:
    points = (
        NetPoint("GLOW", (0, 0), "R1", "2"),
        NetPoint("GLOW", (10, 0), "R7", "1"),
        NetPoint("FREE", (0, 20)),
    )
    pads = board((0, 0), (10, 0), (0, 20), (10, 20), points=points)
    texts = [text("R1", (5, 1)), text("J1", (0, 21)), text("J2", (10, 21))]
    made = with_part_names(pads, texts, "lamp.dxf")
    assert [point.words for point in made.pins] == ["R1 pin 2", "R7 pin 1", "J1", "J2"]
    assert [point.net for point in made.points] == ["GLOW", "GLOW", "FREE"]
    (doubt,) = made.doubts
    assert (doubt.code, doubt.severity, doubt.at) == ("part-name-unlike-netlist", "warn", (10, 0))
    assert "'R1'" in doubt.message
    assert "R7 pin 1" in doubt.message


def test_texts_count_once_and_only_those_of_the_layers() -> None:
    texts = [
        text("R1", (0, 0)),
        text("R1", (0, 0)),
        text("  ", (0, 5)),
        text("R2", (0, 5), "aside"),
    ]
    assert [t.words for t in named_in(texts, ["SCRAWL"])] == ["R1"]


@pytest.mark.parametrize("kind", ["left", "right", "fit", "attribute", "mtext", "turned"])
def test_the_middle_of_a_text_is_where_it_is_drawn(kind: str, tmp_path: Path) -> None:
    """Four letters of 2 mm, drawn about (20, 15) in several ways."""
    from ezdxf.enums import MTextEntityAlignment, TextEntityAlignment

    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    look = {"layer": LAYER}
    half = 2 * 0.8 * 2
    if kind == "mtext":
        made = sheet.space.add_mtext("R123", {"char_height": 2.0, **look})
        made.set_location((20 - half, 16), attachment_point=MTextEntityAlignment.TOP_LEFT)
    elif kind == "attribute":
        sheet.doc.blocks.new("part").add_line((0, 0), (1, 0), dxfattribs={"layer": "aside"})
        insert = sheet.space.add_blockref("part", (5, 5))
        insert.add_attrib("NAME", "R123", (20 - half, 14), {"height": 2.0, **look})
    else:
        made = sheet.space.add_text("R123", height=2.0, dxfattribs=look)
        if kind == "left":
            made.set_placement((20 - half, 14))
        elif kind == "right":
            made.set_placement((20 + half, 15), align=TextEntityAlignment.MIDDLE_RIGHT)
        elif kind == "fit":
            start, end = (20 - half, 14), (20 + half, 14)
            made.set_placement(start, end, align=TextEntityAlignment.FIT)
        else:
            made.set_placement((21, 15 - half), align=TextEntityAlignment.LEFT)
            made.dxf.rotation = 90
    roles = dataclasses.replace(ROLES, parts=(LAYER,))
    (drawn,) = named_in(sheet.read(roles).notes, roles.parts)
    assert drawn.words == "R123"
    assert drawn.middle == pytest.approx((20, 15))


def test_a_layer_without_text_names_no_parts(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_line((0, 0), (5, 5), dxfattribs={"layer": LAYER})
    sheet.space.add_text("hello", dxfattribs={"layer": "aside"})
    (fault,) = findings = sheet.refusal(dataclasses.replace(ROLES, parts=(LAYER,)))
    assert codes(findings) == ["parts-empty"]
    assert fault.message.endswith("name one that has texts: 'aside'")


def test_lines_next_to_the_names_are_no_copper_that_was_left_out(tmp_path: Path) -> None:
    """A wide line on a layer that the job does not know would be a warning."""
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_text("R1", dxfattribs={"layer": LAYER}).set_placement((10, 12))
    line = {"layer": LAYER, "const_width": 1.0}
    sheet.space.add_lwpolyline([(10, 10), (20, 10)], dxfattribs=line)
    assert codes(sheet.read().doubts) == ["copper-layer-unused"]
    assert sheet.read(dataclasses.replace(ROLES, parts=("Scrawl",))).doubts == ()


def test_a_text_on_a_board_without_a_hole_names_no_part() -> None:
    bare = dataclasses.replace(board((0, 0)), holes=())
    made = with_part_names(bare, [text("R1", (4, 0))], "lamp.dxf")
    (doubt,) = made.doubts
    assert (doubt.code, doubt.severity) == ("part-name-far", "warn")
    assert "Text 'R1' names no part. The board has no hole on copper." in doubt.message


def test_of_a_legend_filled_areas_alone_are_named_as_left_out(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(30, 20)
    scrawl = {"layer": LAYER}
    sheet.space.add_solid([(5, 5), (9, 5), (5, 8), (9, 8)], dxfattribs=scrawl)
    roles = dataclasses.replace(ROLES, legend=(LAYER,))
    (finding,) = sheet.refusal(roles)
    assert finding.code == "legend-empty"
    sheet.space.add_line((5, 15), (9, 15), dxfattribs=scrawl)
    sheet.space.add_text("R1", dxfattribs={**scrawl, "insert": (5, 20)})
    read = sheet.read(roles)
    assert [(left.kind, left.reason) for left in read.left_out] == [
        ("SOLID", "a filled area is not engraved")
    ]
    assert read.legend is not None
    assert [text.words for text in read.legend.texts] == ["R1"]
    (line,) = read.legend.lines
    assert line.xy.tolist() == [[5, 15], [9, 15]]
