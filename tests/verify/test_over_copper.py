"""Programs seen from bent copper: written by hand, judged from its surface, spoilt every way."""

from __future__ import annotations

import math

import numpy as np
import pytest

from millprep.model.blank import Box, Clamp
from millprep.model.finding import Finding
from millprep.model.surface_map import SurfaceMap
from millprep.verify import motion, reader
from millprep.verify.over_copper import heights, over_flat_copper
from tests.helpers.programs import BLANK, HEAD, MACHINE, PASS, TAIL, end_mill, vee

X, Y = np.array([0.0, 20.0, 40.0, 60.0]), np.array([0.0, 20.0, 40.0])
TILT = SurfaceMap(X, Y, np.array([[0.01 * x for x in X] for _ in Y]))
"""Rises by 0.01 mm for each of x."""
TWIST = SurfaceMap(X, Y, np.array([[2e-4 * x * y for x in X] for y in Y]))


def program(*lines: str) -> str:
    return HEAD + "".join(f"{line}\n" for line in lines) + TAIL


def check(
    text: str, surface: SurfaceMap = TILT, *, clamps: tuple[Clamp, ...] = (), mill: bool = False
) -> list[Finding]:
    findings = motion.check(
        reader.read(text, file="p.ngc"), cutter=end_mill() if mill else vee(), machine=MACHINE,
        clamps=clamps, mill_pass=PASS, blank=BLANK, spoilboard=1.0, file="p.ngc", at=(1.0, 1.0),
        surface=surface,
    )  # fmt: skip
    return list(findings)


FOLLOWING = program(
    "G0 X10. Y10.", "G1 Z.02 F60.", "G1 X50. Z.42 F300.", "G3 X40. Y20. Z.32 I-10. J0.", "G0 Z2."
)


def test_what_follows_the_copper_is_level_seen_from_it() -> None:
    trace = reader.read(FOLLOWING, file="p.ngc")
    laid = over_flat_copper(trace, TILT, MACHINE.clearance)
    below = [m for m in laid.trace.moves if m.end[2] < 1.0]
    assert [m.end[2] for m in below] == pytest.approx([-0.08, -0.08, -0.08])
    assert not laid.lost.any()
    # the arc over tilted copper rises by a cosine, its z by a straight line
    line, arc = laid.off[-5:-3]
    assert line < 1e-9
    assert arc > 0.01
    assert "map-not-followed" in {f.code for f in check(FOLLOWING)}


def test_lines_over_a_tilt_are_taken() -> None:
    text = program("G0 X10. Y10.", "G1 Z.02 F60.", "G1 X50. Z.42 F300.", "G0 Z2.")
    assert check(text) == []


@pytest.mark.parametrize(
    ("surface", "lines", "code"),
    [
        (TWIST, ("G0 X10. Y10.", "G1 Z-.06 F60.", "G1 X50. Y30. Z.22 F300."), "map-not-followed"),
        (TILT, ("G0 X58. Y10.", "G1 Z.5 F60.", "G1 X62. Z.54 F300."), "map-left"),
        (TILT, ("G0 X10. Y10.", "G1 Z.02 F60.", "G0 X50. Z.42"), "rapid-low"),
        # within the board as it stands, and through what lies beneath where the copper is low
        (TILT, ("G0 X50. Y10.", "G1 Z-2.15 F60."), "too-deep"),
    ],
)
def test_faults_are_found(surface: SurfaceMap, lines: tuple[str, ...], code: str) -> None:
    found = check(program(*lines, "G0 Z2."), surface)
    assert code in {f.code for f in found}
    assert all(f.severity == "stop" for f in found)


def test_without_the_map_those_depths_would_pass() -> None:
    text = program("G0 X50. Y10.", "G1 Z-2.15 F60.", "G0 Z2.")
    findings = motion.check(
        reader.read(text, file="p.ngc"), cutter=end_mill(2.0), machine=MACHINE, clamps=(),
        mill_pass=PASS, blank=BLANK, spoilboard=1.0, file="p.ngc", at=(1.0, 1.0),
    )  # fmt: skip
    assert "too-deep" not in {f.code for f in findings}


