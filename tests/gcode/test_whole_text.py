"""Whole programs, line by line, with every kind of line that the writer has."""

from __future__ import annotations

import io
from dataclasses import replace

from millprep.gcode.rs274 import TextSink, run
from millprep.model.dialect import Dialect
from millprep.model.machine import Machine
from millprep.model.program import Cycle, Move, Program, SecondTouch
from tests.helpers.gcode_trail import START, program, written
from tests.helpers.workshop import MACHINE, drill, vee

PECKED = Cycle(40.0, 10.0, -2.0, 0.5, 0.6, 60.0, 2.5)
WHOLE = Cycle(50.0, 10.0, -2.0, 0.5, 0.0, 60.0, 2.5)
LAP = (
    Move("rapid", 20.0, 10.0, 2.5),
    Move("rapid", 20.0, 10.0, 0.5),
    Move("feed", 20.0, 10.0, -0.1, feed=100.0),
    Move("feed", 30.0, 10.0, -0.1, feed=400.0),
    Move("arc_ccw", 30.0, 20.0, -0.1, 0.0, 5.0, feed=400.0),
    Move("arc_cw", 25.0, 15.0, -0.1, 0.0, -5.0, feed=400.0, wait=1.5),
    Move("feed", 25.0, 15.00001, -0.1, feed=400.0),
    Move("rapid", 25.0, 15.0, 2.5, stop="look at the groove, then go on"),
)
HOLES = (
    Move("rapid", 40.0, 10.0, 2.5, cycle=PECKED),
    Move("feed", 40.0, 10.0, -2.0, feed=60.0, cycle=PECKED),
    Move("rapid", 50.0, 10.0, 2.5, cycle=WHOLE),
    Move("rapid", *START[:2], 2.5),
)
TOUCHES = (
    Move("rapid", 20.0, 10.0, 2.5),
    Move("probe", 20.0, 10.0, -1.0, feed=100.0, again=SecondTouch(0.5, 20.0)),
    Move("rapid", 20.0, 10.0, 2.5),
)


def text_of(machine: Machine, *programs: Program, numbers: dict[str, int] | None = None) -> str:
    """The file of some programs."""
    file = io.StringIO()
    sink = TextSink(file.write, "0123456789ab", "panel", machine, len(programs), numbers)
    for one in programs:
        sink.begin(one)
        for move in one.moves:
            sink.move(move)
        sink.end()
    assert sink.line == file.getvalue().count("\n")
    return file.getvalue()


DIALECT = Dialect(
    cycles=True, comments="semicolon", line_numbers=True, decimals=3, line_ends="crlf",
    dwell_unit="ms", percent=True, end="M30", start_lines=("M8",), end_lines=("M9",),
)  # fmt: skip
OTHER = replace(MACHINE, dialect=DIALECT, spindle="hand", tool_change="changer")
LONG = 90
"""Letters of a line that are compared; what comments say at length has tests of its own."""

PLAIN = """\
(job panel, set 0123456789ab)
(blank 1, pass 1, isolate)
(cutter vee: vee, tip 0.1 mm, 30 degrees included)
(fit vee, then set Z zero with it on the copper at X5.0000 Y5.0000)
(X and Y zero stay as they were set for this pass)
(first it comes down over the place of Z zero for a look, the spindle off: quickly to 5 mm
(deepest Z-0.1000, rapid moves across at Z2.5000, first and last move up to Z40.0000)
G21 G90 G17 G94 G40 G49 G80 G54
G61
M5
G0 Z40.0000
G0 X5.0000 Y5.0000
G1 Z5.0000 F600.0000
G1 Z1.0000 F240.0000
(MSG, look: the tip must be 1 mm above the copper. If it is not, stop the machine, go up a
M0
G0 Z2.5000
S18000.0000 M3
G4 P2.0
G0 X20.0000 Y10.0000
(restart point 1)
G0 Z0.5000
G1 Z-0.1000 F100.0000
G1 X30.0000 F400.0000
G3 X30.0000 Y20.0000 I0.0000 J5.0000
G2 X25.0000 Y15.0000 I0.0000 J-5.0000
G4 P1.5
G0 Z2.5000
(MSG, look at the groove, then go on)
M0
G0 Z40.0000
M5
M2
"""
"""Arcs, a wait, a stop, and a move that is shorter than the last digit."""

