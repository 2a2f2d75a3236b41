"""Lines that are refused, and why: by the report, or because a file cannot show what they do."""

from __future__ import annotations

import pytest

from millprep.model.dialect import Comments, Dialect
from millprep.model.finding import NOT_RUN, Finding, Refusal
from millprep.verify.block import Fault, check_characters, parse
from millprep.verify.reader import read

HEAD = "G21 G90 G94 G17 F9\nG0 X0 Y0 Z5\n"
TAKES = "has no code in its line that takes it"
ERRORS = {
    # comments, 3.3.4
    "G0 X1 (a (b) c)": "a comment is inside a comment",
    "G0 X1 (a": "a comment is not closed on its line",
    "G0 X1 a)": "a comment is closed that was never opened",
    "G0 X1 (a) b)": "a comment is closed that was never opened",
    "G0 X1 ;c": "';C' is not a word of RS-274",
    # words, 3.3.1 and 3.3.2
    f"G0 X1 ({'a' * 249})": "the line holds 257 characters, 256 are allowed",
    "N123456 G0 X1": "a line number is N and one to five digits",
    "NG0 X1": "a line number is N and one to five digits",
    "/N G0 X1": "a line number is N and one to five digits",
    "N1 N2 G0 X1": "'N2G0X1' is not a word of RS-274",
    "N1 G0 X#1": "the word X has no number: 'X#1'",
    "#1=2": "parameters and expressions are not proved, write plain numbers",
    "N12345 [1+2]": "parameters and expressions are not proved, write plain numbers",
    "G0 X1 Y": "the word Y has no number: 'Y'",
    "X": "the word X has no number: 'X'",
    "G0 X1 Yabcdefghijklmnop": "the word Y has no number: 'YABCDEFGHIJK'",
    "O100 G0 X1 Y2 Z3 F4": "'O100G0X1Y2Z3' is not a word of RS-274",
    "G0 X1e2": "'E2' is not a word of RS-274",
    "G0 X--1": "the word X has no number: 'X--1'",
    "G0 X1.2.3": "'.3' is not a word of RS-274",
    "+1": "'+1' is not a word of RS-274",
    "/G0 X1 /": "'/' is not a word of RS-274",
    "%": "'%' is not a word of RS-274",
    "G0 X1 X2": "the word X is twice in the line",
    # codes, 3.3.2.1, 3.5 and 3.6
    "G5.5 X1": "G5.5 is not a code of RS-274",
    "G98.5": "G98.5 is not a code of RS-274",
    "G1.25 X1": "G1.25 is not a whole code",
    "M3.5": "M3.5 is not a whole code",
    "M3.001": "M3.001 is not a whole code",
    "M75": "M75 is not a code of RS-274",
    "G0 G1 X1": "G0 and G1 are of one modal group",
    "G90 G91": "G90 and G91 are of one modal group",
    "M3 M4": "M3 and M4 are of one modal group",
    "M0 M1": "M0 and M1 are of one modal group",
    "M3 M8 M48 M1 M6": "5 M words in a line, 4 are allowed",
    "T1.5 M6": "T is not a whole code",
    "T-1 M6": "T must not be negative",
    "S-1": "a negative spindle speed",
    "F-1": "a negative feed",
    "G4": "G4 needs P, seconds of 0 or more",
    "G4 P-1": "G4 needs P, seconds of 0 or more",
    # letters without a code
    **{f"G0 X1 {letter}2": f"the word {letter} {TAKES}" for letter in "DHIJKLPQR"},
    "L2": f"the word L {TAKES}",
    "G61 P1": f"the word P {TAKES}",
    "G64 P.1": f"the word P {TAKES}",
    # motion and axis words, 3.5
    "G0": "G0 without X, Y or Z",
    "G38.2 F9": "G38.2 without X, Y or Z",
    "G80 X1": "axis words under G80, which ends all motion",
    "G80\nX1": "axis words under G80, which ends all motion",
    "G1 X1 F0": "G1 with no feed",
    "G38.2 X1 F0": "G38.2 with no feed",
    "G38.2 X.253": "the probe's target is 0.253 mm away, or at an unknown distance",
    "G38.2 X1\nG91\nG0 Z1\nG0 X1": "X is counted from an unknown place",
    "G38.2 Z-1\nG0 X1\nG91\nG0 Z1": "Z is counted from an unknown place",
    "G38.2 Z-1\nG91\nG0 Z1\nG38.2 Z-.2": (
        "the probe's target is 0.200 mm away, or at an unknown distance"
    ),
    # arcs, 3.5.3
    "G2 X1 Y1": "an arc without I, J or R",
    "G2 Z1 I1": "an arc without X or Y",
    "G2 X1 Y1 R1 I1": "an arc with R and a centre",
    "G2 X1 Y1 R1 J1": "an arc with R and a centre",
    "G2 X0 Y0 R3": "an arc with R that ends where it starts",
    "G2 X10 R4.9979": "radius 4.9979 is too small to reach the arc's end",
    "G3 X10 R-4.9": "radius 4.9000 is too small to reach the arc's end",
    "G2 X.001 I0 J0": "an arc of no radius",
    "G38.2 Z-1\nG2 X1 Y1 I1": "an arc from an unknown place",
    "G2 X10 I5.0011": (
        "the arc's radius is 5.0011 at its start and 4.9989 at its end, a difference of 0.002 mm "
        "is allowed"
    ),
    "G20\nG2 X1 Y1 I1.0003 F1": (
        "the arc's radius is 25.4076 at its start and 25.4000 at its end, a difference of 0.00508 "
        "mm is allowed"
    ),
    # cycles, 3.5.16
    "G81 X1 Z-1": "a drilling cycle without R",
    "G81 X1 R1": "a drilling cycle without Z",
    "G81 X1 Z-1 R1\nG82 X2 P1": "a drilling cycle without R",
    "G81 X1 Z-1 R1\nG80\nG81 X2": "a drilling cycle without R",
    "G83 X1 Z-1 R1": "G83 needs Q above 0",
    "G83 X1 Z-1 R1 Q0": "G83 needs Q above 0",
    "G82 X1 Z-1 R1": "G82 needs P, seconds of 0 or more",
    "G82 X1 Z-1 R1 P-1": "G82 needs P, seconds of 0 or more",
    "G81 X1 Z-1 R-1.1": "R lies below Z in a drilling cycle",
    "G81 X1 Z-1 R1 L0": "L must be above 0",
    "G81 X1 Z-1 R1 L1.5": "L is not a whole code",
    "G81 X1 Z-1 R1 L-1": "L must not be negative",
    "G81 X1 Z-1 R1 F0": "G81 with no feed",
    "G38.2 Z-1\nG81 X1 Z-1 R1": "a drilling cycle from an unknown place",
}
UNPROVED = {
    "G18": "G18: arcs in this plane cannot be proved",
    "G41": "G41: cutter compensation cannot be proved",
    "G43 H1": "G43: tool length offsets cannot be proved",
    "G59.3": "G59.3: other coordinate systems cannot be proved",
    "G92 X0": "G92: moving the origin cannot be proved",
    "G10 L2 P1 X0": "G10: moving the origin cannot be proved",
    "G53 G0 X1": "G53: moves in machine coordinates cannot be proved",
    "G28": "G28: moves in machine coordinates cannot be proved",
    "G93": "G93: inverse time feed cannot be proved",
    "G85 X1 Z-1 R1": "G85: this canned cycle cannot be proved",
    "M60": "M60: pallets cannot be proved",
    "G0 X1 A1": "A: turning axes are not proved",
    "G0 X1 C1": "C: turning axes are not proved",
    "G20 F9": "F is in the line that changes the unit",
    "G91 G81 X1 Y1 Z-1 R1\nX2": "increments in a drilling cycle that follows another",
}
UNSAFE = {
    f"G0 X1 ({mark})": f"the character {mark!r}, which some controllers take for a command or the "
    "end of a line, even in a comment"
    for mark in ("!", "~", "\x00", "\x07", "\x1f", "\x7f")
}
UNSAFE["\x0b"] = UNSAFE["G0 X1 (\x07)"].replace("x07", "x0b")
WHY = (
    *((lines, "rs274-error", message) for lines, message in ERRORS.items()),
    *((lines, "rs274-unproved", message) for lines, message in UNPROVED.items()),
    *((lines, "character-unsafe", message) for lines, message in UNSAFE.items()),
)


