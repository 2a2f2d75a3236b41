"""Where words lead: moves of cycles, arcs, units, increments and touches, by NISTIR 6556."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from millprep.model.dialect import Dialect
from millprep.verify.reader import read
from millprep.verify.trace import Place, Trace, TraceMove

HEAD = "G21 G90 G94 G17 G98 F60\nG0 X0 Y0 Z5\n"
MOVES = {
    "G81 X1 Y2 Z-1 R2": "rapid 1 2 5, rapid 1 2 2, feed 1 2 -1 F60, rapid 1 2 5",
    "G81 X1 Y2 Z-1 R2\nX3\nG80\nG0 X9": (
        "rapid 1 2 5, rapid 1 2 2, feed 1 2 -1 F60, rapid 1 2 5, rapid 3 2 5, rapid 3 2 2, "
        "feed 3 2 -1 F60, rapid 3 2 5, rapid 9 2 5"
    ),
    "G99 G81 X1 Y2 Z-1 R2\nX3 Z-2 R1": (
        "rapid 1 2 5, rapid 1 2 2, feed 1 2 -1 F60, rapid 1 2 2, rapid 3 2 2, rapid 3 2 1, "
        "feed 3 2 -2 F60, rapid 3 2 1"
    ),
    "G81 X1 Z-1 R7": "rapid 0 0 7, rapid 1 0 7, feed 1 0 -1 F60, rapid 1 0 7",
    "G99 G81 X1 Z-1 R7\nX2": (
        "rapid 0 0 7, rapid 1 0 7, feed 1 0 -1 F60, rapid 1 0 7, rapid 2 0 7, "
        "feed 2 0 -1 F60, rapid 2 0 7"
    ),
    "G83 X1 Z-1 R1 Q.8": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 0.2 F60, rapid 1 0 1, rapid 1 0 0.454, "
        "feed 1 0 -0.6 F60, rapid 1 0 1, rapid 1 0 -0.346, feed 1 0 -1 F60, rapid 1 0 5"
    ),
    "G83 X1 Z-1 R1 Q1\nX2\nX3 Q2": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 0 F60, rapid 1 0 1, rapid 1 0 0.254, "
        "feed 1 0 -1 F60, rapid 1 0 5, rapid 2 0 5, rapid 2 0 1, feed 2 0 0 F60, "
        "rapid 2 0 1, rapid 2 0 0.254, feed 2 0 -1 F60, rapid 2 0 5, rapid 3 0 5, "
        "rapid 3 0 1, feed 3 0 -1 F60, rapid 3 0 5"
    ),
    "G82 X1 Z-1 R1 P1.5\nX2\nX3 P0": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F60, rapid 1 0 5, rapid 2 0 5, rapid 2 0 1, "
        "feed 2 0 -1 F60, rapid 2 0 5, rapid 3 0 5, rapid 3 0 1, feed 3 0 -1 F60, rapid 3 0 5"
    ),
    "G81 X1 Z-1 R1 L2": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F60, rapid 1 0 5, rapid 1 0 5, rapid 1 0 1, "
        "feed 1 0 -1 F60, rapid 1 0 5"
    ),
    "G91 G81 X1 Y1 Z-3 R-4 L2": (
        "rapid 1 1 5, rapid 1 1 1, feed 1 1 -2 F60, rapid 1 1 5, rapid 2 2 5, rapid 2 2 1, "
        "feed 2 2 -2 F60, rapid 2 2 5"
    ),
    "G91 G83 X1 Y1 Z-1 R1 Q.5\nG80": (
        "rapid 0 0 6, rapid 1 1 6, feed 1 1 5.5 F60, rapid 1 1 6, rapid 1 1 5.754, "
        "feed 1 1 5 F60, rapid 1 1 6"
    ),
    "G81 X1 Z-1 R5": "rapid 1 0 5, feed 1 0 -1 F60, rapid 1 0 5",
    "G81 X1 Z-1 R-1": "rapid 1 0 5, rapid 1 0 -1, feed 1 0 -1 F60, rapid 1 0 5",
    "G81 X1 Z-1 R1\nG0 Z5\nG81 X2 Z-1 R1": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F60, rapid 1 0 5, rapid 1 0 5, rapid 2 0 5, "
        "rapid 2 0 1, feed 2 0 -1 F60, rapid 2 0 5"
    ),
    "G81 X1 Z-1 R1\nG1 X5\nX6": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F60, rapid 1 0 5, feed 5 0 5 F60, "
        "feed 6 0 5 F60"
    ),
    "G81 X1 Y2 Z-1 R2\nZ-2": (
        "rapid 1 2 5, rapid 1 2 2, feed 1 2 -1 F60, rapid 1 2 5, rapid 1 2 5, rapid 1 2 2, "
        "feed 1 2 -2 F60, rapid 1 2 5"
    ),
    "G81 X1 Y2 Z-1 R2\nY3": (
        "rapid 1 2 5, rapid 1 2 2, feed 1 2 -1 F60, rapid 1 2 5, rapid 1 3 5, rapid 1 3 2, "
        "feed 1 3 -1 F60, rapid 1 3 5"
    ),
    "G83 X1 Z-1 R1 Q1 L2": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 0 F60, rapid 1 0 1, rapid 1 0 0.254, "
        "feed 1 0 -1 F60, rapid 1 0 5, rapid 1 0 5, rapid 1 0 1, feed 1 0 0 F60, "
        "rapid 1 0 1, rapid 1 0 0.254, feed 1 0 -1 F60, rapid 1 0 5"
    ),
    "G2 X2 R1": "cw 2 0 5 @ 1 0 F60",
    "G3 X2 R1": "ccw 2 0 5 @ 1 0 F60",
    "G2 X2 R-2": "cw 2 0 5 @ 1 1.73205 F60",
    "G3 X2 R-2": "ccw 2 0 5 @ 1 -1.73205 F60",
    "G2 X2 Y2 R2": "cw 2 2 5 @ 2 0 F60",
    "G3 X2 Y2 R-2": "ccw 2 2 5 @ 2 0 F60",
    "G2 X2 Y0 I1": "cw 2 0 5 @ 1 0 F60",
    "G3 X0 Y2 J1": "ccw 0 2 5 @ 0 1 F60",
    "G3 X0 Y0 I1 Z4": "ccw 0 0 4 @ 1 0 F60",
    "G2 X1 Y1 I1": "cw 1 1 5 @ 1 0 F60",
    "G20\nG2 X2 I1 F1": "cw 50.8 0 5 @ 25.4 0 F25.4",
    "G20\nG2 X1 Y1 I1.0001 F1": "cw 25.4 25.4 5 @ 25.4025 0 F25.4",
    "G2 X1 Y1 I1.0015": "cw 1 1 5 @ 1.0015 0 F60",
    "G91\nG2 X1 Y1 I1": "cw 1 1 5 @ 1 0 F60",
    "G91\nG1 X1\nX1 Y1 Z-1\nG90\nX1": "feed 1 0 5 F60, feed 2 1 4 F60, feed 1 1 4 F60",
    "G20\nG1 X1 F2": "feed 25.4 0 5 F50.8",
    "G1 X1\nF20\nY1\nZ1 F30": "feed 1 0 5 F60, feed 1 1 5 F20, feed 1 1 1 F30",
    "G38.2 Z-1\nG0 X1": "probe 0 0 -1 F60, rapid 1 0 ?",
    "G38.2 X3 Y0\nG0 Z6": "probe 3 0 5 F60, rapid ? 0 6",
    "G38.2 Z-1\nG91\nG0 Z1\nG38.2 Z-2\nG90\nG0 Z5": (
        "probe 0 0 -1 F60, rapid 0 0 ? by 0 0 1, probe 0 0 ? F60 by 0 0 -2, rapid 0 0 5"
    ),
    "G38.2 Z-1\nG91\nG0 X1": "probe 0 0 -1 F60, rapid 1 0 ?",
    "G38.2 Z-1\nG91\nG0 X1 Z1": "probe 0 0 -1 F60, rapid 1 0 ?",
    "G38.2 Z-1\nG91\nG20\nG0 Z1\nG90\nG21": "probe 0 0 -1 F60, rapid 0 0 ? by 0 0 25.4",
    "G38.2 Z-1\nG91\nG0 Z1\nG0 X1": "probe 0 0 -1 F60, rapid 0 0 ? by 0 0 1, rapid 1 0 ?",
    "G38.2 Z-1\nG91\nG0 Z1\nG38.2 Z-.254": (
        "probe 0 0 -1 F60, rapid 0 0 ? by 0 0 1, probe 0 0 ? F60 by 0 0 -0.254"
    ),
    "M0 (MSG, change to vee, T2: a. b)\nG0 X1": "rapid 1 ? ?",
    "M0 (look)\nG0 X1": "rapid 1 0 5",
    "X1": "rapid 1 0 5",
    "G0 X1\nG80\nG0 Y1": "rapid 1 0 5, rapid 1 1 5",
    "G80\nG4 P1\nG0 Y2": "rapid 0 2 5",
    "G81 X1 Z-1 R1\nG81 X2": (
        "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F60, rapid 1 0 5, rapid 2 0 5, rapid 2 0 1, "
        "feed 2 0 -1 F60, rapid 2 0 5"
    ),
    "G20\nG83 X1 Y1 Z-.1 R.1 Q.15": (
        "rapid 25.4 25.4 5, rapid 25.4 25.4 2.54, feed 25.4 25.4 -1.27 F60, "
        "rapid 25.4 25.4 2.54, rapid 25.4 25.4 -1.016, feed 25.4 25.4 -2.54 F60, "
        "rapid 25.4 25.4 5"
    ),
    "G91 G20\nG81 X1 Y.5 Z-.1 R-.1": (
        "rapid 25.4 12.7 5, rapid 25.4 12.7 2.46, feed 25.4 12.7 -0.08 F60, rapid 25.4 12.7 5"
    ),
    "G91 G81 Z-3 R-4": "rapid 0 0 5, rapid 0 0 1, feed 0 0 -2 F60, rapid 0 0 5",
    "G91 G81 Y1 Z-3 R-4": "rapid 0 1 5, rapid 0 1 1, feed 0 1 -2 F60, rapid 0 1 5",
    "G91 G81 X1 Z-3 R-4": "rapid 1 0 5, rapid 1 0 1, feed 1 0 -2 F60, rapid 1 0 5",
    "G91 G20\nG1 Z.1": "feed 0 0 7.54 F60",
    "G20\nG3 X0 Y2 J1": "ccw 0 50.8 5 @ 0 25.4 F60",
    "G2 X1 Y1 R.8": "cw 1 1 5 @ 0.764575 0.235425 F60",
    "F.5\nG1 X1": "feed 1 0 5 F0.5",
    "F.5\nG81 X1 Z-1 R1": "rapid 1 0 5, rapid 1 0 1, feed 1 0 -1 F0.5, rapid 1 0 5",
    "G38.2 X3\nG0 Y1": "probe 3 0 5 F60, rapid ? 1 5",
    "G38.2 Y3\nG0 X1": "probe 0 3 5 F60, rapid 1 ? 5",
    "G1 X1\nG38.2 Z-1\nG0 X2": "feed 1 0 5 F60, probe 1 0 -1 F60, rapid 2 0 ?",
    "G38.2 X3\nG91\nG0 Z1": "probe 3 0 5 F60, rapid ? 0 6",
    "G38.2 Z-1\nG91\nG0 Y1": "probe 0 0 -1 F60, rapid 0 1 ?",
}  # fmt: skip
"""From X0 Y0 Z5: lines, and the moves they make, each with its end, @ centre, feed, by."""


def spelt(move: TraceMove) -> str:
    def place(values: Place | tuple[float, float]) -> str:
        return " ".join("?" if math.isnan(v) else f"{round(v, 6) + 0.0:g}" for v in values)

    words = [move.kind.removeprefix("arc_"), place(move.end)]
    words += ["@", place(move.centre)] if move.centre else []
    words += [] if move.feed is None else [f"F{move.feed:g}"]
    return " ".join([*words, *(["by", place(move.by)] if move.by else [])])


def after_head(lines: str) -> Trace:
    return read(f"{HEAD}{lines}\nM2\n", file="a")


@pytest.mark.parametrize("lines", MOVES)
def test_moves_are_those_of_the_report(lines: str) -> None:
    trace = after_head(lines)
    assert ", ".join(spelt(move) for move in trace.moves[1:]) == MOVES[lines]
    assert trace.moves[1].start == (0.0, 0.0, 5.0) or "M0" in lines


def test_the_lines_of_cycles_and_their_dwells_are_kept() -> None:
    trace = after_head("G82 X1 Z-1 R1 P1.5\nX2\nX3 P0\nG80\nG0 X0\nG4 P.5")
    assert trace.cycles == (3, 4, 5)
    assert [move.line for move in trace.moves] == [2, *[3] * 4, *[4] * 4, *[5] * 4, 7]
    assert trace.dwells == ((4, 3, 1.5), (8, 4, 1.5), (12, 5, 0.0), (14, 8, 0.5))


def test_what_a_program_relies_on_without_a_word_for_it() -> None:
    """What M2 leaves, 3.6.1, in force until a word says otherwise."""
    plain = "G21\nG0 X0 Y0 Z5\n"
    for lines, relied in (
        ("G0 X1", ("G90",)),
        ("G1 X1 F9", ("G90", "G94")),
        ("G2 X1 Y1 I1 F9", ("G17", "G90", "G94")),
        ("G81 X1 Z-1 R1 F9", ("G90", "G94", "G99")),
        ("G4 P1", ("G90",)),
    ):
        assert read(f"{plain}{lines}\nM2\n", file="a").assumed == relied
        said = f"G17 G90 G94 G98 {plain}{lines}\nM2\n"
        assert read(said, file="a").assumed == ()
    # without a motion word G1 is in force
    assert spelt(read("G21 G90 G94 F9\nX1\nM2\n", file="a").moves[0]) == "feed 1 ? ? F9"


def test_a_dwell_of_a_cycle_is_in_the_machine_s_unit() -> None:
    words = f"{HEAD}G82 X1 Z-1 R1 P1500\nG80\nM2\n"
    in_ms = Dialect(dwell_unit="ms", cycles=True)
    assert read(words, file="a", dialect=in_ms).dwells[0].seconds == 1.5
    assert read(words, file="a", dialect=replace(in_ms, dwell_unit="s")).dwells[0].seconds == 1500
