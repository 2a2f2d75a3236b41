"""Text on any layer of a drawing, and where it stands."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from ezdxf.enums import TextEntityAlignment

from tests.helpers.sheet import FOIL, Sheet

BESIDE = {"layer": "remarks"}


def board(folder: Path) -> Sheet:
    sheet = Sheet(folder)
    sheet.pad(30, 20)
    return sheet


def test_text_on_a_layer_without_a_role_is_a_note(tmp_path: Path) -> None:
    sheet = board(tmp_path)
    sheet.space.add_text("B+", dxfattribs={**BESIDE, "insert": (3, 4)})
    sheet.space.add_mtext("GND", dxfattribs={**BESIDE, "insert": (5, 6)})
    read = sheet.read()
    assert [(n.words, n.at) for n in read.notes] == [("B+", (3, 4)), ("GND", (5, 6))]
    assert read.lettering == ()
    assert sum(left.count for left in read.left_out) == 2


def test_text_in_a_block_beside_the_board_is_found_at_its_place(tmp_path: Path) -> None:
    sheet = board(tmp_path)
    sheet.doc.blocks.new("sign").add_text("H1", dxfattribs={"layer": "0", "insert": (1, 0)})
    sheet.space.add_blockref("sign", (7, 1), dxfattribs={**BESIDE, "xscale": -2})
    (note,) = sheet.read().notes
    assert (note.words, note.mirrored) == ("H1", True)
    assert note.at == pytest.approx((5, 1))


def test_aligned_text_stands_where_it_is_aligned(tmp_path: Path) -> None:
    sheet = board(tmp_path)
    for layer in (BESIDE, FOIL):
        text = sheet.space.add_text("MIDDLE", dxfattribs=layer)
        text.set_placement((9, 8), align=TextEntityAlignment.MIDDLE_CENTER)
        text.dxf.insert = (0, 0)
    read = sheet.read()
    assert [one.at for one in (*read.notes, *read.lettering)] == [(9, 8), (9, 8)]


def test_damaged_text_beside_the_board_is_nobodys_fault(tmp_path: Path) -> None:
    sheet = board(tmp_path)
    sheet.space.add_text("FLAT", dxfattribs={**BESIDE, "insert": (1, 1), "extrusion": (0, 0, 0)})
    assert {note.words for note in sheet.read().notes} <= {"FLAT"}


NO_NUMBERS = [{"insert": (float("nan"), 4)}, {"insert": (1e300, 4)}, {"rotation": float("nan")}]


@pytest.mark.parametrize("wrong", NO_NUMBERS, ids=["nowhere", "too far", "no turn"])
def test_text_at_no_place_or_turned_by_no_number(tmp_path: Path, wrong: dict[str, Any]) -> None:
    # part names and legends need the place of a text; where the job uses its layer it is refused
    sheet = board(tmp_path)
    sheet.space.add_text("R1", dxfattribs={"insert": (3, 4), **BESIDE, **wrong})
    assert sheet.read().notes == ()
    sheet.space.add_text("R2", dxfattribs={"insert": (3, 4), **FOIL, **wrong})
    (finding,) = sheet.refusal()
    assert finding.code == "entity-damaged"
    assert "its place or its turn is no number that a board has" in finding.message


def test_text_in_the_middle_of_its_point(tmp_path: Path) -> None:
    sheet = board(tmp_path)
    text = sheet.space.add_text("V12", height=2, dxfattribs=BESIDE)
    text.set_placement((9, 8), align=TextEntityAlignment.MIDDLE)
    (note,) = sheet.read().notes
    assert (note.at, note.hangs, note.middle) == ((9, 8), (0.5, 0.5), (9, 8))
