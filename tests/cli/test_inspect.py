"""What `inspect` says of the example's drawings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from millprep.cli.main import commands

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"


def said(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(commands, ["inspect", *words])
    assert result.exit_code == code, result.output
    return result.output


def test_layers_unit_and_roles_are_told_with_reasons() -> None:
    text = said(str(EXAMPLE / "relay-driver.dxf"))
    assert "the file states its unit: inch" in text
    assert "inch makes it 50.00 × 35.00 mm" in text
    assert "layer bores: 34 CIRCLE" in text
    assert "  may be holes: 34 circles of 4 sizes" in text
    assert "    holes: 10 × 1 mm, 13 × 1.1 mm, 7 × 1.3 mm, 4 × 3.2 mm" in text
    assert "  may be outline: a closed line" in text
    assert "14 pieces" in text


def test_the_same_as_json() -> None:
    got = json.loads(said(str(EXAMPLE / "relay-driver.dxf"), "--json"))
    assert got["unit"] == "inch"
    assert got["unit_mm"] == pytest.approx(25.4)
    assert got["roles"]["copper"] == ["foil"]
    assert got["roles"]["outline"] == ["rim"]
    assert got["roles"]["holes"] == ["bores"]
    kinds = [kind for layer in got["layers"] for kind in layer["kinds"]]
    counted = sum(one["count"] for one in kinds if "insert" not in one["kind"])
    inserts = got["entities"] - counted
    # every pad is an insert: 34 holes less four screws that have none
    assert inserts == 30


def test_a_file_that_is_no_drawing_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "letter.dxf"
    file.write_text("dear museum\n")
    assert "stop:" in said(str(file), code=3)