def test_clamps_stand_on_the_copper_at_its_highest() -> None:
    text = program("G0 X10. Y10.", "G1 Z.02 F60.", "G1 X50. Z.42 F300.", "G0 Z2.")
    clamp = Clamp(Box(54.0, 30.0, 58.0, 38.0), 1.5, None)
    across = program("G0 X56. Y34.", "G0 X10. Y10.")
    assert check(text, clamps=(clamp,)) == []
    # rapids at 2 mm clear 1.5 mm, and not 1.5 on copper that is 0.6 high
    assert {f.code for f in check(across, clamps=(clamp,))} == {"rapid-over-clamp"}


def test_rapids_clear_the_highest_copper() -> None:
    high = SurfaceMap(X, Y, TILT.z + 1.0)
    assert "rapid-low" in {f.code for f in check(program("G0 X10. Y10."), high)}


def test_heights_are_unknown_beyond_the_map() -> None:
    found = heights(TILT, np.array([(60.0, 40.0), (60.1, 40.0), (10.0, -0.1), (np.nan, 0.0)]))
    assert np.isnan(found).tolist() == [False, True, True, True]
    assert found[0] == pytest.approx(0.6)


def test_a_spindle_that_stands_is_found_where_copper_is_high() -> None:
    """At z above zero the cutter is in the copper all the same."""
    text = program("G0 X50. Y10.", "G1 Z.42 F60.", "G0 Z2.").replace("M3 S10000\n", "M5\n")
    assert "spindle-off" in {f.code for f in check(text)}


def test_what_a_finding_says_of_a_map() -> None:
    left = check(program("G0 X58. Y10.", "G1 Z.5 F60.", "G1 X62. Z.54 F300.", "G0 Z2."))
    assert next(f.message for f in left if f.code == "map-left") == (
        "the cutter goes down where the surface map has no heights. Probe there as well."
    )
    lines = ("G0 X10. Y10.", "G1 Z-.06 F60.", "G1 X50. Y30. Z.22 F300.", "G0 Z2.")
    off = check(program(*lines), TWIST)
    assert next(f.message for f in off if f.code == "map-not-followed") == (
        "the move leaves the surface map by more than 0.002 mm between its ends."
    )


@pytest.mark.parametrize(("off", "good"), [(0.00195, True), (0.00205, True), (0.00215, False)])
def test_between_its_ends_a_move_leaves_the_map_by_a_little_and_one_digit(
    off: float, good: bool
) -> None:
    """Across a cell twisted by d, a straight move over L in x and in y is off by d·L²/4."""
    side = math.sqrt(4 * off / 2e-4)
    z = 2e-4 * side * side - 0.08
    text = program("G0 X0. Y0.", "G1 Z-.08 F60.", f"G1 X{side:.9f} Y{side:.9f} Z{z:.9f}", "G0 Z2.")
    assert {f.code for f in check(text, TWIST)} == (set() if good else {"map-not-followed"})


@pytest.mark.parametrize(("lift", "approach"), [(0.0, 1.1), (0.2, 1.3), (-0.9, 0.5)])
def test_rapids_go_down_to_above_the_copper_at_its_highest_and_at_zero(
    lift: float, approach: float
) -> None:
    surface = SurfaceMap(X, Y, TILT.z + lift)
    for z, expected in ((approach, set()), (approach - 0.001, {"rapid-plunge"})):
        text = program("G0 X10. Y10.", f"G0 Z{z:.4f}", f"G1 Z{lift + 0.02:.4f} F60.", "G0 Z2.")
        assert {f.code for f in check(text, surface)} == expected


def test_a_program_that_shows_no_zero_is_seen_from_the_copper_all_the_same() -> None:
    trace = reader.read("G21 G90 G94\nG0 X10. Y10. Z2.\nG1 Z.02 F60.\nM2\n", file="p.ngc")
    laid = over_flat_copper(trace, TILT, MACHINE.clearance)
    assert [m.end[2] for m in laid.trace.moves] == pytest.approx([2.0, -0.08])


def test_an_arc_that_leaves_the_map_between_its_ends_is_found() -> None:
    lines = ("G0 X50. Y1.", "G1 Z.42 F60.", "G3 X52. Y1. Z.44 I1. J0. F300.", "G0 Z2.")
    assert "map-not-followed" not in {f.code for f in check(program(*lines))}
    below = ("G0 X48. Y1.", "G1 Z.4 F60.", "G3 X54. Y1. Z.46 I3. J0. F300.", "G0 Z2.")
    assert "map-not-followed" in {f.code for f in check(program(*below))}
