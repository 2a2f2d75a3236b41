"""Boards from Gerber and drill files, alone and together with DXF files."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

import pytest

from millprep.drawing import read
from millprep.drawing.survey.survey import survey_file
from millprep.model.board import Board, LeftOut
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles, Unit
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


def board(
    folder: Path,
    layers: LayerRoles = NO_LAYERS,
    outline: Path | None = None,
    unit: Unit | None = None,
    texts: Mapping[str, str] = MappingProxyType({}),
) -> Board:
    files = written(folder, **{"copper": COPPER, "edge": EDGE, "holes": DRILL} | dict(texts))
    return read(
        files["copper"], name="b", shown_as="copper", layers=layers, unit=unit,
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
    # names, comments and attributes are no content
    assert made.left_out == (
        LeftOut("holes", "hole", 1, "a larger hole has the same centre", True),
    )


def test_kinds_may_be_mixed(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.saveas(sheet.file)
    made = board(tmp_path, LayerRoles((), ("rim",), ()), sheet.file)
    assert made.outline.bounds == pytest.approx((0, 0, 50, 30))
    assert len(made.holes) == 2


def test_regions_draw_an_edge_by_their_own(tmp_path: Path) -> None:
    edge = (
        "%FSLAX34Y34*%%MOMM*%G36*X0Y0D02*G01X200000D01*Y200000D01*X0D01*Y0D01*"
        "X90000Y180000D02*X110000D01*Y190000D01*X90000D01*Y180000D01*G37*M02*"
    )
    made = board(tmp_path, texts={"edge": edge})
    assert made.outline.bounds == pytest.approx((0, 0, 20, 20))
    # a region within another is a cut-out
    assert made.outline.area == pytest.approx(400 - 2)
    assert len(made.outline.interiors) == 1


def test_the_largest_of_holes_about_one_centre_counts_whatever_their_order(tmp_path: Path) -> None:
    drill = "M48\nMETRIC\nT1C0.6\nT2C0.8\nT3C1.0\n%\n" + "".join(
        f"T{tool}\nX5.0Y5.0\n" for tool in (1, 3, 2)
    )
    made = board(tmp_path, texts={"holes": drill + "M30\n"})
    assert [(hole.at, hole.diameter) for hole in made.holes] == [((5.0, 5.0), 1.0)]
    assert made.left_out == (
        LeftOut("holes", "hole", 2, "a larger hole has the same centre", True),
    )


def test_a_file_that_draws_no_hole_warns_of_no_digits(tmp_path: Path) -> None:
    drill = "M48\nMETRIC\nT1C0.8\n%\nT1\nG00X1000Y1000\nM30\n"
    made = board(tmp_path, texts={"holes": drill})
    assert (made.holes, made.doubts) == ((), ())


def test_what_has_no_size_or_encloses_nothing_is_left_out_in_the_open(tmp_path: Path) -> None:
    more = "%ADD12C,0*%D12*X0Y0D03*X10000Y0D02*X20000D01*G36*X0Y0D02*X10000D01*X0D01*G37*M02*"
    made = board(tmp_path, texts={"copper": COPPER.replace("M02*", more)})
    assert len(made.pieces) == 2
    assert made.left_out[:3] == (
        LeftOut("copper", "no area", 1, "it encloses nothing", True),
        LeftOut("copper", "no size", 1, "its aperture has no size, so it draws nothing", True),
        LeftOut("copper", "stroke", 1, "it has no size, so it draws nothing", True),
    )


def test_a_flash_draws_no_edge(tmp_path: Path) -> None:
    edge = "%FSLAX34Y34*%%MOMM*%%ADD10R,20.0X20.0*%D10*X100000Y100000D03*M02*"
    with pytest.raises(Refusal) as caught:
        board(tmp_path, texts={"edge": edge})
    assert [finding.code for finding in caught.value.findings] == ["outline-empty"]


@pytest.mark.parametrize(
    ("texts", "unit", "code", "words"),
    [
        (
            {"copper": COPPER.replace("M02*", "\nX1.5Y0D03*M02*")}, None, "statement-unreadable",
            "copper, line 2: 'X1.5Y0D03': X1.5 is no coordinate: digits alone, without a point; "
            "export the file again, or correct this line",
        ),
        (
            {"copper": COPPER.replace("M02*", "\nG99 say it in the job*M02*")}, None,
            "statement-unreadable",
            "copper, line 2: 'G99 say it in the job': 'sayitinthejo' is no word of this format; "
            "export the file again, or correct this line",
        ),
        (
            {"copper": COPPER.replace("%MOMM*%", "")}, None, "statement-unreadable",
            "copper, line 1: 'X50000Y50000D03': no line before gives the unit (MOMM or MOIN); "
            "say it in the job, as the unit",
        ),
        (
            {"copper": COPPER.replace("M02*", "\n%MOIN*%M02*")}, None, "statement-unreadable",
            "copper, line 2: 'MOIN': the unit is inch here and mm in an earlier line; "
            "export the file again, or correct this line",
        ),
        (
            {}, "inch", "unit-contradicts",
            "the job says the unit is inch, copper says mm; "
            "take unit out of the job to believe the file",
        ),
    ],
    ids=["a point", "a remedy", "no unit", "two units", "another unit"],
)  # fmt: skip
def test_what_cannot_be_read_says_its_line_and_the_remedy(
    tmp_path: Path, texts: dict[str, str], unit: Unit | None, code: str, words: str
) -> None:
    with pytest.raises(Refusal) as caught:
        board(tmp_path, unit=unit, texts=texts)
    (finding,) = caught.value.findings
    assert (finding.code, finding.message) == (code, words)


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


BENT = "M48\nMETRIC\nT1C1.0\n%\nG05\nT1\nG00X2.0Y8.0\nM15\nG01X8.0Y8.0\n{}\nM16\nG05\nM30\n"


def with_cut(folder: Path, moves: str) -> Board:
    files = written(folder, copper=COPPER, edge=EDGE, holes=BENT.format(moves))
    return read(
        files["copper"], name="b", shown_as="copper", layers=NO_LAYERS, unit=None,
        outline_file=files["edge"], holes_files=(files["holes"],),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("moves", "area"),
    [
        # 6 and 4 mm long, the corner and both ends round
        ("G01X8.0Y12.0", 10.0 - 0.25 + 5 * math.pi / 16),
        # a quarter of a circle of 2 mm radius after 6 mm
        ("G03X10.0Y10.0I0J2.0", 6.0 + math.pi + math.pi / 4),
        # all around a square of 6 mm, whose inside falls out
        ("G01X8.0Y14.0\nG01X2.0Y14.0\nG01X2.0Y8.0", 36.0 + 4 * 6.0 * 0.5 + math.pi / 4),
    ],
    ids=["a corner", "an arc", "a ring"],
)
def test_a_routed_cut_that_bends_is_a_cut_out(tmp_path: Path, moves: str, area: float) -> None:
    made = with_cut(tmp_path, moves)
    assert made.holes == ()
    assert len(made.outline.interiors) == 1
    assert 400.0 - made.outline.area == pytest.approx(area, abs=0.01)


@pytest.mark.parametrize(
    ("moves", "code", "words"),
    [
        ("G01X8.0Y21.0", "outline-crosses", "not within the board's edge"),
        ("G01X8.0Y18.0\nG01X12.0Y18.0\nG01X12.0Y12.0\nG01X2.0Y12.0\nG01X2.0Y8.0",
         "copper-in-cut-out", "goes all around copper"),
    ],
)  # fmt: skip
def test_a_routed_cut_that_frees_something_is_refused(
    tmp_path: Path, moves: str, code: str, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        with_cut(tmp_path, moves)
    assert [finding.code for finding in refused.value.findings] == [code]
    assert words in refused.value.findings[0].message
