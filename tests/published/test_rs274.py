"""The reader against the report it follows and against interpreters that are not ours.

Sources: NISTIR 6556 (Kramer, Proctor, Messina, The NIST RS274/NGC Interpreter, version 3,
2000): sections as named in each test. The canonical prints beside the report's programs come
from the `rs274` interpreter; where it is installed it runs here as well.
"""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest

from millprep.model.finding import Refusal
from millprep.verify.reader import read
from millprep.verify.trace import Trace
from tests.helpers import rs274_tool
from tests.helpers.rs274_tool import CanonMove, needs_interpreter

HALF_A_DIGIT = 0.5e-4 + 1e-9
SAMPLES = ("nist_c1_hello", "nist_g81", "nist_arc", "sample")


def shared_program(name: str) -> Path:
    folder = os.environ.get("MILLPREP_SHARED")
    if folder is None:
        pytest.skip("MILLPREP_SHARED does not name the folder of check material")
    return Path(folder) / "reference" / "gcode" / f"{name}.ngc"


def assert_agree(trace: Trace, canon: list[CanonMove], digit: float = HALF_A_DIGIT) -> None:
    """The same motions to half the last printed digit; the outside one starts at 0 0 0."""
    assert len(trace.moves) == len(canon)
    for move, theirs in zip(trace.moves, canon, strict=True):
        kind = "arc" if move.centre is not None else move.kind
        assert kind == theirs.kind, move
        for ours, other in zip(move.end, theirs[1:4], strict=True):
            assert math.isnan(ours) or abs(ours - other) <= digit, (move, theirs)
        if move.centre is not None:
            assert theirs.centre is not None
            assert math.dist(move.centre, theirs.centre) <= 2 * digit
            assert theirs.turn == (1 if move.kind == "arc_ccw" else -1)


@pytest.mark.parametrize("name", SAMPLES)
def test_saved_prints_of_the_report_s_programs(name: str) -> None:
    program = shared_program(name)
    canon = rs274_tool.parse_canon(program.with_suffix(".canon").read_text())
    assert canon
    assert_agree(read(program.read_text(), file=program.name), canon)


OWN = {
    "lines and arcs": (
        "G17 G21 G40 G49 G54 G80 G90 G94\nG0 Z2.\nM3 S9000\nG4 P1.5\nG0 X10.5 Y-3.25\n"
        "G1 Z-0.1 F60.\nG1 X20.1234 F300.\nG3 X30.1234 Y6.75 I0. J10.\n"
        "G2 X30.1234 Y6.75 I-4. J3. Z-0.2\nG0 Z2.\nM5\nM2\n"
    ),
    "inches and increments": (
        "G20 G90 G94 G17\nG0 Z0.1\nG0 X1 Y1\nG1 Z-.01 F2\nG91\nG1 X.125\nX.125 Y-.25\n"
        "G2 X.5 R.3\nG90\nG0 Z.1\nG21\nG0 X3\nM30\n"
    ),
    "percent lines": "%\nG21 G90\nG0 Z5\nN10 G0 X1 Y2 (there)\n/G1 Z-1 F10\nG0Z5\n%\nG0 X99\n",
    "cycles": (
        "G17 G21 G90 G94 G98\nG0 Z5\nG0 X0 Y0\nG83 X3 Y4 Z-2 R1 Q0.8 F80\nX5\nG99 X6 Y6 Z-1\n"
        "G80\nG82 X1 Y1 Z-1 R2 P0.25\nG80\nG91 G81 X2 Y1 Z-2 R1 L3\nG80 G90\nG0 Z9\nM2\n"
    ),
    "probe": "G21 G90 G17 G94\nG0 Z2\nG0 X4 Y4\nG38.2 Z-1 F20\nG0 Z5\nM2\n",
}


@needs_interpreter
@pytest.mark.parametrize("name", OWN)
def test_an_outside_interpreter_makes_the_same_motions(name: str) -> None:
    digit = HALF_A_DIGIT * (25.4 if "G20" in OWN[name] else 1.0)
    assert_agree(read(OWN[name], file=name), rs274_tool.canon(OWN[name]), digit)


@needs_interpreter
def test_the_comparison_can_fail() -> None:
    canon = rs274_tool.canon(OWN["lines and arcs"])
    trace = read(OWN["lines and arcs"].replace("20.1234", "20.1235"), file="moved")
    with pytest.raises(AssertionError):
        assert_agree(trace, canon)


REFUSED_BY_BOTH = {
    "nested comment": "G21 (a (b) c)\nM2\n",
    "open comment": "G21 (a\nM2\n",
    "two of a group": "G21 G90\nG0 G1 X1 F1\nM2\n",
    "a word twice": "G21 G90\nG0 X1 X2\nM2\n",
    "no feed": "G21 G90\nG1 X1\nM2\n",
    "no end": "G21 G90\nG0 X1\n",
    "one percent line": "%\nG21 G90\nG0 X1\n",
    "axis words after G80": "G21 G90 G80\nX1\nM2\n",
    "arc with no centre": "G21 G90 F9\nG0 X0 Y0 Z0\nG2 X1 Y1\nM2\n",
    "arc of a full turn with R": "G21 G90 F9\nG0 X1 Y0 Z0\nG2 X1 Y0 R3\nM2\n",
    "arc radius that differs": "G21 G90 F9\nG0 X0 Y0 Z0\nG2 X10 Y0 I5.1\nM2\n",
    "dwell with no time": "G21 G90\nG4\nM2\n",
    "negative dwell": "G21 G90\nG4 P-1\nM2\n",
    "negative speed": "G21 G90\nS-1\nM2\n",
    "no such G": "G21 G90\nG5.5 X1\nM2\n",
    "no such M": "G21 G90\nM75\nM2\n",
    "G between codes": "G21 G90\nG1.25 X1\nM2\n",
    "letter with no number": "G21 G90\nG0 X\nM2\n",
    "stray letter": "G21 G90\nG0 X1 I2\nM2\n",
    "G83 with no step": "G21 G90 F9\nG0 X0 Y0 Z5\nG83 X1 Z-1 R1 Q0\nM2\n",
    "R below Z": "G21 G90 F9\nG0 X0 Y0 Z5\nG81 X1 Z-1 R-2\nM2\n",
    "too many M": "G21 M3 M8 M48 M1 M6\nM2\n",
}


