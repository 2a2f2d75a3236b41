"""Lines of no length and no width: harmless on a line that is read, doubtful elsewhere."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from millprep.job import load
from millprep.model.board import LeftOut
from millprep.workflow.inputs import check_drawings
from tests.helpers.sample_job import write
from tests.helpers.sheet import BORES, FOIL, RIM, Sheet


@pytest.mark.parametrize(
    ("at", "where", "harmless"),
    [
        ((10.0, 10.0), FOIL, True),  # a corner of the pad's outline
        ((15.0, 10.0004), FOIL, True),  # on its side
        ((15.0, 12.0), FOIL, False),  # within it: a hole in the copper could be meant
        ((30.0, 10.0), FOIL, False),
        ((20.0, 0.0), RIM, True),
        ((20.0, 0.0), FOIL, False),  # on a line of another layer
        ((45.5, 25.0), BORES, True),
        ((30.0, 20.0), BORES, False),  # a hole could be meant
    ],
)
def test_a_place_alone_deserves_a_look(
    tmp_path: Path, at: tuple[float, float], where: dict[str, Any], harmless: bool
) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(10, 10, 20, 15, "foil")
    sheet.space.add_line(at, at, dxfattribs=where)
    (left,) = sheet.read().left_out
    assert (left.kind, left.count, left.harmless) == ("LINE", 1, harmless)
    assert left.reason.startswith("it has no length and no width")
    assert left.reason.endswith("nothing changes without it") == harmless


@pytest.mark.parametrize(("harmless", "severity"), [(True, "note"), (False, "warn")])
def test_what_changes_nothing_is_a_note(tmp_path: Path, harmless: bool, severity: str) -> None:
    sheet = Sheet(tmp_path)
    sheet.box(10, 10, 20, 15, "foil")
    board = sheet.read()
    plan = load(write(tmp_path))
    left = LeftOut(plan.boards[0].roles.copper[0], "LINE", 434, "it has no length", harmless)
    (finding,) = check_drawings(plan, [replace(board, left_out=(left,))])
    assert (finding.code, finding.severity) == ("drawing-left-out", severity)
    assert ("look whether it is missing" in finding.message) != harmless
