"""Real drawings that do not open as they are: mended with every change accepted, or refused.

Second opinion: the extents that the files state of themselves ($EXTMIN, $EXTMAX), and our own
scan of their bare tags. The files come from MILLPREP_SHARED, see test_real_drawings.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.drawing import read
from millprep.drawing.dxf import opening, raw
from millprep.drawing.ledger import Ledger
from millprep.drawing.survey.survey import survey_file
from millprep.model.board import Board
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles
from tests.helpers.real_drawings import BOARDS, OUTCOMES, Refused, pytestmark

__all__ = ["pytestmark"]

NASTY = BOARDS / "nasty"
SCATTERED = "ac1003_line_example.dxf"
"""R2.5: the coordinates of its lines stand in the order x, x, y, y."""

SEVERAL = "recover01.dxf"
"""396 sections of entities, tags outside of any section, no end mark."""

BROKEN = "gds-blocks.dxf"
"""Its polylines lack what the library needs, and it mends none of that."""

JOINED = ("missing-eof", "found-tag-outside-section", "missing-section-tag", "second-section")
CLOSED = {file for file, _, _, end in OUTCOMES
          if isinstance(end, Refused) and end.codes == {"drawing-unreadable"}}  # fmt: skip


def lines(layer: str) -> LayerRoles:
    """Everything on the layer as tracks of 0.05; the board is their box."""
    return LayerRoles(
        (layer,), (), (), line_widths=((layer, 0.05),), copper_modes=((layer, "strokes"),),
        outline_margin=0.0,
    )  # fmt: skip


def mend(name: str, layer: str, *accepted: str) -> Board:
    return read(
        NASTY / name, name="b", shown_as=name, layers=lines(layer), unit="mm",
        repair=True, accepted=accepted,
    )  # fmt: skip


def refusal(name: str, layer: str, *accepted: str) -> set[str]:
    with pytest.raises(Refusal) as caught:
        mend(name, layer, *accepted)
    assert caught.value.exit_code == 3
    return {finding.code for finding in caught.value.findings}


def test_every_drawing_that_does_not_open_is_tried_here() -> None:
    assert {Path(file).name for file in CLOSED} == {SCATTERED, SEVERAL, BROKEN}


def test_scattered_coordinates() -> None:
    assert refusal(SCATTERED, "1") == {"repair-not-accepted"}
    assert refusal(SCATTERED, "1", "scattered line-51") == {"repair-not-accepted"}
    board = mend(SCATTERED, "1", "scattered")
    assert len(board.repairs) == 13
    # $EXTMIN 0, 0; $EXTMAX 3.625, 1.625, plus half the width all around
    assert board.outline.bounds == pytest.approx((-0.025, -0.025, 3.65, 1.65), abs=1e-6)


def test_a_drawing_in_several_sections() -> None:
    assert refusal(SEVERAL, "0") == {"repair-not-accepted"}
    assert refusal(SEVERAL, "0", *JOINED[1:]) == {"repair-not-accepted"}
    assert refusal(SEVERAL, "0", *JOINED, "missing-end") == {"repair-name-unknown"}
    board = mend(SEVERAL, "0", *JOINED)
    x0, y0, _, y1 = board.outline.bounds
    # $EXTMIN -1099.5, 686.5375; $EXTMAX 0, 1463.4625; a text reaches that x
    found = (x0 + 0.025, y0 + 0.025, y1 - 0.025)
    assert found == pytest.approx((-1099.5, 686.5375, 1463.4625), abs=1e-3)
    named = [line for line in board.repairs if line.endswith("(accepted)")]
    assert len(named) == len(JOINED)


def test_what_cannot_be_mended_says_so() -> None:
    with pytest.raises(Refusal) as caught:
        mend(BROKEN, "0")
    (finding,) = caught.value.findings
    assert finding.code == "drawing-unreadable"
    assert "cannot be mended" in finding.message


def test_a_survey_lists_what_mending_changes() -> None:
    assert len(survey_file(NASTY / SCATTERED, repair=True).repairs) == 13
    assert any("missing-eof" in line for line in survey_file(NASTY / SEVERAL, repair=True).repairs)


@pytest.mark.parametrize("file", sorted({file for file, *_ in OUTCOMES} - CLOSED))
def test_no_sound_drawing_is_changed_or_counted_short(file: str) -> None:
    opened = opening.load(
        BOARDS / file, (BOARDS / file).read_bytes(), Ledger("b", file), repair=True
    )
    assert not opened.changes
    assert len(opened.doc.modelspace()) == sum(
        one.place == raw.MODEL for one in opened.raw.entities
    )
