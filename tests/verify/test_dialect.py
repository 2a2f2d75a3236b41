"""What contradicts a machine's dialect is found, by the line."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.dialect import Dialect, ToolChange
from millprep.model.finding import NOT_RUN, Finding, Refusal
from millprep.model.program import Program
from millprep.verify.cutter_changes import programs_of_file, split_by_cutter
from millprep.verify.reader import read
from tests.helpers.chance import examples
from tests.helpers.programs import MACHINE, end_mill

HEAD = "G21 G90 G94 G17 G80\nG0 Z5.\nG0 X0. Y0.\n"
BODY = "G1 Z-0.1 F100.\nG0 Z5.\n"


def faults(text: str, **features: Any) -> list[tuple[str, int | None]]:
    try:
        read(text, file="one.ngc", dialect=Dialect(**features))
    except Refusal as refusal:
        return [(f.code, f.line) for f in refusal.findings]
    return []


def numbered(text: str, first: int = 1) -> str:
    return "".join(f"N{n} {line}\n" for n, line in enumerate(text.splitlines(), first))


PLAIN = HEAD + BODY + "M2\n"


def test_plain_rs274_is_what_a_machine_understands_that_says_nothing() -> None:
    assert faults(PLAIN) == []


@pytest.mark.parametrize(
    ("text", "features", "line"),
    [
        (HEAD + "G1 Z-0.1 F100.\nG2 X1. Y0. I0.5 J0.\nG0 Z5.\nM2\n", {"arcs": False}, 5),
        (HEAD + "G99 G81 X1. Z-1. R5. F100.\nG80\nM2\n", {}, 4),
        (HEAD + "(words)\n" + BODY + "M2\n", {"comments": "semicolon"}, 4),
        (HEAD + "(words)\n" + BODY + "M2\n", {"comments": "none"}, 4),
        (HEAD + "; words\n" + BODY + "M2\n", {"comments": "none"}, 4),
        (HEAD + "N4 G1 Z-0.1 F100.\nG0 Z5.\nM2\n", {}, 4),
        (numbered(HEAD) + "G1 Z-0.1 F100.\n" + numbered("G0 Z5.\nM2\n", 5),
         {"line_numbers": True}, 4),
        (numbered(HEAD) + numbered(BODY, 5), {"line_numbers": True}, 4),
        (HEAD + "G1 Z-0.10001 F100.\nG0 Z5.\nM2\n", {}, 4),
        (HEAD + "G1 Z-0.1001 F100.\nG0 Z5.\nM2\n", {"decimals": 3}, 4),
        (PLAIN.replace("\n", "\r\n"), {}, 1),
        (PLAIN, {"line_ends": "crlf"}, 1),
        (PLAIN.replace("\n", "\r\n").replace("5.\r\n", "5.\n", 1), {"line_ends": "crlf"}, 2),
        (PLAIN, {"end": "M30"}, 6),
        (PLAIN, {"percent": True}, 1),
        ("%\n" + PLAIN, {"percent": True}, 7),
        ("%\n" + PLAIN + "%\n", {}, 1),
        (PLAIN + "G0 X5.\n", {}, 7),
    ],
)  # fmt: skip
def test_a_contradiction_is_found_in_its_line(
    text: str, features: dict[str, Any], line: int
) -> None:
    assert ("dialect-differs", line) in faults(text, **features)


@pytest.mark.parametrize(
    ("text", "features", "said"),
    [
        (HEAD + "G3 X1. Y0. I0.5 J0. F9.\nM2\n", {"arcs": False},
         {4: "G3: an arc, which the dialect does not have"}),
        (HEAD + "G99 G83 X1. Z-1. R5. Q1. F100.\nG80\nM2\n", {},
         {4: "G83: a drilling cycle, which the dialect does not have"}),
        (HEAD + "N4 G0 Z5.\nM2\n", {}, {4: "N4: a line number, which the dialect does not have"}),
        (numbered(HEAD) + "G0 Z5.\nN6 G0 Z4.\nN6 M2\n", {"line_numbers": True},
         {4: "no line number in line 4, it should be N4", 5: "N6 in line 5, it should be N5"}),
        (HEAD + "G0 Z5.1234\nG0 Z5.12345 (1.1234567)\nM2\n", {"decimals": 4},
         {5: "a number has more than 4 decimals"}),
        (PLAIN.replace("\n", "\r\n"), {}, {1: "the line ends with a carriage return"}),
        (PLAIN.replace("\n", "\r\n"), {"end": "M30"},
         {1: "the line ends with a carriage return", 6: "M2 ends the program, it should be M30"}),
        (PLAIN, {"line_ends": "crlf"}, {1: "the line does not end with a carriage return"}),
        (PLAIN.replace("\n", "\r\n")[:-2], {"line_ends": "crlf"},
         {6: "the line does not end with a carriage return"}),
        (PLAIN + "\n", {}, {}),
        (PLAIN, {"end": "M30"}, {6: "M2 ends the program, it should be M30"}),
        ("\n\n" + PLAIN, {"percent": True},
         {3: "no percent line", 8: "the last line is not a percent line"}),
        ("%\n" + PLAIN + "%\nG0 X5.\n", {"percent": True},
         {9: "the last line is not a percent line"}),
        ("\n%\n" + PLAIN, {}, {2: "a percent line, which the dialect does not have"}),
        (PLAIN + "\nG0 X5.\nG0 X6.\n", {}, {8: "a line follows M2"}),
        (PLAIN + "G0 X5.\n", {"end": "M30"}, {6: "M2 ends the program, it should be M30"}),
    ],
)  # fmt: skip
def test_what_contradicts_the_dialect_is_named(
    text: str, features: dict[str, Any], said: dict[int, str]
) -> None:
    rest = f". This contradicts [machine.dialect]. {NOT_RUN}"
    expected = [("dialect-differs", line, f"{words}{rest}") for line, words in said.items()]
    found: list[Finding] = []
    try:
        read(text, file="one.ngc", dialect=Dialect(**features))
    except Refusal as refusal:
        found += refusal.findings
    assert [(f.code, f.line, f.message) for f in found] == expected


def test_a_semicolon_is_no_word_by_the_report() -> None:
    assert faults(HEAD + "; words\n" + BODY + "M2\n") == [("rs274-error", 4)]


def test_a_closing_percent_line_alone_ends_no_program_that_is_to_have_a_word() -> None:
    assert ("dialect-differs", 7) in faults("%\n" + HEAD + BODY + "%\n", percent=True)


@pytest.mark.parametrize(
    ("text", "features"),
    [
        (HEAD + "; words (with brackets)\n" + BODY + "M2 ; end\n", {"comments": "semicolon"}),
        (numbered(HEAD + "(words 1.00000001)\n" + BODY + "M2\n"), {"line_numbers": True}),
        ("%\n" + numbered(PLAIN, 2) + "%\n", {"line_numbers": True, "percent": True}),
        (("%\n" + PLAIN + "%\n").replace("\n", "\r\n"), {"percent": True, "line_ends": "crlf"}),
        (HEAD + BODY + "M30\n\n", {"end": "M30"}),
        (HEAD + "G99 G83 X1. Y0. Z-1. R5. Q4. F100.\nG80\nM2\n", {"cycles": True}),
    ],
)
def test_what_the_dialect_has_is_read(text: str, features: dict[str, Any]) -> None:
    assert faults(text, **features) == []


def test_a_dwell_is_reported_in_the_unit_of_the_machine() -> None:
    text = HEAD + "G4 P1500.\n" + BODY + "M2\n"
    assert read(text, file="one.ngc", dialect=Dialect(dwell_unit="ms")).dwells[0].seconds == 1.5
    assert read(text, file="one.ngc", dialect=Dialect()).dwells[0].seconds == 1500


def test_words_at_a_stop_may_follow_a_semicolon() -> None:
    text = HEAD + "; start the spindle\nM0\n" + BODY + "M2\n"
    trace = read(text, file="one.ngc", dialect=Dialect(comments="semicolon"))
    assert trace.stops[0].words == "start the spindle"
    assert [r.words for r in trace.remarks] == ["start the spindle"]


DIALECTS = st.builds(
    Dialect,
    arcs=st.booleans(),
    cycles=st.booleans(),
    comments=st.sampled_from(["brackets", "semicolon", "none"]),
    line_numbers=st.booleans(),
    decimals=st.integers(3, 6),
    line_ends=st.sampled_from(["lf", "crlf"]),
    dwell_unit=st.sampled_from(["s", "ms"]),
    percent=st.booleans(),
    end=st.sampled_from(["M2", "M30"]),
)
LINES = st.lists(
    st.sampled_from(
        ["%", "", "\r", "N1 G21", "G21 G90 G94 G17", "G0 Z5.", "G0 X1. Y1.\r", "G1 Z-1. F9.",
         "(cutter a: x)", "; cutter a: x", "(MSG, change to a: x)", "; change to b, T2: x", "M0",
         "T1 M6", "M5", "G99 G81 X2. Z-1. R5. F9.", "G2 X2. Y1. I0.5 J0.", "M2", "M30", "(", ";"]
    ),
    max_size=14,
)  # fmt: skip


@examples(300)
@given(LINES, DIALECTS)
def test_no_text_breaks_reader_and_parts(lines: list[str], dialect: Dialect) -> None:
    text = "\n".join([*HEAD.splitlines(), *lines, dialect.end, ""])
    try:
        trace = read(text, file="one.ngc", dialect=dialect)
    except Refusal:
        return
    # a machine that changes cutters needs comments
    tool_change: ToolChange = "files" if dialect.comments == "none" else "changer"
    machine = replace(MACHINE, dialect=dialect, tool_change=tool_change)
    found = split_by_cutter(trace)
    assert [m for part in found for m in part.trace.moves] == list(trace.moves)
    cutters = (end_mill(1.0, "a"), end_mill(2.0, "b"))
    program = Program(
        file="one.ngc", blank=1, mill_pass=1, cutter=cutters[0], works=("isolate",), depth=0.1,
        spindle=1.0, start=(1.0, 1.0, 5.0), moves=(),
    )  # fmt: skip
    result = programs_of_file(
        trace, [program, replace(program, cutter=cutters[1])], cutters, machine
    )
    assert len(result.traces) == len(result.programs) == 2
