from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.report.report_file import WIDTH, to_text
from millprep.report.report_model import Report
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented, refused

CHECKER = jsonschema.Draft202012Validator(Report.model_json_schema())


@pytest.fixture(scope="module")
def rows() -> dict[str, Any]:
    return Report.of(invented(4)).row()


def nodes(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
    for child in node.values() if isinstance(node, dict) else node:
        if isinstance(child, (dict, list)):
            yield from nodes(child)


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(Report.model_json_schema())


def test_every_property_is_described_and_required() -> None:
    schema = Report.model_json_schema()
    objects = [n for n in nodes(schema) if n.get("type") == "object" and "properties" in n]
    assert len(objects) >= 15
    for node in objects:
        assert node["additionalProperties"] is False
        # what was added later has a default, so that older reports can still be read
        without = [name for name, rule in node["properties"].items() if "default" not in rule]
        assert node["required"] == without
        for name, rule in node["properties"].items():
            assert len(rule["description"]) > 8, name


@pytest.mark.parametrize("stages", [1, 4])
def test_a_report_obeys_the_schema(stages: int) -> None:
    CHECKER.validate(Report.of(invented(stages)).row())


def test_a_refused_report_obeys_the_schema_and_says_null() -> None:
    rows = Report.of(refused()).row()
    CHECKER.validate(rows)
    assert rows["passes"] == []
    assert rows["machine_seconds"] is None
    assert rows["boards"][0]["proof"] is None


@pytest.mark.parametrize(
    "spoil",
    [
        lambda rows: rows.pop("joins"),
        lambda rows: rows.update(extra=1),
        lambda rows: rows.update(format=2),
        lambda rows: rows["findings"][0].update(severity="bad"),
        lambda rows: rows["cutters"]["vee30"].update(diameter=1.0),
        lambda rows: rows["boards"][0]["drawing_to_blank"].pop(),
        lambda rows: rows["passes"][0]["programs"][0].update(work="nothing"),
        lambda rows: rows["inputs"][0].update(sha256="abc"),
    ],
)
def test_the_schema_refuses_a_spoilt_report(spoil: Any, rows: dict[str, Any]) -> None:
    copy = json.loads(to_text(rows))
    spoil(copy)
    assert not CHECKER.is_valid(copy)


def test_keys_of_the_contract_in_its_order(rows: dict[str, Any]) -> None:
    assert list(rows) == [
        "format", "set", "job", "derived_from", "chosen", "resumed", "inputs", "blanks", "boards",
        "cutters", "bed", "passes", "joins", "certificate", "findings", "machine_seconds",
        "by_feeds_seconds", "least_seconds", "by_hand", "time_fit", "machine",
        "time_log", "files", "seal",
    ]  # fmt: skip
    assert list(rows["findings"][0]) == [
        "code", "severity", "message", "frame", "at", "board", "copy", "blank", "pass", "file",
        "line", "places",
    ]  # fmt: skip


def test_values_of_a_two_pass_set(rows: dict[str, Any]) -> None:
    board = rows["boards"][0]
    assert board["input"] == 1
    assert rows["inputs"][board["input"]]["file"] == "memory.dxf"
    assert board["drawing_to_blank"] == [1, 0, 10, 0, -1, 100]
    assert board["pieces"][0]["net"] == "heater"
    assert rows["findings"][2]["pass"] == 1
    assert rows["joins"][0]["predicted_997"] is None
    assert [p["number"] for p in rows["passes"]] == [1, 2]
    assert rows["passes"][1]["registration"][2] == {
        "id": "r3", "blank": [275, 5], "machine": [90, 35], "diameter": 4.02, "role": "key",
        "drilled_in": 1, "used_in": 2, "free": None, "slot": 0.0, "pin": "",
    }  # fmt: skip
    assert rows["passes"][0]["window"] == [[285, -30], [285, 150], [-15, 150], [-15, -30]]
    assert rows["cutters"]["mill-2"]["point_angle"] == 180
    programs = [p for each in rows["passes"] for p in each["programs"]]
    assert programs[0]["cut_length"] == 1234.5678
    for key in ("seconds", "by_feeds_seconds", "least_seconds"):
        total = rows["machine_seconds" if key == "seconds" else key]
        assert total == pytest.approx(sum(p[key] for p in programs))


def test_a_program_of_no_pass_belongs_to_the_bed() -> None:
    whole = invented(1)
    pins = replace(whole.programs[1], file="bed/01-bore-pins.ngc", mill_pass=0)
    rows = Report.of(with_blank(whole, spoilboard=(pins,))).row()
    CHECKER.validate(rows)
    assert [p["file"] for p in rows["bed"]] == ["bed/01-bore-pins.ngc"]
    assert len(rows["passes"][0]["programs"]) == 3


def test_a_piece_is_named_by_a_point_in_the_drawing(rows: dict[str, Any]) -> None:
    import shapely

    whole = invented(4)
    for row, piece in zip(
        rows["boards"][0]["pieces"], whole.layout.placements[0].board.pieces, strict=True
    ):
        assert piece.shape.contains(shapely.Point(row["at"]))


def test_numbers_are_rounded_and_never_minus_zero() -> None:
    whole = invented(1)
    touch: Point = (-0.00001, 1 / 3)
    pose = Pose.turn(1e-9).then(Pose.shift(1 / 3, -1e-12))
    there = replace(whole.passes[0], touch=touch, pose=pose)
    row = Report.of(with_blank(whole, passes=(there,))).row()["passes"][0]
    assert str(row["touch"]) == "[0.0, 0.3333]"
    assert str(row["blank_to_machine"]) == "[1.0, 0.0, 0.333333333, 0.0, 1.0, 0.0]"


def test_same_set_same_text() -> None:
    assert to_text(Report.of(invented(1)).row()) == to_text(Report.of(invented(1)).row())


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text() | st.floats(allow_nan=False,
                                                                      allow_infinity=False),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=30,
)  # fmt: skip


@given(json_values)
def test_text_reads_back_as_what_was_written(value: Any) -> None:
    text = to_text(value)
    assert text.endswith("\n")
    assert json.loads(text) == value


def test_text_keeps_short_things_on_a_line() -> None:
    text = to_text({"points": [[1.0, 2.0]] * 40, "name": "x"})
    assert max(map(len, text.splitlines())) <= WIDTH
    assert " [1.0, 2.0],\n" in text


def test_text_has_no_word_for_infinity() -> None:
    with pytest.raises(ValueError, match="JSON"):
        to_text([float("inf")])
