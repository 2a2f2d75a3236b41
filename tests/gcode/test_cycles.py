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
    told = with_cycles(drilled((10, 20, 3.5)), START, drill(1.0), TOP, 4)
    cycle = next(m.cycle for m in told if m.cycle)
    assert cycle.peck == 1.0001, "four pecks of 1 mm would just reach"
    assert sum(m.motion == "feed" for m in told) == 4


@pytest.mark.law
@given(st.floats(0.3, 3.0), st.floats(3.05, 9.0), st.integers(3, 6))
def test_no_peck_is_deeper_than_the_drill_is_wide(
    diameter: float, ratio: float, decimals: int
) -> None:
    depth = round(diameter * ratio, decimals)
    told = with_cycles(
        drilled((10, 20, depth), diameter=diameter), START, drill(diameter), TOP, decimals
    )
    at = MACHINE.approach
    for m in told:
        if m.motion == "feed":
            assert at - m.z <= diameter + 0.2540001 + 10**-decimals
        at = m.z
    assert min(m.z for m in told) == -depth
    peck = next(m.cycle.peck for m in told if m.cycle)
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
