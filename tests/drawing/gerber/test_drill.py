"""Drill files: where holes and slots lie, how wide they are, and refusals with their lines."""

from __future__ import annotations

import numpy as np
import pytest

from millprep.drawing.gerber.drill import DrillFile, read_drill
from millprep.drawing.gerber.statements import UnreadableError


def read(*lines: str) -> DrillFile:
    """A file of these lines and an end."""
    return read_drill("\n".join([*lines, "M30"]).encode(), "drill")


def drawn(file: DrillFile) -> list[tuple[float, list[tuple[float, ...]]]]:
    """Width and points of each hole, in mm."""
    return [
        (round(float(s.widths[0]), 4), [tuple(np.round(p, 4).tolist()) for p in s.vertices])
        for s in file.strokes
    ]


METRIC = ("M48", "METRIC,TZ,000.000", "T1C0.8", "%", "T1")
READ = {
    "metric with points": (("M48", "METRIC", "T1C0.8", "%", "T1", "X1.5Y-2"), 0.8, [(1.5, -2)]),
    "inch with points": (("M48", "INCH", "T01C0.1", "%", "T1", "X1Y.5"), 2.54, [(25.4, 12.7)]),
    "zeros omitted at the front": ((*METRIC, "X1500Y-20"), 0.8, [(1.5, -0.02)]),
    "zeros omitted at the end": (
        ("M48", "METRIC,LZ,000.000", "T1C0.8", "%", "T1", "X0015Y1"), 0.8, [(1.5, 100)],
    ),
    "digits from a note": (
        ("M48", ";FILE_FORMAT=4:2", "METRIC,TZ", "T1C0.8", "%", "T1", "X150Y0"), 0.8, [(1.5, 0)],
    ),
    "usual digits of inch": (
        ("M48", "INCH,TZ", "T1C0.1", "%", "T1", "X10000Y0"), 2.54, [(25.4, 0)],
    ),
    "unit in the body": (("M48", "T1C0.8", "%", "M71", "T1", "X1.5Y0"), 0.8, [(1.5, 0)]),
    "tool in the body": (("M48", "METRIC", "%", "T1C0.8F200S100", "X1.5Y0"), 0.8, [(1.5, 0)]),
    "no header": (("%", "M71", "T1C0.8", "X1.5Y0"), 0.8, [(1.5, 0)]),
    "zero set to itself": ((*METRIC, "G93X0Y0", "G05", "G90", "X1.5Y0"), 0.8, [(1.5, 0)]),
    "slot": ((*METRIC, "X0Y0G85X5.0Y1.0"), 0.8, [(0, 0), (5, 1)]),
    "slot of no length": ((*METRIC, "X1.0Y0G85X1.0Y0"), 0.8, [(1, 0)]),
    "routed slot": (
        (*METRIC, "G00X0Y0", "M15", "G01X5.0Y1.0", "M16", "G05"), 0.8, [(0, 0), (5, 1)],
    ),
    "routed to and fro": (
        (*METRIC, "G00X0Y0", "M15", "G01Y-1.0", "Y2.0", "M16"), 0.8, [(0, -1), (0, 2)],
    ),
    "cut around a corner": (
        (*METRIC, "G00X0Y0", "G01X5.0", "Y1.0"), 0.8, [(0, 0), (5, 0), (5, 1)],
    ),
    "routed to nowhere": ((*METRIC, "G00X1.0Y2.0", "M15", "G01X1.0", "M16"), 0.8, [(1, 2)]),
    "arc by its radius": ((*METRIC, "G00X0Y0", "G03X1.0Y1.0A1.0"), 0.8, [(0, 0), (1, 1)]),
}  # fmt: skip


@pytest.mark.parametrize("name", READ)
def test_a_hole_has_its_place_and_width(name: str) -> None:
    lines, width, points = READ[name]
    assert drawn(read(*lines)) == [(width, points)]


