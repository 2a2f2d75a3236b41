"""Rules of probing a surface: what a touch from above may do, and every way to spoil it."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.finding import Finding, Refusal
from millprep.verify import motion, reader
from millprep.verify.motion_context import table
from millprep.verify.probing import grid_fault
from tests.helpers.programs import BLANK, LOOK, MACHINE, PASS, vee

COPPER = shapely.box(1, 1, 59, 39)
HEAD = f"G17 G21 G40 G49 G54 G61 G80 G90 G94\n{LOOK}"


def touch(x: float, y: float) -> str:
    again = "G91\nG0 Z.5\nG38.2 Z-1. F30.\nG90\n"
    return f"G0 X{x} Y{y}\nG38.2 Z-1. F100.\n{again}G0 Z2.\n"


TOUCHES = "".join(touch(x, y) for y in (5.0, 20.0, 35.0) for x in (5.0, 30.0, 55.0))
GOOD = f"{HEAD}{TOUCHES}G0 Z30.\nM2\n"


def check(text: str) -> tuple[Finding, ...]:
    return motion.check(
        reader.read(text, file="p.ngc"), cutter=vee(), machine=MACHINE, clamps=(), mill_pass=PASS,
        blank=BLANK, spoilboard=6.0, file="p.ngc", at=(1.0, 1.0), touching=COPPER,
    )  # fmt: skip


def test_a_grid_of_touches_is_taken() -> None:
    assert check(GOOD) == ()


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ("M5\n", "M3 S8000\n", "probe-spindle-on", 2),
        ("M5\n", "T2 M6\n", "second-cutter", 2),
        ("Z-1. F100.", "Z-1. F130.", "probe-too-fast", 9),
        ("F30.", "F60.", "probe-too-fast", 12),
        # a fast touch alone
        ("G91\nG0 Z.5\nG38.2 Z-1. F30.\nG90\n", "", "probe-too-fast", 9),
        # down to a low height without probing, at feed or at rapid
        ("G38.2 Z-1. F100.", "G1 Z1. F60.\nG38.2 Z-1. F100.", "probe-low", 9),
        ("G38.2 Z-1. F100.", "G1 Z1. F60.\nG38.2 Z-1. F100.", "probe-height", 10),
        ("G38.2 Z-1. F100.", "G0 Z1.\nG38.2 Z-1. F100.", "probe-low", 9),
        ("G38.2 Z-1. F100.", "G38.2 X6. Z-1. F100.", "probe-height", 9),
        ("G38.2 Z-1. F100.", "G38.2 Z.2 F100.", "probe-height", 9),
        ("G38.2 Z-1. F100.", "G38.2 Z-1.7 F100.", "probe-too-deep", 9),
        ("G38.2 Z-1. F100.", "G1 Z-1. F100.", "probe-low", 9),
        # up by too much, down by more than it went up, down at feed, sideways
        ("G0 Z.5\n", "G0 Z2.5\n", "probe-low", 11),
        ("G38.2 Z-1. F30.", "G38.2 Z-1.6 F30.", "probe-height", 12),
        ("G0 Z.5\n", "G0 Z-.5\n", "probe-low", 11),
        ("G0 Z.5\n", "G1 Z.5\n", "probe-low", 11),
        ("G90\nG0 Z2.", "G90\nG1 X6. F60.\nG0 Z2.", "probe-low", 14),
        ("G0 X5.0 Y5.0", "G0 X.5 Y5.0", "probe-off-copper", 9),
    ],
)
def test_a_spoilt_touch_is_refused(old: str, new: str, code: str, line: int) -> None:
    assert old in GOOD
    findings = check(GOOD.replace(old, new, 1))
    assert (code, line) in {(finding.code, finding.line) for finding in findings}
    assert all(finding.severity == "stop" for finding in findings)


def test_only_up_and_down_is_counted_from_a_touch() -> None:
    with pytest.raises(Refusal, match="unknown place"):
        check(GOOD.replace("G0 Z.5\n", "G0 X1. Z.5\n", 1))
    with pytest.raises(Refusal, match="unknown place"):
        check(HEAD.replace("G0 Z30.\n", "G91\nG0 Z30.\n") + "M2\n")
    with pytest.raises(Refusal, match="at an unknown distance"):
        check(GOOD.replace("G90\nG0 Z2.\n", "G90\n", 1))
    with pytest.raises(Refusal, match=r"0\.100 mm away"):
        check(GOOD.replace("G38.2 Z-1. F30.", "G38.2 Z-.1 F30.", 1))


def test_the_grid_is_whole_and_encloses_the_cuts() -> None:
    inside = shapely.box(6, 6, 54, 34)
    whole = reader.read(GOOD, file="p.ngc")
    assert grid_fault(whole, inside, (1.0, 1.0), "p.ngc") is None
    beyond = grid_fault(whole, shapely.box(4, 6, 54, 34), (1.0, 1.0), "p.ngc")
    assert beyond is not None
    assert "do not enclose" in beyond.message
    less = reader.read(GOOD.replace(touch(30.0, 20.0), "", 1), file="p.ngc")
    hole = grid_fault(less, inside, (1.0, 1.0), "p.ngc")
    assert hole is not None
    assert hole.code == "probe-grid"


def test_without_a_look_at_zero_every_move_down_must_feel_its_way() -> None:
    found = check(GOOD.replace("G1 Z1. F100.\nM0 (look: 1 mm)\nG0 Z2.\n", "", 1))
    assert {finding.code for finding in found} == {"zero-not-shown"}


def test_a_touch_that_ends_a_program_is_taken_to_reach_its_target() -> None:
    last = f"{HEAD}G0 X5. Y5.\nG38.2 Z-1. F50.\nM2\n"
    columns = table(reader.read(last, file="p.ngc"))
    assert columns.end[-1].tolist() == [5.0, 5.0, -1.0]
    assert [finding.code for finding in check(last)] == ["ends-low"]
