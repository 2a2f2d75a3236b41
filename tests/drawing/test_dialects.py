"""Every dialect of fixtures/dialects is read as meant, or refused: never wrongly in silence."""

from __future__ import annotations

import json
from typing import Any

import pytest
import shapely

from millprep.drawing import read
from millprep.geometry.path import SAGITTA
from millprep.model.finding import Refusal
from tests.helpers.drawn_dialects import DIALECTS, NAMES, readings, roles


@pytest.mark.parametrize(
    ("name", "number", "meant"), readings(), ids=[f"{n}-{k}" for n, k, _ in readings()]
)
def test_each_reading(name: str, number: int, meant: dict[str, Any]) -> None:
    def attempt() -> Any:
        return read(
            DIALECTS / f"{name}.dxf", name="b", shown_as=f"{name}.dxf",
            layers=roles(meant["layers"]), unit=meant["unit"],
            repair=meant.get("repair", False), accepted=tuple(meant.get("accepted", ())),
        )  # fmt: skip

    if "refused" in meant:
        with pytest.raises(Refusal) as caught:
            attempt()
        assert sorted({f.code for f in caught.value.findings}) == sorted(meant["refused"])
        return
    board = attempt()
    assert board.outline.area == pytest.approx(
        meant["outline"], abs=SAGITTA * board.outline.length + 0.03
    )
    assert len(board.pieces) == len(meant["pieces"])
    for area, openings, x, y in meant["pieces"]:
        (piece,) = [p for p in board.pieces if p.shape.covers(shapely.Point(x, y))]
        assert piece.shape.area == pytest.approx(area, abs=SAGITTA * piece.shape.length)
        assert len(piece.shape.interiors) == openings
    assert [(*hole.at, hole.diameter, *(hole.end or ())) for hole in board.holes] == [
        pytest.approx(hole, abs=5e-4) for hole in meant["holes"]
    ]
    assert [[one.layer, one.kind, one.count] for one in board.left_out] == meant["left_out"]


def test_no_dialect_lacks_its_meaning() -> None:
    assert len(NAMES) >= 20
    assert {file.stem for file in DIALECTS.glob("*.json")} == set(NAMES)


def test_the_comparison_can_fail() -> None:
    wrong = json.loads((DIALECTS / "strokes.json").read_text(encoding="utf-8"))["readings"][0]
    wrong["pieces"][0][0] *= 1.01
    with pytest.raises(AssertionError):
        test_each_reading("strokes", 0, wrong)