def refused(text: str, dialect: Dialect | None = None) -> Finding:
    with pytest.raises(Refusal) as refusal:
        read(text, file="a.ngc", dialect=dialect)
    (finding,) = refusal.value.findings
    return finding


def test_a_line_is_refused_with_its_reason() -> None:
    for lines, code, message in WHY:
        finding = refused(f"{HEAD}{lines}\nM2\n")
        assert (finding.code, finding.message) == (code, f"{message}. {NOT_RUN}"), lines
        assert finding.line == 3 + lines.count("\n"), lines


def test_a_length_needs_its_unit() -> None:
    for line, word in (
        ("G0 Z5", "a length"), ("F9", "F"), ("G64 P.1", "P"), ("G81 X1 Z-1 R1", "a length"),
    ):  # fmt: skip
        finding = refused(f"{line}\nM2\n", Dialect(cycles=True))
        assert finding.message.startswith(f"{word} comes before G20 or G21: its unit is unknown.")
        assert finding.code == "rs274-unproved"


def test_nothing_is_counted_from_a_place_that_no_word_has_given() -> None:
    for letter in "XYZ":
        finding = refused(f"G21 G91\nG0 {letter}1\nM2\n")
        assert finding.message.startswith(f"{letter} is counted from an unknown place.")


def test_a_line_that_is_just_within_the_report() -> None:
    for line in (
        "G2 X10 R4.9981", "G38.2 X.254", "M3.00009", "G0 X1 (a) (b;c)", "N0 G0 X1", "/", "G0 X+.5",
        "g+0 x 1 . 5", "M3 M8 M48 M1", "G4 P0", "G82 X1 Z-1 R1 P0", "S0", "T0 M6", "G61.1", "M7",
        f"G0 X1 ({'a' * 248})",
    ):  # fmt: skip
        read(f"{HEAD}{line}\nM2\n", file="a")