SPELT = """\
%
N2 ; job panel, set 0123456789ab
N3 ; blank 1, pass 1, part 1 of 2, isolate
N4 ; cutter vee: vee, tip 0.1 mm, 30 degrees included
N5 ; X and Y zero stay as they were set for this pass
N6 ; first it comes down over the place of Z zero for a look, the spindle off: quickly to
N7 ; deepest Z-0.100, rapid moves across at Z2.500, first and last move up to Z40.000
N8 M8
N9 G21 G90 G17 G94 G40 G49 G80 G54
N10 G61
N11 T3 M6
N12 ; change to vee, T3: vee, tip 0.1 mm, 30 degrees included. Set Z zero with it on the c
N13 M0
N14 G21 G90 G17 G94 G40 G49 G80 G54
N15 G61
N16 G0 Z40.000
N17 G0 X5.000 Y5.000
N18 G1 Z5.000 F600.000
N19 G1 Z1.000 F240.000
N20 ; look: the tip must be 1 mm above the copper. If it is not, stop the machine, go up a
N21 M0
N22 G0 Z2.500
N23 ; start the spindle at 18000 rpm, then go on
N24 M0
N25 G4 P2000.0
N26 G0 X20.000 Y10.000
N27 ; restart point 1
N28 G0 Z0.500
N29 G1 Z-0.100 F100.000
N30 G1 X30.000 F400.000
N31 G3 X30.000 Y20.000 I0.000 J5.000
N32 G2 X25.000 Y15.000 I0.000 J-5.000
N33 G4 P1500.0
N34 G0 Z2.500
N35 ; look at the groove, then go on
N36 M0
N37 G0 Z40.000
N38 ; stop the spindle
N39 M0
N40 ; blank 1, pass 1, part 2 of 2, drill
N41 ; cutter drill0.6: drill, 0.6 mm
N42 ; X and Y zero stay as they were set for this pass
N43 ; first it comes down over the place of Z zero for a look, the spindle off: quickly to
N44 ; deepest Z-2.000, rapid moves across at Z2.500, first and last move up to Z40.000
N45 T7 M6
N46 ; change to drill0.6, T7: drill, 0.6 mm. Set Z zero with it on the copper at X5.000 Y5
N47 M0
N48 G21 G90 G17 G94 G40 G49 G80 G54
N49 G61
N50 G0 Z40.000
N51 G0 X5.000 Y5.000
N52 G1 Z5.000 F600.000
N53 G1 Z1.000 F240.000
N54 ; look: the tip must be 1 mm above the copper. If it is not, stop the machine, go up a
N55 M0
N56 G0 Z2.500
N57 ; start the spindle at 18000 rpm, then go on
N58 M0
N59 G4 P2000.0
N60 ; restart point 2
N61 G98 G83 X40.000 Y10.000 Z-2.000 R0.500 Q0.600 F60.000
N62 ; restart point 3
N63 G98 G81 X50.000 Y10.000 Z-2.000 R0.500
N64 G80
N65 G0 X5.000 Y5.000
N66 G0 Z40.000
N67 ; stop the spindle
N68 M0
N69 M9
N70 M30
%
"""
"""Two cutters that the machine changes, in a dialect that differs in everything."""

TOUCHED = """\
S18000.0000 M3
G4 P2.0
G0 X20.0000 Y10.0000
(restart point 1)
G38.2 Z-1.0000 F100.0000
G91
G0 Z0.5000
G38.2 Z-1.0000 F20.0000
G90
G0 Z2.5000
G0 Z40.0000
M5
M2
"""
"""From the spindle's start on: a place is touched twice."""


def short(text: str, ending: str = "\n") -> str:
    """The text with its long lines cut."""
    return "\n".join(line[:LONG].rstrip() for line in text.split(ending))


def test_a_lap_in_plain_rs_274() -> None:
    assert short(text_of(MACHINE, program(LAP, vee()))) == PLAIN


def test_two_cutters_in_another_dialect() -> None:
    drilled = program(HOLES, drill(0.6), works=("drill",))
    numbers = {"vee": 3, "drill0.6": 7}
    assert short(text_of(OTHER, program(LAP, vee()), drilled, numbers=numbers), "\r\n") == SPELT


def test_a_place_that_is_touched_twice() -> None:
    text = text_of(MACHINE, program(TOUCHES, vee()))
    assert text[text.index("S18000") :] == TOUCHED


def test_the_table_of_a_program_knows_its_first_and_last_lines() -> None:
    lines: list[str] = []
    sink = TextSink(lines.append, "0123456789ab", "panel", MACHINE)
    run(program(LAP, vee()), sink)
    said = [lines[line - 1].strip() for line, _ in sink.opening]
    assert said[0] == "G0 Z40.0000"
    assert said[-1] == "G0 Z2.5000"
    assert sink.closing is not None
    assert lines[sink.closing[0] - 1] == "G0 Z40.0000\n"