@pytest.mark.parametrize("name", REFUSED_BY_BOTH)
def test_what_the_report_refuses_is_refused(name: str) -> None:
    with pytest.raises(Refusal) as refused:
        read(REFUSED_BY_BOTH[name], file="bad.ngc")
    finding = refused.value.findings[0]
    assert finding.code == "rs274-error"
    assert finding.file == "bad.ngc"
    assert finding.line


@needs_interpreter
@pytest.mark.parametrize("name", REFUSED_BY_BOTH)
def test_the_outside_interpreter_refuses_it_as_well(name: str) -> None:
    with pytest.raises(rs274_tool.Refused):
        rs274_tool.canon(REFUSED_BY_BOTH[name])


def test_spaces_anywhere() -> None:
    """3.3: "g0x +0. 12 34y 7" is the same as "g0 x0.1234 y7"."""
    trace = read("g21 g90\ng0x +0. 12\t34y 7\nm2\n", file="a")
    assert trace.moves[0].end[:2] == (0.1234, 7.0)


def test_arc_of_the_report() -> None:
    """3.5.3.2: from X7 Y7, "G17 G2 x 10 y 16 i 3 j 4 z 9": centre (10, 11), radius 5."""
    trace = read("G21 G90 F9\nG0 X7 Y7 Z9\nG17 G2 x 10 y 16 i 3 j 4 z 9\nM2\n", file="a")
    arc = trace.moves[-1]
    assert arc.kind == "arc_cw"
    assert arc.centre == (10.0, 11.0)
    assert math.dist(arc.start[:2], (10, 11)) == math.dist(arc.end[:2], (10, 11)) == 5.0


@pytest.mark.parametrize(("mismatch", "passes"), [(0.0019, True), (0.002, True), (0.0021, False)])
def test_an_arc_s_radii_may_differ_by_two_microns(mismatch: float, passes: bool) -> None:
    """3.5.3.2: an error if they differ by more than 0.002 mm; the outside one allows more."""
    text = f"G21 G90 F9\nG0 X0 Y0 Z0\nG2 X10 Y0 I{5 + mismatch / 2:.4f} J0\nM2\n"
    if passes:
        assert len(read(text, file="a").moves) == 2
    else:
        with pytest.raises(Refusal, match=r"a difference of 0\.002 mm is allowed"):
            read(text, file="a")


@pytest.mark.parametrize(("length", "passes"), [(256, True), (257, False)])
def test_the_longest_line(length: int, passes: bool) -> None:
    """3.3: a line holds at most 256 characters."""
    line = "G0 X1 ("
    line += "x" * (length - len(line) - 1) + ")"
    assert len(line) == length
    if passes:
        read(f"G21\n{line}\nM2\n", file="a")
    else:
        with pytest.raises(Refusal, match="257 characters"):
            read(f"G21\n{line}\nM2\n", file="a")


@pytest.mark.parametrize(("number", "passes"), [("N99999", True), ("N100000", False)])
def test_line_numbers_have_five_digits(number: str, passes: bool) -> None:
    """3.3.1: line numbers from 0 to 99999."""
    text = f"G21\n{number} G0 X1\nM2\n"
    if passes:
        read(text, file="a")
    else:
        with pytest.raises(Refusal, match="one to five digits"):
            read(text, file="a")


def test_tool_change_stops_the_spindle() -> None:
    """3.6.3: when the tool change is complete the spindle is stopped."""
    trace = read("G21 M3 S100\nT1 M6\nM2\n", file="a")
    assert [event.on for event in trace.spindle] == [True, False]
    # Table 8: the change comes before the start, in whatever order they are written.
    trace = read("G21 M3 S100 T1 M6\nM2\n", file="a")
    assert [event.on for event in trace.spindle] == [False, True]


def test_a_second_reader_finds_the_same_words() -> None:
    """It knows words and no state, and takes no number that ends in its point."""
    gcodeparser = pytest.importorskip("gcodeparser")
    text = (
        "G17 G21 G90 G94\nG0 Z2.0\nG0 X10.5 Y-3.25\nG1 X10.5 Y-3.25 Z-0.1 F60.0\n"
        "G1 X20.1234 Y0.5 Z-0.1 F300.0\nG3 X30.1234 Y10.5 Z-0.15 I0.0 J10.0\nG0 Z2.0\nM2\n"
    )
    words = [
        line.params
        for line in gcodeparser.parse_gcode_lines(text)
        if line.command[0] == "G" and line.command[1] in (0, 1, 2, 3)
    ]
    moves = read(text, file="a").moves
    assert len(words) == len(moves) == 6
    for params, move in zip(words, moves, strict=True):
        for letter, place in zip("XYZ", move.end, strict=True):
            assert letter not in params or params[letter] == place
        if move.centre is not None:
            assert move.centre == (move.start[0] + params["I"], move.start[1] + params["J"])