BRACKETS = "a comment in brackets or after a semicolon: the dialect has "


@pytest.mark.parametrize(
    ("raw", "comments", "text", "comment"),
    [
        ("g0 x1 (to the hole) (and on)", "brackets", "G0X1", "and on"),
        ("(MSG, look)", "brackets", "", "MSG, look"),
        ("/N7 g0 x1", "brackets", "/N7G0X1", ""),
        ("g0 x1 ; to the hole ", "semicolon", "G0X1", "to the hole"),
        ("; to (the) hole", "semicolon", "", "to (the) hole"),
        ("g0\tx1", "none", "G0X1", ""),
        ("g0 x1 (a)", "none", None, f"{BRACKETS}none"),
        ("g0 x1 ;a", "none", None, "the dialect has none"),
        ("g0 x1 (a)", "semicolon", None, f"{BRACKETS}them after a semicolon"),
        ("g0 x1 a) ; b", "semicolon", None, "the dialect has them after a semicolon"),
        ("g0 x1 (a ; b", "semicolon", None, "the dialect has them after a semicolon"),
    ],
)
def test_comments_are_taken_off_as_the_dialect_has_them(
    raw: str, comments: Comments, text: str | None, comment: str
) -> None:
    if text is None:
        with pytest.raises(Fault, match=comment) as fault:
            parse(raw, comments)
        assert fault.value.code == "dialect-differs"
        return
    block = parse(raw, comments)
    assert (block.text, block.comment) == (text, comment)


def test_the_parts_of_a_line() -> None:
    block = parse("/N12 G38.2 G91 X1.5 Y-.25 M8 M5 F+30", "brackets")
    assert block[:4] == (True, (382, 910), (8, 5), {"X": 1.5, "Y": -0.25, "F": 30.0})
    assert block.number == 12
    assert parse("G0", "brackets").number is None


def test_tabs_and_ends_of_lines_are_no_commands() -> None:
    check_characters("G0\tX1 (% ? \u00e9)")
