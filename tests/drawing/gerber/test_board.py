"""Boards from Gerber and drill files, alone and together with DXF files."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.drawing import read
from millprep.drawing.survey.survey import survey_file
from millprep.model.board import Board
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles
from tests.helpers.sheet import Sheet

COPPER = (
    "%TF.FileFunction,Copper,L2,Bot*%%FSLAX34Y34*%%MOMM*%%ADD10C,2.0*%%ADD11C,0.5*%"
    "%TO.N,GND*%D10*X50000Y50000D03*X150000Y50000D03*D11*X50000Y50000D02*X150000D01*%TD*%"
    "D10*X100000Y150000D03*M02*"
)
EDGE = "%FSLAX34Y34*%%MOMM*%%ADD10C,0.1*%D10*X0Y0D02*X200000D01*Y200000D01*X0D01*Y0D01*M02*"
DRILL = "M48\nMETRIC\nT1C0.8\nT2C0.6\n%\nT1\nX5.0Y5.0\nX15.0Y5.0\nT2\nX5.0Y5.0\nM30\n"
NO_LAYERS = LayerRoles((), (), ())


def written(folder: Path, **texts: str) -> dict[str, Path]:
    """Files without an ending: what they are, their content says."""
    out = {name: folder / name for name in texts}
    for name, text in texts.items():
        out[name].write_text(text, "utf-8")
    return out


def board(folder: Path, layers: LayerRoles = NO_LAYERS, outline: Path | None = None) -> Board:
    files = written(folder, copper=COPPER, edge=EDGE, holes=DRILL)
    return read(
        files["copper"], name="b", shown_as="copper", layers=layers, unit=None,
        outline_file=outline or files["edge"], holes_files=(files["holes"],),
    )  # fmt: skip


def test_a_board_of_gerber_and_drill_files(tmp_path: Path) -> None:
    made = board(tmp_path)
    assert made.outline.bounds == pytest.approx((0, 0, 20, 20))
    assert len(made.pieces) == 2
    # the first drill of a larger hole about the same centre is no hole of its own
    assert [(h.at, h.diameter, h.piece) for h in made.holes] == [
        ((5.0, 5.0), 0.8, "c1"), ((15.0, 5.0), 0.8, "c1"),
    ]  # fmt: skip
    assert {note.words for note in made.notes} == {"GND"}
    assert any(left.kind == "attribute" and left.harmless for left in made.left_out)


def test_kinds_may_be_mixed(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.saveas(sheet.file)
    made = board(tmp_path, LayerRoles((), ("rim",), ()), sheet.file)
    assert made.outline.bounds == pytest.approx((0, 0, 50, 30))
    assert len(made.holes) == 2


def test_a_gerber_file_has_no_layers(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as caught:
        board(tmp_path, LayerRoles(("foil",), (), ()))
    assert [finding.code for finding in caught.value.findings] == ["layer-absent"]


def test_a_drill_file_draws_no_copper(tmp_path: Path) -> None:
    files = written(tmp_path, copper=DRILL, edge=EDGE)
    with pytest.raises(Refusal) as caught:
        read(
            files["copper"], name="b", shown_as="copper", layers=NO_LAYERS, unit=None,
            outline_file=files["edge"], holes_files=(),
        )  # fmt: skip
    assert [finding.code for finding in caught.value.findings] == ["copper-empty"]


def test_a_survey_says_what_a_file_is(tmp_path: Path) -> None:
    files = written(tmp_path, copper=COPPER, holes=DRILL)
    copper, holes = survey_file(files["copper"]), survey_file(files["holes"])
    assert (copper.kind, copper.version, copper.unit) == (
        "Gerber", "Gerber file (Copper, L2, Bot)", "mm",
    )  # fmt: skip
    assert (holes.kind, holes.unit) == ("drill", "mm")
