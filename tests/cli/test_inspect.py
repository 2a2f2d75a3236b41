"""What `inspect` says of the example's drawings."""

from __future__ import annotations

import json
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner

from millprep.cli.inspect import UNITS
from millprep.cli.main import commands
from millprep.model.job.layers import Unit
from millprep.report.drawing_pictures import LayerPicture

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"


def said(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(commands, ["inspect", *words])
    assert result.exit_code == code, result.output
    return result.output


def test_layers_unit_and_roles_are_reported_with_reasons() -> None:
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


def test_texts_that_could_name_parts_are_listed() -> None:
    file = str(EXAMPLE.parent / "rules" / "heaters.dxf")
    lines = said(file).splitlines()
    listed = lines[lines.index("layer names: 5 TEXT") + 1]
    assert listed == "  texts that could name parts: T1, V1, V2, V3, V4"
    names = {la["name"]: la["part_names"] for la in json.loads(said(file, "--json"))["layers"]}
    assert names["names"] == ["T1", "V1", "V2", "V3", "V4"]
    assert names["foil"] == []


def test_a_file_that_is_no_drawing_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "letter.dxf"
    file.write_text("dear museum\n")
    assert "stop:" in said(str(file), code=3)


DIALECTS = Path(__file__).parents[2] / "fixtures" / "dialects"
KEYS = {
    "survey": "format file version entities unit unit_mm unit_stated measurement_hint box units "
    "unit_words layers roles asked_modes asked_widths close_gaps doubts unread repairs",
    "unit": "unit size_mm drill_share drill_series",
    "layer": "name kinds texts part_names box hidden apart picture candidates",
    "candidate": "role modes words reason job_must_say job_must_give_width job_must_say_pen "
    "pieces gap gap_at box "
    "in_mm drills own_holes close_gaps gaps left_out refused picture",
}
"""What a program that reads the JSON relies on: a key that goes or changes needs a new format."""


@pytest.mark.parametrize("name", sorted(file.stem for file in DIALECTS.glob("*.dxf")))
def test_the_keys_of_the_json_are_the_same_for_every_drawing(name: str) -> None:
    result = CliRunner().invoke(commands, ["inspect", str(DIALECTS / f"{name}.dxf"), "--json"])
    if result.exit_code == 3:
        return
    got = json.loads(result.stdout)
    assert got["format"] == 1
    assert set(got) == set(KEYS["survey"].split())
    for one in got["units"]:
        assert set(one) == set(KEYS["unit"].split())
    for layer in got["layers"]:
        assert set(layer) == set(KEYS["layer"].split())
        for one in layer["candidates"]:
            assert set(one) == set(KEYS["candidate"].split())
            assert one["role"] in ("copper", "outline", "holes")


def test_both_readings_of_nested_outlines_are_reported() -> None:
    got = json.loads(said(str(DIALECTS / "nested-outlines.dxf"), "--unit", "mm", "--json"))
    (foil,) = [layer for layer in got["layers"] if layer["name"] == "foil"]
    nested, overlapping = foil["candidates"]
    assert (nested["modes"], nested["pieces"]) == (["nested outlines"], 3)
    assert nested["gap"] == pytest.approx(1.0)
    assert nested["in_mm"] == [{"unit": "mm", "size": [32.0, 18.0], "gap": 1.0}]
    assert (overlapping["modes"], overlapping["pieces"]) == (["overlapping outlines"], 1)
    assert (nested["job_must_say"], overlapping["job_must_say"]) == (False, True)
    assert got["roles"]["modes"] == {"foil": "nested outlines"}


def test_without_a_unit_every_likely_one_is_reported() -> None:
    got = json.loads(said(str(DIALECTS / "inches-without-a-word.dxf"), "--json"))
    assert [one["unit"] for one in got["units"]] == ["mm", "inch", "point"]
    assert [one["drill_share"] for one in got["units"]] == [0.0, 1.0, 0.0]
    assert (got["unit"], got["measurement_hint"]) == (None, None)
    text = said(str(DIALECTS / "inches-without-a-word.dxf"))
    assert "inch makes it 50.80 × 25.40 mm" in text


def test_pictures_of_every_layer_and_reading(tmp_path: Path) -> None:
    folder = tmp_path / "pictures"
    text = said(str(DIALECTS / "nested-outlines.dxf"), "--unit", "mm", "--pictures", str(folder))
    names = {file.name for file in folder.iterdir()}
    assert names == {
        "layer-01-foil.png",
        "layer-01-foil-copper-nested-outlines.png",
        "layer-01-foil-copper-overlapping-outlines.png",
        "layer-02-rim.png",
    }
    for name in names:
        assert f"picture: {folder.as_posix()}/{name}" in text


def test_an_ambiguous_layer_is_reported_with_its_remedy() -> None:
    text = said(str(DIALECTS / "nested-and-overlapping.dxf"))
    assert "may be copper, as drawn" in text
    assert "refused [copper-ambiguous]" in text
    assert 'only if the job says: layers.modes = { "foil" = "overlapping outlines" }' in text
    assert "refused [copper-not-nested]" in text
    assert "`millprep inspect --pictures` draws each reading" in text


def test_the_units_are_those_of_a_job() -> None:
    assert set(get_args(Unit)) == set(UNITS)


def test_a_unit_that_contradicts_the_drawing_is_refused() -> None:
    assert "$INSUNITS says inch" in said(str(EXAMPLE / "relay-driver.dxf"), "--unit", "mm", code=3)


def test_an_unknown_unit_is_a_mistake_of_use() -> None:
    said(str(EXAMPLE / "relay-driver.dxf"), "--unit", "ell", code=2)


def test_a_damaged_drawing_is_mended_only_when_asked() -> None:
    file = str(DIALECTS / "damaged-cut-off.dxf")
    assert "let --repair try to mend it" in said(file, code=3)
    got = json.loads(said(file, "--repair", "--json"))
    assert got["repairs"]
    assert f"mended: {got['repairs'][0]}" in said(file, "--repair")


@pytest.mark.parametrize(
    ("unit", "below"),
    [
        (
            (),
            (
                "if the unit is mm: 40.00 × 25.00 mm",
                "if the unit is inch: 1016.00 × 635.00 mm",
                "if the unit is point: 14.11 × 8.82 mm",
            ),
        ),
        (("--unit", "inch"), ("size of what is shown: 1016.00 × 635.00 mm",)),
    ],
)
def test_a_picture_gives_the_size_in_each_likely_unit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, unit: tuple[str, ...], below: tuple[str, ...]
) -> None:
    shown: list[LayerPicture] = []

    def kept(pictures: list[LayerPicture], _: Path) -> list[str]:
        shown.extend(pictures)
        return [picture.stem for picture in pictures]

    monkeypatch.setattr("millprep.report.drawing_pictures.draw_drawing", kept)
    said(str(DIALECTS / "nested-outlines.dxf"), *unit, "--pictures", str(tmp_path))
    assert shown[-1].stem == "layer-02-rim"
    assert shown[-1].below == below