def test_a_short_dwell_is_a_dwell_and_none_is_no_line() -> None:
    lap = (*LAP[:5], LAP[5]._replace(wait=0.4), *LAP[6:])
    half = text_of(replace(MACHINE, dwell=0.5), program(lap, vee()))
    assert [line for line in half.split("\n") if line.startswith("G4")] == ["G4 P0.5", "G4 P0.4"]
    none = text_of(replace(MACHINE, dwell=0.0), program(LAP, vee()))
    assert [line for line in none.split("\n") if line.startswith("G4")] == ["G4 P1.5"]


def test_a_program_whose_spindle_stays_off_has_no_restart_point() -> None:
    text = text_of(MACHINE, replace(program(TOUCHES, vee()), spins=False))
    assert "(the spindle stays off)\nM5\nG0 Z40.0000\n" in text
    assert "M3" not in text
    assert "restart point" not in text
    assert text.endswith("G0 Z2.5000\nG0 Z40.0000\nM2\n")


def test_a_cut_that_the_cutter_came_across_to_by_two_rapids_is_a_restart_point() -> None:
    up = Move("rapid", 20.0, 10.0, 5.0)
    text = text_of(MACHINE, program((LAP[0], up, *LAP[1:]), vee()))
    assert "G0 Z5.0000\n(restart point 1)\nG0 Z0.5000\n" in text


def test_the_spindle_starts_after_the_look_though_no_line_leads_up_from_it() -> None:
    low = replace(MACHINE, clearance=1.0)
    lines: list[str] = []
    sink = TextSink(lines.append, "0123456789ab", "panel", low)
    sink.begin(program(LAP, vee(), start=(*START[:2], 1.0)))
    assert [lines[line - 1].split()[:2] for line, _ in sink.opening] == [
        ["G0", "Z40.0000"], ["G0", "X5.0000"], ["G1", "Z5.0000"], ["G1", "Z1.0000"]
    ]  # fmt: skip
    assert lines[-3:] == ["M0\n", "S18000.0000 M3\n", "G4 P2.0\n"]


def test_a_machine_whose_path_mode_nobody_stated_is_left_in_its_own() -> None:
    text = text_of(replace(MACHINE, path_mode="unstated", acceleration=200.0), program(LAP, vee()))
    assert "G54\nM5\n" in text


def test_a_machine_that_stops_for_another_cutter_names_no_number() -> None:
    pause = replace(MACHINE, tool_change="pause")
    text = text_of(pause, program(LAP, vee()), program(HOLES, drill(0.6), works=("drill",)))
    assert text.count("(MSG, change to drill0.6: drill, 0.6 mm. Set Z zero with it on the") == 1
    assert "M6" not in text
    assert text.count("(fit vee, then set Z zero with it on the copper at X5.0000 Y5.0000)") == 1


def test_a_program_that_ends_at_the_top_has_no_line_up() -> None:
    high = replace(MACHINE, clearance=MACHINE.above)
    top = high.clearance
    lines: list[str] = []
    sink = TextSink(lines.append, "0123456789ab", "panel", high)
    down = Move("feed", 20.0, 10.0, -0.1, feed=100.0)
    way = (Move("rapid", 20.0, 10.0, top), down, Move("rapid", 20.0, 10.0, top))
    run(program(way, vee(), start=(*START[:2], top)), sink)
    assert sink.closing is None
    assert lines[-3:] == ["G0 Z40.0000\n", "M5\n", "M2\n"]


def test_a_first_cut_right_under_the_start_is_no_restart_point() -> None:
    """The cutter did not come across to it: the program itself begins there."""
    down = Move("feed", *START[:2], -0.1, feed=100.0)
    text = text_of(MACHINE, program((down, Move("rapid", *START)), vee()))
    assert "G4 P2.0\nG1 Z-0.1000 F100.0000\nG0 Z2.5000\nG0 Z40.0000\n" in text


def test_the_table_of_a_program_that_ends_at_the_top_has_no_row_more() -> None:
    high = replace(MACHINE, clearance=MACHINE.above)
    at_top = program((Move("rapid", 20.0, 10.0, 40.0),), vee(), start=(*START[:2], 40.0))
    _, table = written(at_top, machine=high)
    _, low = written(program((Move("rapid", 20.0, 10.0, 2.5),), vee()))
    assert low.count("\n") == table.count("\n") + 1
    assert table.endswith(",rapid,20.0000,10.0000,40.0000,,,\n")