def test_an_arc_by_its_radius_has_its_centre_on_the_left() -> None:
    (cut,) = read(*METRIC, "G00X0Y0", "G03X1.0Y1.0A1.0").strokes
    middle = cut.curve.points[len(cut.curve.points) // 2]
    assert np.hypot(*(middle - (0.0, 1.0))) == pytest.approx(1.0, abs=1e-6)


def test_modes_repeats_and_steps() -> None:
    assert drawn(read(*METRIC, "X1.0Y2.0", "X3.0", "Y5.0")) == [
        (0.8, [(1, 2)]), (0.8, [(3, 2)]), (0.8, [(3, 5)]),
    ]  # fmt: skip
    assert drawn(read(*METRIC, "X1.0Y2.0", "R2X0.5")) == [
        (0.8, [(1, 2)]), (0.8, [(1.5, 2)]), (0.8, [(2, 2)]),
    ]  # fmt: skip
    for steps in ("G91", "ICI,ON", "ICI"):
        holes = [(0.8, [(1, 2)]), (0.8, [(2, 2)])]
        assert drawn(read(*METRIC, steps, "X1.0Y2.0", "X1.0")) == holes
    for absolute in ("G90", "ICI,OFF"):
        holes = [(0.8, [(1, 2)]), (0.8, [(3, 2)])]
        assert drawn(read(*METRIC, "ICI,ON", "X1.0Y2.0", absolute, "X3.0Y2.0")) == holes


def test_what_is_assumed_of_numbers_is_known() -> None:
    tool = ("T1C0.8", "%", "T1")
    assert read("M48", "METRIC", *tool, "X1.5Y0").assumed == ""
    assert read("M48", "METRIC,TZ,000.000", *tool, "X1500Y0").assumed == ""
    assert read("M48", "METRIC", *tool, "X001500Y000000").assumed == "3 digits after the point"
    assert read("M48", "INCH", *tool, "X1500Y0").assumed == (
        "4 digits after the point and zeros omitted at the front, none at the end"
    )


def test_comments_are_counted_and_the_function_is_kept() -> None:
    file = read("M48", "; a note", "; #@! TF.FileFunction,Plated,1,2,PTH", "METRIC", "%")
    assert (len(file.noted), file.function, file.count) == (2, ("Plated", "1", "2", "PTH"), 2)


FAULTS = {
    "no end": (("M48", "METRIC"), 2, "without M30"),
    "no unit": (("M48", "T1C0.8", "%", "T1", "X1.0", "M30"), 5, "gives the unit"),
    "two units": (("M48", "METRIC", "M72", "M30"), 3, "inch here and mm"),
    "undefined tool": (("M48", "METRIC", "%", "T9", "M30"), 4, "tool T9"),
    "no tool": (("M48", "METRIC", "%", "X1.0Y1.0", "M30"), 4, "no tool is selected"),
    "tool without a size": (("M48", "METRIC", "T1C0", "M30"), 3, "not above zero"),
    "too many digits": ((*METRIC, "X12345678Y0", "M30"), 6, "more digits"),
    "unknown line": (("M48", "METRIC", "WHAT", "M30"), 3, "no line of the format"),
    "unknown code": ((*METRIC, "G84X1.0", "M30"), 6, "G84 is no code"),
    "unknown word": ((*METRIC, "X1.0Q2", "M30"), 6, "Q2 is no word"),
    "cut with the tool up": (
        (*METRIC, "G00X0Y0", "M15", "G01X1.0", "M16", "X2.0", "M30"), 10, "with the tool up",
    ),
    "cut in drill mode": ((*METRIC, "G01X1.0", "M30"), 6, "without G00"),
    "zero elsewhere": ((*METRIC, "G93X1.0Y0", "M30"), 6, "another place"),
    "more after the end": ((*METRIC, "M30", "X1.0Y1.0"), 7, "after the end"),
    "a tool that no one has": (("M48", "METRIC", "T1C1e5", "%", "T1", "X1", "M30"), 3, "no line"),
    "a tool as wide as a table": (
        ("M48", "METRIC", "T1C900", "%", "T1", "X1.0", "M30"), 6, "900 mm wide, and no tool is",
    ),
    "a hole with a centre": ((*METRIC, "X1.0Y1.0I0.5", "M30"), 6, "by X and Y alone"),
    "a repeat of nothing": ((*METRIC, "R2X1.0", "M30"), 6, "repeats no hole"),
    "a repeat of a slot": (
        (*METRIC, "X0Y0G85X5.0Y1.0", "R2X1.0", "M30"), 7, "repeats no hole",
    ),
    "a repeat that goes nowhere": ((*METRIC, "X0Y0", "R2", "M30"), 7, "repeats no hole"),
    "half a slot": ((*METRIC, "X1.0Y0G85", "M30"), 6, "is no slot"),
    "an arc too small": (
        (*METRIC, "G00X0Y0", "G03X4.0Y0A1.0", "M30"), 7, "no arc of this radius",
    ),
    "an arc about its start": (
        (*METRIC, "G00X0Y0", "G03X4.0Y0I0J0", "M30"), 7, "no centre of an arc fits",
    ),
    "no figures": (("M48", "METRIC", "T1C0.8", "%", "T1", "X1Y", "M30"), 6, "Y is no word"),
    "a sign alone": ((*METRIC, "X-Y1000", "M30"), 6, "- is no number"),
    "digits after the first number": (
        ("M48", "METRIC", "T1C0.8", "%", "T1", "X1500Y0", ";FILE_FORMAT=4:2", "M30"), 7,
        "digits comes after the first number",
    ),
    "zeros after the first number": (
        ("M71", "T1C0.8", "T1", "X1500Y0", "METRIC,LZ", "M30"), 5,
        "zeros that are kept come after the first number",
    ),
    "endless lines": ((";",) * 300_001, 300_000, "more lines than this"),
    "endless repeats": ((*METRIC, "X0Y0", "R999999X1.0", "M30"), 7, "more than 100000 holes"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_what_is_wrong_is_refused_with_its_line(name: str) -> None:
    lines, line, words = FAULTS[name]
    with pytest.raises(UnreadableError) as caught:
        read_drill("\n".join(lines).encode(), "drill")
    assert caught.value.line == line
    assert words in str(caught.value)


def test_a_unit_that_comes_after_the_first_hole_is_refused_whatever_the_job_says() -> None:
    lines = ["M48", "T1C0.5", "%", "T1", "X1.0Y1.0", "M72", "X2.0Y2.0", "M30"]
    with pytest.raises(UnreadableError, match="unit comes after the first number") as caught:
        read_drill("\n".join(lines).encode(), "drill", "mm")
    assert caught.value.line == 6


def test_too_many_holes_and_too_many_corners_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("millprep.drawing.gerber.drill.MOST_SHAPES", 2)
    with pytest.raises(UnreadableError, match=r"line 8: .* more than 2 holes"):
        read(*METRIC, "X1.0Y0", "X2.0", "X3.0")
    with pytest.raises(UnreadableError, match=r"line 8: .* more than 2 corners"):
        read(*METRIC, "G00X0Y0", "G01X1.0", "Y1.0")
