"""What the reader makes of a program beyond what the report's own examples show."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.finding import Finding, Refusal
from millprep.verify.reader import MOST_FINDINGS, read


def refused(text: str) -> tuple[Finding, ...]:
    with pytest.raises(Refusal) as refusal:
        read(text, file="a.ngc")
    return refusal.value.findings


def test_places_are_unknown_until_told() -> None:
    first, second = read("G21\nG0 Z5\nG0 X1 Y2\nM2\n", file="a").moves
    assert all(math.isnan(place) for place in first.start)
    assert [math.isnan(place) for place in first.end] == [True, True, False]
    assert second.end == (1.0, 2.0, 5.0)
    assert (first.line, second.line) == (2, 3)


def test_all_faults_are_told_together_each_with_its_line() -> None:
    found = refused("G21\nG1 X1\nG0 X1 X2\nG5\n")
    assert [finding.line for finding in found] == [2, 3, 4, 5]
    assert "no feed" in found[0].message
    assert "cut short" in found[3].message
    assert {finding.severity for finding in found} == {"stop"}


def test_a_long_list_of_faults_ends() -> None:
    faults = refused("G5\n" * 500)
    assert len(faults) + faults[-1].more == MOST_FINDINGS


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("G18", "plane"),
        ("G41", "compensation"),
        ("G43 H1", "tool length"),
        ("G55", "coordinate systems"),
        ("G92 X0", "moving the origin"),
        ("G53 G0 X1", "machine coordinates"),
        ("G93", "inverse time"),
        ("G85 X1 Z-1 R1", "canned cycle"),
        ("M60", "pallets"),
        ("G0 A1 X1", "turning axes"),
    ],
)
def test_what_cannot_be_known_is_not_proved(line: str, words: str) -> None:
    (finding,) = refused(f"G21\n{line}\nM2\n")
    assert finding.code == "rs274-unproved"
    assert words in finding.message
    assert finding.line == 2


@pytest.mark.parametrize(
    "line", ["G0 X#1", "#1=2", "G0 X[1+2]", "O100 sub", "G0 X1 ;comment", "G0 X1e2"]
)
def test_what_is_no_plain_word(line: str) -> None:
    (finding,) = refused(f"G21\n{line}\nM2\n")
    assert finding.line == 2


def test_a_length_needs_its_unit() -> None:
    (finding,) = refused("G0 Z5\nM2\n")
    assert finding.code == "rs274-unproved"
    assert "G20 or G21" in finding.message
    assert refused("G20 G0 X1\nG21 F100\nM2\n")[0].line == 2


def test_what_the_program_leaves_to_the_machine_is_noted() -> None:
    text = "G21 G17 G90 G94\nG0 X0 Y0 Z0\nG2 X2 I1 F9\nM2\n"
    assert read(text, file="a").assumed == ()
    assert read(text.replace("G17 G90 G94", ""), file="a").assumed == ("G17", "G90", "G94")


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
