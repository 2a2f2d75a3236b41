"""Rules of probing a surface: what a touch from above may do, and every way to spoil it."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.finding import Finding
from millprep.verify import motion, reader
from millprep.verify.probing import grid_fault
from tests.helpers.programs import BLANK, MACHINE, PASS, vee

COPPER = shapely.box(1, 1, 59, 39)
HEAD = "G17 G21 G40 G49 G54 G80 G90 G94\nG0 Z2.\nM5\n"


def touch(x: float, y: float) -> str:
    return f"G0 X{x} Y{y}\nG1 Z1. F60.\nG38.2 Z-1. F30.\nG0 Z2.\n"


GOOD = HEAD + "".join(touch(x, y) for y in (5.0, 20.0, 35.0) for x in (5.0, 30.0, 55.0)) + "M2\n"


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
        ("M5\n", "M3 S8000\n", "probe-spindle-on", 3),
        ("M5\n", "T2 M6\n", "second-cutter", 3),
        ("F30.", "F130.", "probe-too-fast", 6),
        ("G1 Z1. F60.", "G1 Z.1 F60.", "probe-low", 5),
        ("G1 Z1. F60.", "G1 Z.1 F60.", "probe-height", 6),
        ("G38.2 Z-1. F30.", "G38.2 X6. Z-1. F30.", "probe-height", 6),
        ("G38.2 Z-1. F30.", "G38.2 Z.2 F30.", "probe-height", 6),
        ("G38.2 Z-1. F30.", "G38.2 Z-1.7 F30.", "probe-too-deep", 6),
        ("G38.2 Z-1. F30.", "G1 Z-1. F30.", "probe-low", 6),
        ("G0 X5.0 Y5.0", "G0 X.5 Y5.0", "probe-off-copper", 6),
        ("Z-1. F30.\nG0 Z2.", "Z-1. F30.\nG1 X6. F60.\nG0 Z2.", "probe-low", 7),
        ("Z-1. F30.\nG0 Z2.\n", "Z-1. F30.\n", "rapid-low", 7),
    ],
)
def test_a_spoilt_touch_is_refused(old: str, new: str, code: str, line: int) -> None:
    assert old in GOOD
    told = check(GOOD.replace(old, new, 1))
    assert (code, line) in {(finding.code, finding.line) for finding in told}
    assert all(finding.severity == "stop" for finding in told)


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
