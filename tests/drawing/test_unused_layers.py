"""What a reading says of layers that the job does not use, and of copper circles without a hole."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from millprep.drawing.dxf import entities
from millprep.drawing.marks import evenodd
from millprep.model.finding import Finding
from tests.helpers.sheet import FOIL, ROLES, Sheet

SPARE = {"layer": "spare"}


def doubts(sheet: Sheet) -> list[Finding]:
    return list(sheet.read().doubts)


@pytest.mark.parametrize(("x", "touching"), [(25.0, 0), (10.0, 1)])
def test_dots_and_tracks_on_an_unused_layer_may_be_copper(
    tmp_path: Path, x: float, touching: int
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    spare = {**SPARE, "const_width": 1.0}
    sheet.space.add_lwpolyline([(x, 10), (x, 10)], dxfattribs=spare)
    sheet.space.add_lwpolyline([(20, 20), (30, 25)], dxfattribs=spare)
    (doubt,) = doubts(sheet)
    assert (doubt.code, doubt.at) == ("copper-layer-unused", (x, 10))
    assert (
        'Layer "spare" may be copper, and the job does not use it: 2 lines with a width; '
        f"{touching} of its 2 shapes on the board touch the copper that is used." in doubt.message
    )


def test_a_layer_of_dots_may_be_holes(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline([(10, 10), (10, 10)], dxfattribs={**SPARE, "const_width": 1.0})
    (doubt,) = doubts(sheet)
    assert (doubt.code, doubt.at) == ("holes-layer-unused", (10, 10))
    assert 'Layer "spare" holds nothing but 1 circle of 1.00 mm.' in doubt.message


def test_an_unused_layer_of_endless_points_refuses_no_board(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline(np.random.default_rng(1).random((3000, 2)), dxfattribs=SPARE)
    monkeypatch.setattr(entities, "MOST_POINTS", 2000)
    board = sheet.read()
    assert (len(board.pieces), board.doubts) == (1, ())


def test_an_unused_layer_of_lines_on_each_other_refuses_no_board(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    for k in range(1, 8):
        sheet.box(20, 5, 20 + k, 5 + k, layer="spare")
    monkeypatch.setattr(evenodd, "MOST_ON_EACH_OTHER", 20)
    board = sheet.read()
    assert (len(board.pieces), board.doubts) == (1, ())


def test_of_circles_within_the_copper_only_those_as_small_as_holes_are_asked_for(
    tmp_path: Path,
) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(2, 2, 40, 28, layer="foil")
    sheet.space.add_circle((12, 15), 6.5, dxfattribs=FOIL)
    roles = replace(ROLES, holes=(), copper_modes=(("foil", "nested outlines"),))
    assert [doubt.code for doubt in sheet.read(roles).doubts] == ["holes-layer-unused"]
    sheet.space.add_circle((30, 15), 0.5, dxfattribs=FOIL)
    unused, asked = sheet.read(roles).doubts
    assert (unused.code, asked.code, asked.at) == ("holes-layer-unused", "holes-none", (30, 15))
    assert "within the copper there are 1 circle of 1.00 mm; the first is at (30" in asked.message
