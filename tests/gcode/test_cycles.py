from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode import moves
from millprep.gcode.post_processor import post_processed, with_cycles
from millprep.model.cut import HoleCut
from millprep.model.dialect import Dialect
from millprep.model.program import Move
from tests.helpers.gcode_trail import START, pen, program, written
from tests.helpers.workshop import MACHINE, drill, mill

CYCLES = replace(MACHINE, dialect=Dialect(cycles=True))
TOP = MACHINE.clearance


def drilled(*cuts: tuple[float, float, float], diameter: float = 1.0) -> list[Move]:
    one = pen(drill(diameter))
    for x, y, depth in cuts:
        moves.hole(one, HoleCut((x, y), diameter, "drill", depth, "drill", 0, "h"))
    one.over(*START[:2])
    return one.moves


def lines_of(told: list[Move], diameter: float = 1.0) -> list[str]:
    text, _ = written(
        post_processed(program(told, drill(diameter), works=("drill",)), CYCLES), machine=CYCLES
    )
    return [line for line in text.splitlines() if line.startswith(("G9", "G8", "G0", "G1"))]


def test_a_hole_is_one_line_and_the_cycle_is_cancelled_before_anything_else() -> None:
    assert lines_of(drilled((10, 20, 2.0), (30, 20, 2.0))) == [
        "G0 Z40.0000",
        "G0 X5.0000 Y5.0000",
        "G1 Z5.0000 F600.0000",
        "G1 Z1.0000 F240.0000",
        "G0 Z2.5000",
        "G98 G81 X10.0000 Y20.0000 Z-2.0000 R0.5000 F100.0000",
        "G98 G81 X30.0000 Y20.0000 Z-2.0000 R0.5000",
        "G80",
        "G0 X5.0000 Y5.0000",
        "G0 Z40.0000",
    ]


def test_a_deep_hole_is_pecked() -> None:
    (line,) = [line for line in lines_of(drilled((10, 20, 4.0))) if "G8" in line and "X" in line]
    # 4.5 mm from R to the floor are five pecks of 1 mm at most
    assert line == "G98 G83 X10.0000 Y20.0000 Z-4.0000 R0.5000 Q0.9001 F100.0000"


def test_a_last_peck_is_never_of_no_length() -> None:
    result = with_cycles(drilled((10, 20, 3.5)), START, drill(1.0), TOP, 4)
    cycle = next(m.cycle for m in result if m.cycle)
    assert cycle.peck == 1.0001, "four pecks of 1 mm would just reach"
    assert sum(m.motion == "feed" for m in result) == 4


@pytest.mark.law
@given(st.floats(0.3, 3.0), st.floats(3.05, 9.0), st.integers(3, 6))
def test_no_peck_is_deeper_than_the_drill_is_wide(
    diameter: float, ratio: float, decimals: int
) -> None:
    depth = round(diameter * ratio, decimals)
    result = with_cycles(
        drilled((10, 20, depth), diameter=diameter), START, drill(diameter), TOP, decimals
    )
    at = MACHINE.approach
    for m in result:
        if m.motion == "feed":
            assert at - m.z <= diameter + 0.2540001 + 10**-decimals
        at = m.z
    assert min(m.z for m in result) == -depth
    peck = next(m.cycle.peck for m in result if m.cycle)
    assert peck <= diameter + 2 * 10**-decimals


def test_what_is_no_straight_hole_stays_as_it_is() -> None:
    one = pen(mill(2.0))
    moves.hole(one, HoleCut((10, 20), 3.0, "mill", 2.0, "bore", 0, "h"))
    bored = program(one.moves, mill(2.0), works=("bore",))
    assert post_processed(bored, CYCLES) is bored
    # a look down that waits is no hole
    looked = pen(drill(1.0))
    moves.look(looked, (10.0, 20.0))
    assert with_cycles(looked.moves, START, drill(1.0), TOP, 4) == looked.moves


STROKES: dict[str, tuple[float, str, str]] = {
    # z before the moves; the moves, r for rapid and f for feed; cycles that come of them
    "one stroke from the approach height": (TOP, "r.5 f-1 r2.5", "R0.5 Z-1"),
    "one from clearance": (TOP, "f-1 r2.5", "R2.5 Z-1"),
    "two strokes to one approach height": (TOP, "r.5 f-1 r2.5 r.5 f-2 r2.5", "R0.5 Z-2"),
    "two that begin to feed at two heights": (
        TOP, "r.5 f-1 r2.5 r.4 f-2 r2.5", "R0.5 Z-1, R0.4 Z-2",
    ),
    "withdrawn to the approach height": (TOP, "r.5 f-1 r.5 f-2 r2.5", "R0.5 Z-2"),
    "withdrawn to within the hole": (TOP, "r.5 f-1 r-.5 f-2 r2.5", ""),
    "no deeper with the second stroke": (TOP, "r.5 f-1 r2.5 r.5 f-1 r2.5", "R0.5 Z-1"),
    "not from clearance": (1.0, "r.5 f-1 r2.5", ""),
    "never up again": (TOP, "r.5 f-1", ""),
    "ends at the approach height": (TOP, "r.5 f-1 r.5", ""),
    "up at feed": (TOP, "r.5 f-1 f2.5", ""),
}  # fmt: skip


@pytest.mark.parametrize("name", STROKES)
def test_strokes_of_a_drill_are_a_cycle_where_one_makes_the_same_hole(name: str) -> None:
    z, words, expected = STROKES[name]
    result = [
        Move("rapid" if word[0] == "r" else "feed", 10.0, 20.0, float(word[1:]),
             feed=None if word[0] == "r" else 60.0)
        for word in words.split()
    ]  # fmt: skip
    made = with_cycles(result, (10.0, 20.0, z), drill(3.0), TOP, 4)
    cycles = list(dict.fromkeys(m.cycle for m in made if m.cycle))
    assert ", ".join(f"R{c.r:g} Z{c.z:g}" for c in cycles) == expected
    assert [m for m in made if not m.cycle] == ([] if expected else result)
    assert all(m[1:3] == (10.0, 20.0) for m in made)


def test_a_way_across_at_clearance_becomes_the_cycle_s_own_and_any_other_stays() -> None:
    hole = [Move("feed", 10.0, 20.0, -1.0, feed=60.0), Move("rapid", 10.0, 20.0, TOP)]
    across, up = Move("rapid", 10.0, 20.0, TOP), Move("feed", 10.0, 20.0, TOP, feed=60.0)
    for before, kept in (([across], []), ([up], [up]), ([], [])):
        made = with_cycles([*before, *hole], (10.0, 20.0, TOP), drill(1.0), TOP, 4)
        assert [m for m in made if not m.cycle] == kept
        assert [m.motion for m in made if m.cycle] == ["rapid", "feed", "rapid"]


def test_the_table_has_a_row_for_every_motion_of_a_cycle() -> None:
    made = post_processed(program(drilled((5, 5, 2.0)), drill(1.0), works=("drill",)), CYCLES)
    text, table = written(made, machine=CYCLES)
    line = 1 + next(n for n, words in enumerate(text.splitlines()) if "G81" in words)
    rows = [row.split(",")[4:8] for row in table.splitlines() if row.split(",")[3] == str(line)]
    assert rows == [
        ["rapid", "5.0000", "5.0000", "2.5000"], ["rapid", "5.0000", "5.0000", "0.5000"],
        ["feed", "5.0000", "5.0000", "-2.0000"], ["rapid", "5.0000", "5.0000", "2.5000"],
    ]  # fmt: skip
