from __future__ import annotations

from pathlib import Path

import pytest

from millprep.drawing import survey
from millprep.values.finding import Refusal
from tests.drawing.sheet import FOIL, ROLES, Sheet


def test_a_clean_board_names_its_own_roles(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    sheet.doc.saveas(sheet.file)
    found = survey(sheet.file)
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
    found = survey(sheet.file)
    assert found.roles is None
    assert found.doubts
    assert found.unit is None
    assert "50.00 × 30.00 mm" in found.unit_words


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as caught:
        survey(tmp_path / "none.dxf")
    assert caught.value.exit_code == 3
