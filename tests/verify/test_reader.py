"""What the reader makes of a program beyond what the report's own examples show."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.verify.reader import MOST_FINDINGS, read
from millprep.verify.trace import Trace


def refused(text: str) -> tuple[Finding, ...]:
    with pytest.raises(Refusal) as refusal:
        read(text, file="a.ngc")
    return refusal.value.findings


def test_places_are_unknown_until_the_program_gives_them() -> None:
    first, second = read("G21\nG0 Z5\nG0 X1 Y2\nM2\n", file="a").moves
    assert all(math.isnan(place) for place in first.start)
    assert [math.isnan(place) for place in first.end] == [True, True, False]
    assert second.end == (1.0, 2.0, 5.0)
    assert (first.line, second.line) == (2, 3)


def test_all_faults_are_reported_together_each_with_its_line() -> None:
    found = refused("G21\nG1 X1\nG0 X1 X2\nG5\n")
    assert [finding.line for finding in found] == [2, 3, 4, 5]
    assert "no feed" in found[0].message
    assert "cut short" in found[3].message
    assert {finding.severity for finding in found} == {"stop"}


def test_a_long_list_of_faults_ends() -> None:
    faults = refused("G5\n" * 500)
    assert len(faults) + faults[-1].more == MOST_FINDINGS


def test_block_delete_lines_are_carried_out_and_noted() -> None:
    trace = read("G21\n/G0 X1\nM2\n", file="a")
    assert len(trace.moves) == 1
    assert trace.deletable == (2,)


def test_nothing_after_the_end_counts() -> None:
    trace = read("G21\nG0 X1\nM2\nG0 X2\nnonsense\n", file="a")
    assert (trace.ended, trace.last_line, len(trace.moves)) == ("M2", 3, 1)


def test_windows_line_ends_and_empty_lines() -> None:
    assert len(read("\r\nG21\r\n\r\nG0 X1\r\n(end)\r\nM30\r\n", file="a").moves) == 1


def test_spindle_dwell_and_stops_in_order() -> None:
    trace = read(
        "G21 G90 G94\nG0 Z5\nM3 S9000\nG4 P1.5\n(turn the key)\nM0\nS100\nG0 X1\nM5\nM2\n", file="a"
    )
    assert [(e.before, e.line, e.on, e.rpm) for e in trace.spindle] == [
        (1, 3, True, 9000.0),
        (1, 7, True, 100.0),
        (2, 9, False, 0.0),
    ]
    assert trace.dwells[0].seconds == 1.5
    assert (trace.stops[0].words, trace.stops[0].before) == ("turn the key", 1)


def test_after_a_probe_the_height_is_unknown() -> None:
    trace = read("G21 G90 G94\nG0 X1 Y1 Z5\nG38.2 Z-1 F20\nG0 Z5\nM2\n", file="a")
    assert trace.moves[1].end == (1.0, 1.0, -1.0)
    assert trace.moves[2].start[:2] == (1.0, 1.0)
    assert math.isnan(trace.moves[2].start[2])
    # up from the touch, which G91 counts from: still unknown
    up = read("G21 G90 G94 F9\nG0 X1 Y1 Z5\nG38.2 Z-1\nG91\nG0 Z5\nG90\nM2\n", file="a")
    assert math.isnan(up.moves[2].end[2])
    assert "0.200 mm away" in refused("G21 G94 F9\nG0 X1 Y1 Z5\nG38.2 Z4.8\nM2\n")[0].message


coordinates = st.decimals(-400, 400, allow_nan=False, places=4)


@pytest.mark.law
@given(st.lists(st.tuples(coordinates, coordinates, coordinates), min_size=1, max_size=30))
def test_absolute_and_incremental_tell_the_same_path(
    points: list[tuple[float, float, float]],
) -> None:
    head = "G21 G90 G94\nG0 X0 Y0 Z0\n"
    absolute = "".join(f"G0 X{x} Y{y} Z{z}\n" for x, y, z in points)
    steps = zip([(0, 0, 0), *points], points, strict=False)
    relative = "".join(f"G0 X{b[0] - a[0]:f} Y{b[1] - a[1]:f} Z{b[2] - a[2]:f}\n" for a, b in steps)
    one = read(f"{head}{absolute}M2\n", file="a").moves
    two = read(f"{head}G91\n{relative}M2\n", file="b").moves
    for p, q in zip(one, two, strict=True):
        assert p.end == pytest.approx(q.end, abs=1e-9)


@pytest.mark.law
@given(st.text(max_size=80))
def test_no_text_breaks_the_reader(text: str) -> None:
    try:
        outcome: object = read(f"G21\n{text}\nM2\n", file="a")
    except Refusal as refusal:
        outcome = refusal.findings
    assert outcome


MODES = [(0, 1, 170), (0, 1, 900), (0, 1, 940), (0, 1, 210)]
"""What the first line of these programs sets."""


def after_modes(text: str, dialect: Dialect | None = None) -> Trace:
    return read(f"G21 G90 G94 G17 F60\n{text}\nM2\n", file="a.ngc", dialect=dialect)


def test_the_spindle_turns_as_its_words_say() -> None:
    trace = after_modes(
        "S900 M3\nG0 X1\nS800\nM5\nS700\nM4\nG0 X2\nM3 S600\nT3\nT2 M6\nG0 X3\nM5\nM30"
    )
    assert trace.spindle == (
        (0, 2, True, True, 900.0), (1, 4, True, True, 800.0), (1, 5, False, True, 0.0),
        (1, 7, True, False, 700.0), (2, 9, True, False, 600.0), (2, 9, True, True, 600.0),
        (2, 11, False, True, 0.0), (3, 13, False, True, 0.0),
    )  # fmt: skip
    assert trace.tool_changes == ((2, 11, 2),)
    assert (trace.ended, trace.last_line, trace.file) == ("M30", 14, "a.ngc")
    bare = read("M0\nM3\nM6\nM2\n", file="a")
    assert (bare.spindle[0].rpm, bare.tool_changes[0].tool, bare.stops[0].words) == (0.0, 0, "")
    assert list(trace.modes) == MODES


def test_a_stop_has_the_words_of_its_line_or_of_the_remark_before_it() -> None:
    trace = after_modes(
        "(one)\nM0\n(two)\n\nM1\n(three)\nG0 X1\nM0\nM0 (four)\nM1 (a) (five)\nG0 X2 (six)\n\n"
        "(seven)\n(eight)\nM0\n(nine)\n()\nM0\n/\nM0"
    )
    assert trace.stops == (
        (0, 3, False, "one"), (0, 6, True, "two"), (1, 9, False, ""), (1, 10, False, "four"),
        (1, 11, True, "five"), (2, 16, False, "eight"), (2, 19, False, "nine"), (2, 21, False, ""),
    )  # fmt: skip
    assert trace.remarks == (
        (0, 2, "one"), (0, 4, "two"), (0, 7, "three"), (2, 14, "seven"), (2, 15, "eight"),
        (2, 17, "nine"),
    )  # fmt: skip
    assert trace.deletable == (20,)


def test_modes_and_the_way_around_corners_are_noted_where_they_change() -> None:
    trace = after_modes(
        "G61\nG0 X0 Y0 Z0\nG61.1 G1 X2\nG64\nG64 P.1\nG20 G64 P.1\nG64\nG1 X1\n"
        "G91 G2 X1 I.5\nG40 G80",
        Dialect(),
    )
    assert [tuple(path) for path in trace.paths] == [
        (0, 2, 610, None), (1, 4, 611, None), (2, 5, 640, None), (2, 6, 640, 0.1),
        (2, 7, 640, pytest.approx(2.54)), (2, 8, 640, None),
    ]  # fmt: skip
    assert list(trace.modes) == [
        *MODES, (1, 4, 10), (2, 7, 200), (3, 10, 910), (3, 10, 20), (4, 11, 400), (4, 11, 800),
    ]  # fmt: skip


def test_percent_lines_are_the_first_and_the_last() -> None:
    trace = read("\n%\nG21\nG0 X1\n %\t\nG0 X2\n", file="a")
    assert (trace.ended, trace.last_line, len(trace.moves)) == ("%", 5, 1)
    empty = read("%\n%\nG0 X1\n", file="a")
    assert (empty.ended, empty.last_line, empty.moves) == ("%", 2, ())
    ended = read("%\nG21\nM30\n%\n", file="a")
    assert (ended.ended, ended.last_line) == ("M30", 3)
    cut_short = refused("%\nG21\nG0 X1\n\n")
    assert cut_short[0].message.startswith(
        "the file has an opening percent line and no closing one. Do not run the set"
    )
    assert cut_short[0].line == 5
    assert refused("G21\n%\nM2\n")[0].message.startswith("'%' is not a word of RS-274.")
    assert refused("G21\nG0 X1")[0].message.startswith(
        "the file ends without M2, M30 or percent lines: it may be cut short. Do not run"
    )


def test_a_file_that_changes_its_unit_goes_on_in_the_new_one() -> None:
    text = "G20 F2\nG1 X1 Z0 Y0\nG21\nG1 X1\nF9 G21 X2\nG20 X1\nM2\n"
    moves = read(text, file="a").moves
    assert [(move.end[0], move.feed) for move in moves] == [
        (25.4, 50.8), (1.0, 50.8), (2.0, 9.0), (25.4, 9.0)
    ]  # fmt: skip
