"""A file of several cutters, taken apart; every part is held against the set by its cutter."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from millprep.model.cutter import Cutter
from millprep.model.dialect import Dialect
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.cutter_changes import programs_of_file, requested_cutter, split_by_cutter
from millprep.verify.reader import read
from tests.helpers.programs import MACHINE, drill, end_mill, vee

VEE, DRILL, MILL = vee(), drill(), end_mill(2.0)
CUTTERS = (VEE, DRILL, MILL)
PAUSE = replace(MACHINE, tool_change="pause")
CHANGER = replace(MACHINE, tool_change="changer")
HAND = replace(PAUSE, spindle="hand")
HEAD = "G17 G21 G40 G49 G54 G80 G90 G94\n"
CUT = "G0 Z2.\nM3 S10000\nG4 P2.\nG0 X1. Y1.\nG0 X9. Y9.\nG1 Z-0.1 F60.\nG0 Z2.\nG0 X1. Y1.\nM5\n"


def change(cutter: Cutter, number: int | None = None) -> str:
    tool = "" if number is None else f", T{number}"
    m6 = "" if number is None else f"T{number} M6\n"
    return (
        f"(part 2)\n(cutter {cutter.name}: words)\nG0 Z30.\n{m6}"
        f"(MSG, change to {cutter.name}{tool}: words. Set Z zero with it)\nM0\n{HEAD}"
    )


def programs(*cutters: Cutter) -> list[Program]:
    return [
        Program(
            file="blank-1/pass-1/01-isolate-to-drill.ngc", blank=1, mill_pass=1, cutter=cutter,
            works=("isolate",), depth=0.1, spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
        )
        for cutter in cutters
    ]  # fmt: skip


TWO = f"(cutter {VEE.name}: words)\n{HEAD}{CUT}{change(DRILL)}{CUT}M2\n"


def codes(text: str, *cutters: Cutter, machine: Machine = PAUSE) -> list[tuple[str, int | None]]:
    trace = read(text, file="one.ngc")
    found = programs_of_file(trace, programs(*cutters), CUTTERS, machine)
    return [(f.code, f.line) for f in found.findings]


def test_words_at_a_stop_ask_for_a_cutter() -> None:
    assert requested_cutter("MSG, change to vee-30, T2: vee. Set Z") == "vee-30"
    assert requested_cutter("change to mill: end mill, 2 mm") == "mill"
    for words in ("MSG, start the spindle", "change to: x", "MSG, r1 left: change to that: x", ""):
        assert requested_cutter(words) is None


def test_a_file_is_taken_apart_at_the_stops_that_ask_for_a_cutter() -> None:
    trace = read(TWO, file="one.ngc")
    one, two = split_by_cutter(trace)
    assert (one.cutter, two.cutter) == (VEE.name, DRILL.name)
    assert len(one.trace.moves) + len(two.trace.moves) == len(trace.moves)
    assert [e.on for e in one.trace.spindle] == [e.on for e in two.trace.spindle] == [True, False]
    assert [d.before for d in two.trace.dwells] == [1]
    assert one.trace.stops == two.trace.stops == ()
    assert two.first == one.trace.last_line + 1
    # where the next one starts no word has told: a person has moved it
    assert all(map(math.isnan, two.trace.moves[0].start))
    assert two.trace.moves[0].end[2] == 2.0


def test_good_files_have_no_findings() -> None:
    assert codes(TWO, VEE, DRILL) == []
    one = f"(cutter {VEE.name}: words)\n{HEAD}{CUT}M2\n"
    assert codes(one, VEE, machine=MACHINE) == []
    changed = f"(cutter {VEE.name}: x)\n{change(VEE, 1)}{CUT}{change(DRILL, 2)}{CUT}M2\n"
    changed = changed.replace("G0 Z30.\n", "", 1).replace("(part", HEAD + "(part", 1)
    assert codes(changed, VEE, DRILL, machine=CHANGER) == []


@pytest.mark.parametrize(
    ("cutters", "line"),
    [((DRILL, VEE), 1), ((VEE, MILL), 16), ((VEE,), 17), ((VEE, DRILL, MILL), 17)],
)
def test_another_order_or_number_of_cutters_is_found(
    cutters: tuple[Cutter, ...], line: int
) -> None:
    assert ("cutter-differs", line) in codes(TWO, *cutters)


def test_a_file_that_names_no_cutter_is_found() -> None:
    bare = f"{HEAD}{CUT}M2\n"
    assert codes(bare, VEE, machine=MACHINE) == [("cutter-differs", 1)]
    silent = replace(MACHINE, dialect=Dialect(comments="none"))
    assert codes(bare, VEE, machine=silent) == []


def test_every_part_is_cut_with_the_cutter_that_the_file_names() -> None:
    found = programs_of_file(read(TWO, file="one.ngc"), programs(DRILL, MILL), CUTTERS, PAUSE)
    assert [p.cutter for p in found.programs] == [VEE, DRILL]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("M5\n(part", "(part"),  # it still turns
        ("G0 Z30.\n", "G0 Z1.\n"),  # low
        ("G0 Z30.\n", "G0 Z30.\nG0 X5.\n"),  # elsewhere
    ],
)
def test_a_cutter_that_is_left_unsafely_is_found(old: str, new: str) -> None:
    assert TWO.count(old) == 1
    (one,) = codes(TWO.replace(old, new), VEE, DRILL)
    assert one[0] == "change-unsafe"


def test_a_spindle_switched_by_hand_must_be_stopped_first() -> None:
    by_hand = CUT.replace("M3 S10000\nG4 P2.\n", "(start it)\nM0\n")
    good = f"(cutter {VEE.name}: x)\n{HEAD}" + by_hand.replace("M5", "(stop it)\nM0")
    rest = f"{change(DRILL)}{by_hand}M2\n"
    assert codes(good + rest, VEE, DRILL, machine=HAND) == []
    bad = good.replace("(stop it)\nM0\n", "")
    assert [code for code, _ in codes(bad + rest, VEE, DRILL, machine=HAND)] == ["change-unsafe"]


def test_a_wrong_number_before_m6_is_found() -> None:
    text = f"(cutter {VEE.name}: x)\n{HEAD}{change(VEE, 1)}{CUT}{change(DRILL, 2)}{CUT}M2\n"
    text = text.replace("G0 Z30.\n", "", 1)
    assert codes(text, VEE, DRILL, machine=CHANGER) == []
    wrong = codes(text.replace("T2 M6", "T3 M6"), VEE, DRILL, machine=CHANGER)
    assert [code for code, _ in wrong] == ["cutter-differs"]
    none = codes(text.replace("T2 M6\n", ""), VEE, DRILL, machine=CHANGER)
    assert [code for code, _ in none] == ["cutter-differs"]
    assert {code for code, _ in codes(text, VEE, DRILL)} == {"change-unexpected"}


def test_a_cutter_that_is_asked_for_and_never_cuts_is_a_part_of_its_own() -> None:
    twice = TWO.replace("M0\n", f"M0\n(change to {MILL.name}: words)\nM0\n", 1)
    parts = split_by_cutter(read(twice, file="one.ngc"))
    assert [part.cutter for part in parts] == [VEE.name, DRILL.name, MILL.name]
    assert [len(part.trace.moves) for part in parts][1] == 0
    assert codes(twice, VEE, MILL) == [("cutter-differs", 19), ("cutter-differs", 16)]
