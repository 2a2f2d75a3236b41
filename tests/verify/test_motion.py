"""Each rule of motion has a program that keeps it and one that breaks it."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Box, Clamp
from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.verify.motion import check
from millprep.verify.obstacles import once_per_clamp
from millprep.verify.reader import read
from tests.helpers.programs import (
    BLANK,
    HEAD,
    MACHINE,
    PASS,
    TAIL,
    cut,
    drill,
    end_mill,
    plunge,
    vee,
)

END = "G0 Z30.\nM5"
GOOD = HEAD + cut([(10, 10), (20, 10), (20, 20)]) + TAIL


def found(text: str, dialect: Dialect | None = None, **changes: Any) -> list[Finding]:
    setting: dict[str, Any] = {
        "cutter": vee(),
        "machine": MACHINE,
        "clamps": (),
        "mill_pass": PASS,
        "blank": BLANK,
        "spoilboard": 3.0,
        "file": "a.ngc",
    }
    return list(check(read(text, file="a.ngc", dialect=dialect), **(setting | changes)))


def codes(text: str, **changes: Any) -> set[str]:
    return {finding.code for finding in found(text, **changes)}


def test_a_good_program_has_no_findings() -> None:
    assert found(GOOD) == []
    assert found(HEAD + plunge(10, 10) + TAIL, cutter=drill()) == []


BAD = {
    "first-move": ("G0 Z30.\n", "G0 X1. Y1.\nG0 Z30.\n"),
    "rapid-low": ("G0 Z2.\nG0 Z2.\n", "G0 Z1.\nG0 X5. Y5.\nG0 Z2.\n"),
    "rapid-plunge": ("G1 Z-0.0800 F60.", "G0 Z0.4999\nG1 Z-0.0800 F60."),
    "spindle-off": ("M3 S10000\n", ""),
    "spindle-not-settled": ("G4 P2.", "G4 P1.9"),
    "spindle-backwards": ("M3", "M4"),
    "spindle-too-fast": ("S10000", "S12001"),
    "feed-too-fast": ("F300.", "F801."),
    "plunge-too-fast": ("F60.", "F201."),
    "outside-travel": ("G0 X10.0000 Y10.0000", "G0 X100.1 Y10.\nG0 X10. Y10."),
    "too-deep": ("Z-0.0800", "Z-4.61"),
    "off-blank": ("G1 X20.0000 Y20.0000", "G1 X60.01 Y20."),
    "ends-low": ("G0 Z30.\nM5\nM2", "G0 Z29.9\nM5\nM2"),
    "stop-low": ("G1 X20.0000 Y20.0000 F300.", "G1 X20.0000 Y20.0000 F300.\nM0 (look)"),
    "second-cutter": ("G0 Z30.\nM5", "T2 M6\nG0 X1. Y1.\nG0 Z30.\nM5"),
    "block-delete": ("G1 X20.0000 Y20.0000", "/G1 X20.0000 Y20.0000"),
    "state-assumed": ("G90 ", ""),
}


@pytest.mark.parametrize("code", BAD)
def test_a_program_that_breaks_a_rule(code: str) -> None:
    old, new = BAD[code]
    assert old in GOOD
    assert codes(GOOD.replace(old, new, 1)) == {code}


SAID: dict[str, tuple[str, tuple[float, float] | None, str]] = {
    "first-move": (
        "G0 X1. Y1.", (1.0, 1.0),
        "the first move must be G0 straight up to Z30, the top of the free travel: from an "
        "unknown height any other could go down.",
    ),
    "rapid-low": (
        "G0 X5. Y5.", (5.0, 5.0),
        "a rapid runs below the clearance of 2 mm, and is no hop: between two cuts, at 1 mm or "
        "above, off all pins. Go up first.",
    ),
    "rapid-plunge": (
        "G0 Z0.4999", (10.0, 10.0),
        "a rapid goes down below the approach height of 0.5 mm, or not from the height of travel. "
        "Use G1.",
    ),
    "spindle-off": (
        "G1 Z-0.0800 F60.", None,
        "the cutter reaches the copper with the spindle off. M3 and S come first.",
    ),
    "spindle-not-settled": (
        "G1 Z-0.0800 F60.", None,
        "the cutter reaches the copper 1.9 s after the spindle starts, required 2 s. Dwell with "
        "G4.",
    ),
    "spindle-backwards": ("M4 S10000", None, "M4 turns the cutter backwards. Use M3."),
    "spindle-too-fast": ("M3 S12001", None, "S12001 is above the spindle's 12000."),
    "feed-too-fast": (
        "G1 X20.0000 Y10.0000 F801.", (20.0, 10.0), "the feed is above the machine's 800 mm/min.",
    ),
    "plunge-too-fast": (
        "G1 Z-0.0800 F201.", (10.0, 10.0),
        "the cutter goes down faster than the machine's 200 mm/min.",
    ),
    "outside-travel": (
        "G0 X100.1 Y10.", (100.1, 10.0),
        "the move leaves what the machine reaches, X0 to 100, Y0 to 80.",
    ),
    "too-deep": (
        "G1 Z-4.61 F60.", (10.0, 10.0),
        "the tip goes below the spoilboard, 4.6 mm under the surface.",
    ),
    "off-blank": ("G1 X60.01 Y20. F300.", (60.01, 20.0), "the cutter works off the blank."),
    "ends-low": (
        "G0 Z29.9", (20.0, 20.0), "the program ends below Z30. Go up before the end.",
    ),
    "stop-low": ("M0 (look)", None, "the program stops with the cutter low. Go up first."),
    "second-cutter": (
        "T2 M6", None, "the cutter is changed after it has cut. One file has one cutter.",
    ),
    "block-delete": (
        "/G1 X20.0000 Y20.0000 F300.", None,
        "whether this line runs depends on the block delete switch of the machine.",
    ),
    "state-assumed": (
        "G17 G21 G40 G49 G54 G61 G80 G94", None,
        "the program relies on G90 without setting it. Set it at the start.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("code", BAD)
def test_a_broken_rule_is_named_where_it_is_broken(code: str) -> None:
    text = GOOD.replace(*BAD[code], 1)
    first = found(text)[0]
    line, at, message = SAID[code]
    assert first.line is not None
    assert text.split("\n")[first.line - 1] == line
    assert (first.at, first.message, first.file) == (at, message, "a.ngc")
    assert first.frame == (None if at is None else "machine")
    assert first.severity == ("warn" if code == "state-assumed" else "stop")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Z-0.0800", "Z-4.6"),
        ("F300.", "F800."),
        ("F60.", "F200."),
        ("S10000", "S12000"),
        ("G0 X10.0000 Y10.0000", "G0 X100. Y80.\nG0 X10. Y10."),
        ("G0 X10.0000 Y10.0000", "G0 X0. Y0.\nG0 X10. Y10."),
        ("G1 X20.0000 Y20.0000", "G1 X60. Y20."),
        ("G1 Z-0.0800 F60.", "G0 Z0.5\nG1 Z-0.0800 F60."),
        ("G0 Z2.\nG0 Z30.\nM5\nM2", "G0 Z30.\nM5\nM2"),
        # to the surface through air, at the feed of a cut
        ("G1 Z-0.0800 F60.", "G1 Z0. F800.\nG1 Z-0.0800 F60."),
        # down by 0.3 on a ramp of 0.5: 199.98 mm/min
        ("G1 Z-0.0800 F60.", "G1 Z0. F60.\nG1 X10.4 Z-0.3 F333.3"),
        # a rapid to where the cutter is already
        ("G1 Z-0.0800 F60.", "G1 Z-0.0800 F60.\nG0 X10."),
        # on the surface nothing is cut
        ("G1 Z-0.0800 F60.", "G1 Z0. F60.\nG1 X61. F300.\nG1 X10.\nG1 Z-0.0800 F60."),
        # ends just as far apart as an arc's may be
        ("G1 Z-0.0800 F60.", "G0 X0.\nG3 X0.001 I5. J0. F300.\nG0 X10.\nG1 Z-0.08 F60."),
    ],
)
def test_what_just_keeps_a_rule_is_good(old: str, new: str) -> None:
    assert old in GOOD
    assert found(GOOD.replace(old, new, 1)) == []


ALSO_BAD: dict[str, tuple[str, str, list[str]]] = {
    "first across": ("G0 Z30.\n", "G0 X1. Y1. Z30.\n", ["first-move"]),
    "first at feed": ("G0 Z30.\n", "G1 Z30. F100.\n", ["first-move"]),
    "first not to the top": ("G0 Z30.\n", "G0 Z29.9\nG0 Z30.\n", ["first-move"]),
    "first perhaps down": ("G0 Z30.\n", "G0 Z1.\nG0 Z30.\n", ["first-move", "rapid-low"]),
    "across at an unknown height": (
        "G0 Z30.\nG0 X1.", "G0 X3. Y1.\nG0 X2.\nG0 X1.", ["first-move", "rapid-low", "rapid-low"],
    ),
    "too fast down a ramp": (
        "G1 Z-0.0800 F60.", "G1 Z0. F60.\nG1 X10.4 Z-0.3 F333.4", ["plunge-too-fast"],
    ),
    "off the blank, and still there": (
        "G1 X20.0000 Y20.0000 F300.", "G1 X61. Y20. F300.\nG1 X61.", ["off-blank", "off-blank"],
    ),
    "off the blank while it rises": (
        "G1 X20.0000 Y20.0000 F300.", "G1 X61. Y20. Z1. F300.", ["off-blank"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ALSO_BAD)
def test_what_breaks_a_rule_in_another_way(name: str) -> None:
    old, new, expected = ALSO_BAD[name]
    assert old in GOOD
    # the look at Z zero depends on the moves before it, and is looked at elsewhere
    codes_found = [finding.code for finding in found(GOOD.replace(old, new, 1))]
    assert [code for code in codes_found if code not in ("zero-not-shown", "stop-low")] == expected


def test_findings_come_by_line_whatever_the_rule() -> None:
    text = GOOD.replace("G1 X20.0000 Y10.0000 F300.", "G1 X61. Y10. F300.\nG1 X20. F900.")
    text = text.replace("G0 Z30.\nM5\nM2", "G0 X99. Y79.\nG0 Z30.\nM5\nM2")
    expected = ["off-blank", "feed-too-fast", "off-blank"]
    assert [finding.code for finding in found(text)] == expected


def test_a_rapid_across_at_an_unknown_height_is_named() -> None:
    text = GOOD.replace("G0 Z30.\nG0 X1.", "G0 X3. Y1.\nG0 X1.", 1)
    second = next(finding for finding in found(text) if finding.code == "rapid-low")
    assert second.message == "a rapid starts at an unknown height. Go up first, alone."


LOOKS = {
    "no stop": ("M0 (look: 1 mm)\n", ""),
    "one that a switch leaves out": ("M0 (look", "M1 (look"),
    "nothing said": ("M0 (look: 1 mm)", "M0"),
    "too high to be judged": ("G1 Z1. F100.", "G1 Z1.5 F100."),
    "elsewhere": ("G0 X1. Y1.", "G0 X2. Y1."),
    "too fast": ("G1 Z1. F100.", "G1 Z5. F601.\nG1 Z1. F100."),
    "too fast near the copper": ("G1 Z1. F100.", "G1 Z1. F241."),
    "slow too late": ("G1 Z1. F100.", "G1 Z4.9 F300.\nG1 Z1. F100."),
    "down at rapid": ("G1 Z1. F100.", "G0 Z1."),
    "down to clearance at rapid": ("G1 Z1. F100.", "G0 Z2.\nG1 Z1. F100."),
    "down on a slant": ("G1 Z1. F100.", "G1 X3. Z2. F100.\nG1 X1. Z1."),
    "the spindle on": ("M5\nG0 Z30.", "M3 S9000\nG0 Z30."),
    "the spindle as it was": ("M5\nG0 Z30.", "G0 Z30."),
    "sideways after it": ("1 mm)\nG0 Z2.", "1 mm)\nG0 X2. Z2."),
    "not high enough after it": ("1 mm)\nG0 Z2.", "1 mm)\nG0 Z1.9\nG0 Z2."),
}


@pytest.mark.parametrize("name", LOOKS)
def test_a_program_first_shows_its_zero(name: str) -> None:
    """A Z zero that is wrong shows over the touch point, before the cutter meets the copper."""
    assert codes(GOOD, at=(1.0, 1.0)) == set()
    old, new = LOOKS[name]
    assert old in GOOD
    assert "zero-not-shown" in codes(GOOD.replace(old, new, 1), at=(1.0, 1.0))


def test_two_feeds_may_lead_down_to_the_look() -> None:
    slow = GOOD.replace("G1 Z1. F100.", "G1 Z5. F600.\nG1 Z1. F240.", 1)
    assert codes(slow, at=(1.0, 1.0)) == set()


@pytest.mark.parametrize(
    ("words", "mode", "tolerance", "good"),
    [
        ("G61", "exact path", None, True),
        ("G64", "exact path", None, False),
        ("G61.1", "exact path", None, False),
        ("", "exact path", None, False),
        ("G61\nG64", "exact path", None, False),
        ("G64\nG61", "exact path", None, True),
        ("G64", "blending", None, True),
        ("G64 P0.01", "blending", None, False),
        ("G64 P0.01", "blending", 0.01, True),
        ("G64 P0.02", "blending", 0.01, False),
        ("G64", "blending", 0.01, False),
        ("G61", "blending", 0.01, False),
        ("", "unstated", None, True),
    ],
)
def test_the_path_mode_is_the_machine_s(
    words: str, mode: Any, tolerance: float | None, good: bool
) -> None:
    machine = dataclasses.replace(
        MACHINE, path_mode=mode, path_tolerance=tolerance, acceleration=200.0
    )
    text = GOOD.replace(" G61", "").replace("M5\n", f"M5\n{words}\n", 1)
    found_codes = codes(text, dialect=Dialect(), machine=machine)
    assert found_codes == (set() if good else {"path-mode-differs"})


def test_the_path_mode_stays_until_the_last_feed() -> None:
    later = GOOD.replace("G1 X20.0000 Y20.0000", "G64\nG1 X20.0000 Y20.0000")
    assert codes(later) == {"path-mode-differs"}
    # a person's own last line
    assert codes(GOOD.replace("M2", "G64\nM2")) == set()


def test_by_the_report_alone_no_tolerance_goes_with_blending() -> None:
    text = GOOD.replace("M5\n", "M5\nG64 P0.01\n", 1)
    with pytest.raises(Refusal, match="the word P has no code in its line"):
        read(text, file="a.ngc")
    with pytest.raises(Refusal, match="the word P has no code in its line"):
        read(text.replace("G64 P0.01", "G61 P0.01"), file="a.ngc", dialect=Dialect())


def test_the_line_and_the_place_are_named() -> None:
    text = GOOD.replace("G1 X20.0000 Y20.0000", "G1 X60.01 Y20.", 1)
    (finding,) = found(text)
    assert text.split("\n")[(finding.line or 0) - 1].startswith("G1 X60.01")
    assert finding.file == "a.ngc"
    assert (finding.frame, finding.at) == ("machine", (60.01, 20.0))


def test_a_program_of_the_spoilboard_is_of_no_pass() -> None:
    deep = GOOD.replace("Z-0.0800", "Z-4.61", 1)
    on_spoilboard = dataclasses.replace(PASS, number=0)
    for text in (deep, GOOD.replace("G0 Z30.\nM5", "G38.2 Z-1. F60.\nG0 Z30.\nM5")):
        stops = [f for f in found(text, mill_pass=on_spoilboard) if f.severity == "stop"]
        assert stops
        assert {finding.mill_pass for finding in stops} == {None}
        assert {finding.mill_pass for finding in found(text)} == {PASS.number}


def test_many_faults_of_a_kind_are_counted_not_listed() -> None:
    laps = "".join(cut([(10, y / 10), (61, y / 10)]) for y in range(10, 60))
    listed = [finding for finding in found(HEAD + laps + TAIL) if finding.code == "off-blank"]
    assert [finding.more for finding in listed] == [0, 0, 0, 0, 45]
    assert listed[-1].words.endswith("And 45 more.")


def test_a_cut_may_begin_at_no_unknown_place() -> None:
    text = HEAD.replace("G0 X1. Y1.\n", "") + "G1 Z-0.08 F60.\nG1 X5. Y5.\n" + TAIL
    lost = [finding for finding in found(text) if finding.code == "place-unknown"]
    down = text.split("\n").index("G1 Z-0.08 F60.") + 1
    assert [finding.line for finding in lost] == [down, down + 1]
    assert {f.message for f in lost} == {"the cutter is in the work at an unknown place."}


def test_turned_blank() -> None:
    """The blank turned by a quarter: what lies on it is another part of the bed."""
    turned = dataclasses.replace(PASS, pose=Pose.turn(90).then(Pose.shift(50, 0)))
    assert codes(GOOD, mill_pass=turned) == set()
    assert codes(HEAD + cut([(9, 10), (20, 10)]) + TAIL, mill_pass=turned) == {"off-blank"}


ASKEW = Pose.turn(30).then(Pose.shift(22.0, 3.0))
SIDES = {"left": (0, 20, 1, 0), "right": (60, 20, -1, 0), "low": (30, 0, 0, 1),
         "high": (30, 40, 0, -1)}  # fmt: skip
"""A place on each side of the blank, blank frame, and the way inwards."""


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("along", [(0.0, 0.0), (9.0, 0.0), (0.0, 9.0)])
def test_a_blank_that_lies_askew(side: str, along: tuple[float, float]) -> None:
    """The end of a cut along X or Y, or a plunge, keeps to the blank as it lies."""
    x, y, inward_x, inward_y = SIDES[side]
    turned = dataclasses.replace(PASS, pose=ASKEW)
    for off, expected in ((0.001, set()), (-0.001, {"off-blank"})):
        u, v = ASKEW.point((x + off * inward_x, y + off * inward_y))
        mid_x, mid_y = ASKEW.point((30.0, 20.0))
        # from well inside towards the edge
        start = (u + math.copysign(along[0], mid_x - u), v + math.copysign(along[1], mid_y - v))
        assert codes(HEAD + cut([start, (u, v)]) + TAIL, mill_pass=turned) == expected


class TestSpindleByHand:
    machine = dataclasses.replace(MACHINE, spindle="hand")

    def test_needs_a_stop_with_words(self) -> None:
        head = HEAD.replace("M3 S10000\nG4 P2.\n", "")
        work = cut([(10, 10), (20, 10)]) + TAIL
        assert codes(head + work, machine=self.machine) == {"spindle-off"}
        assert codes(head + "M0\n" + work, machine=self.machine) == {"spindle-off"}
        assert codes(head + "M1 (spindle on)\n" + work, machine=self.machine) == {"spindle-off"}
        assert codes(head + "M0 (spindle on)\n" + work, machine=self.machine) == set()
        assert codes(head + "(spindle on)\nM0\n" + work, machine=self.machine) == set()


class TestClamps:
    clamp = Clamp(Box(30.0, 0.0, 40.0, 10.0), 8.0)

    def way(self, y: float, z: float = 2.0) -> str:
        """A rapid past the clamp."""
        return GOOD.replace(END, f"G0 Z{z:.3f}\nG0 X20. Y{y:.3f}\nG0 X55. Y{y:.3f}\n{END}")

    def test_a_rapid_keeps_the_shank_clear(self) -> None:
        # The clamp's top is 6 mm above the tip, at the end of the flute: a vee of 30 degrees
        # is 0.1 + 6 tan 15° = 1.708 wide there, its shank 1.5875 caps it.
        assert codes(self.way(11.58), at=(1, 1), clamps=(self.clamp,)) == {"rapid-over-clamp"}
        assert codes(self.way(11.60), at=(1, 1), clamps=(self.clamp,)) == set()

    def test_a_rapid_over_it(self) -> None:
        assert codes(self.way(5.0, 8.0), at=(1, 1), clamps=(self.clamp,)) == set()
        (low,) = found(self.way(5.0, 7.99), at=(1, 1), clamps=(self.clamp,))
        assert (low.code, low.at) == ("rapid-over-clamp", (35.0, 5.0))
        assert "Raise [machine] clearance to 8, use a lower clamp, or move it." in low.message
        high = dataclasses.replace(self.clamp, height=28.5)
        machine = dataclasses.replace(MACHINE, clamp_clearance=2.0)
        (low,) = found(self.way(5.0, 8.0), at=(1, 1), clamps=(high,), machine=machine)
        assert "Use a clamp of at most 28 mm, or move it." in low.message

    def test_it_keeps_the_clearance_above_and_beside(self) -> None:
        machine = dataclasses.replace(MACHINE, clamp_clearance=2.0)
        kept: dict[str, Any] = {"at": (1, 1), "clamps": (self.clamp,), "machine": machine}
        assert codes(self.way(5.0, 9.99), **kept) == {"rapid-over-clamp"}
        assert codes(self.way(5.0, 10.0), **kept) == set()
        # the shank of 1.5875 is 2 mm off the clamp that ends at 10
        assert codes(self.way(13.58), **kept) == {"rapid-over-clamp"}
        assert codes(self.way(13.60), **kept) == set()
        low = dataclasses.replace(self.clamp, height=1.0)
        kept["clamps"] = (low,)
        # 3.08 mm over the tip the vee is 0.1 + 3.08 tan 15° = 0.925 mm wide, and 2 mm stay free
        for x, said in ((27.06, set()), (27.09, {"clamp-hit"})):
            assert codes(HEAD + cut([(x, 5), (x, 8)]) + TAIL, **kept) == said, x

    def test_a_clamp_on_the_board_is_one_finding(self) -> None:
        """However many moves and programs meet it, and whatever flies over it besides."""
        text = HEAD + "".join(cut([(10, y), (20, y)]) for y in range(8, 14)) + TAIL
        on_board = Clamp(Box(14.0, 9.0, 16.0, 12.0), 8.0)
        said = found(text, at=(1, 1), clamps=(on_board,))
        (hit,) = said
        assert hit.message == (
            "the clamp at X14 to 16, Y9 to 12 is in the way of a cut: cutter and shank must stay "
            "0 mm off it (clamp_clearance). Move the clamp."
        )
        over = dataclasses.replace(said[0], code="rapid-over-clamp", message="over it")
        (only,) = once_per_clamp([over, *said, over, *said])
        assert only.message == f"{hit.message} It is in the way of 2 programs."
        other = dataclasses.replace(over, at=(1.0, 1.0))
        assert once_per_clamp([other, over]) == [other, over]
        low = dataclasses.replace(over, code="rapid-low")
        assert once_per_clamp([low, *said, low, over]) == [low, *said, low]

    def test_the_collet_nut(self) -> None:
        short = dataclasses.replace(vee(), flute=5.9, stickout=5.9)
        assert codes(self.way(17.99), at=(1, 1), clamps=(self.clamp,), cutter=short) == {
            "rapid-over-clamp"
        }
        assert codes(self.way(18.01), at=(1, 1), clamps=(self.clamp,), cutter=short) == set()

    def test_a_rapid_sweeps_its_whole_box(self) -> None:
        # Straight from (20, 20) to (45, -) it would miss; a dog-leg may not.
        text = GOOD.replace(END, f"G0 X28. Y5.\nG0 X45. Y20.\n{END}")
        high = Clamp(Box(38.0, 8.0, 40.0, 9.0), 8.0)
        assert codes(text, at=(1, 1), clamps=(high,)) == {"rapid-over-clamp"}

    def test_a_feed_goes_straight(self) -> None:
        text = GOOD.replace(END, f"G0 X28. Y5.\nG1 X45. Y20. F300.\n{END}")
        high = Clamp(Box(38.0, 8.0, 40.0, 9.0), 8.0)
        assert codes(text, at=(1, 1), clamps=(high,)) == set()

    def test_a_clamp_of_another_pass(self) -> None:
        other = dataclasses.replace(self.clamp, passes=(2,))
        assert codes(self.way(5.0), at=(1, 1), clamps=(other,)) == set()
        this = dataclasses.replace(self.clamp, passes=(1,))
        assert codes(self.way(5.0), at=(1, 1), clamps=(this,)) == {"rapid-over-clamp"}

    def test_the_way_from_the_unknown_start(self) -> None:
        """The first rapid in x and y may come from anywhere."""
        far = Clamp(Box(90.0, 70.0, 95.0, 75.0), 30.1)
        assert codes(GOOD, clamps=(far,)) == {"rapid-over-clamp"}
        assert codes(GOOD, clamps=(dataclasses.replace(far, height=30.0),)) == set()


class TestDepth:
    def test_flute(self) -> None:
        text = HEAD + cut([(10, 10), (20, 10)], -4.1) + TAIL
        assert codes(text, cutter=end_mill(2.0)) == {"flute-too-short"}
        assert codes(text.replace("-4.1", "-4.0"), cutter=end_mill(2.0)) == set()

    def test_nut(self) -> None:
        short = dataclasses.replace(end_mill(2.0), flute=3.9, stickout=3.9)
        text = HEAD + cut([(10, 10), (20, 10)], -4.0) + TAIL
        assert codes(text, cutter=short) == {"collet-low", "flute-too-short"}

    def test_reach_of_the_machine(self) -> None:
        low = dataclasses.replace(MACHINE, below=0.07)
        assert codes(GOOD, machine=low) == {"outside-travel"}
        assert codes(GOOD.replace("Z2.", "Z30.1", 1)) == {"outside-travel"}


class TestDrills:
    def test_sideways(self) -> None:
        text = HEAD + cut([(10, 10), (10.1, 10)], -1.0) + TAIL
        (finding,) = found(text, cutter=drill())
        assert finding.code == "drill-sideways"
        assert finding.message == "a drill moves sideways in the work."
        assert codes(text.replace("Z-1.0", "Z0.0"), cutter=drill()) == set()
        assert codes(text, cutter=end_mill(1.0)) == set()

    def test_only_a_cycle_goes_back_into_its_hole_at_rapid(self) -> None:
        pecks = "G0 X9. Y9.\nG1 Z-1. F60.\nG0 Z2.\nG0 Z0.5\nG1 Z-2.\nG0 Z2.\n"
        assert codes(HEAD + pecks + TAIL, cutter=drill()) == set()
        assert codes(HEAD + pecks.replace("G0 Z0.5", "G0 Z-0.9") + TAIL, cutter=drill()) == {
            "rapid-plunge"
        }
        cycle = "G0 X9. Y9.\nG98 G83 X9. Y9. Z-2. R0.5 Q0.8 F60.\nG80\n"
        assert codes(HEAD + cycle + TAIL, cutter=drill()) == set()
        low = cycle.replace("R0.5", "R0.4")
        assert codes(HEAD + low + TAIL, cutter=drill()) == {"rapid-plunge"}


class TestApproach:
    """Rapids go down to the approach height above the highest copper, from clearance alone."""

    text = HEAD + cut([(10, 10), (20, 10)]).replace("G1 Z", "G0 Z0.5\nG1 Z") + TAIL

    def test_above_the_highest_copper(self) -> None:
        assert codes(self.text) == set()
        assert codes(self.text, flatness=0.01) == {"rapid-plunge"}
        higher = self.text.replace("Z0.5", "Z0.51")
        assert codes(higher, flatness=0.01) == set()
        bold = dataclasses.replace(MACHINE, approach=0.51)
        assert codes(self.text, machine=bold) == {"rapid-plunge"}
        assert codes(higher, machine=bold) == set()

    def test_only_after_travel_at_clearance(self) -> None:
        slanting = self.text.replace("G0 Z0.5", "G0 X11. Z0.5")
        assert codes(slanting) == {"rapid-low"}
        low = self.text.replace("G0 Z0.5", "G0 Z0.9\nG0 X11.\nG0 Z0.5")
        assert codes(low) == {"rapid-low", "rapid-plunge"}


def hopping(height: str = "1.", across: str = "G0 X20. Y30.\n") -> str:
    """Two cuts, the second reached by a hop."""
    first = cut([(20, 10), (30, 10), (30, 20)]).removesuffix("G0 Z2.\n")
    second = cut([(20, 30), (30, 30)]).removeprefix("G0 X20.0000 Y30.0000\n")
    return HEAD + first + f"G0 Z{height}\n{across}G0 Z0.5\n" + second + TAIL


class TestHops:
    """Low from cut to cut: high enough, off clamps and pins, and never first or last."""

    post = Clamp(Box(24.0, 24.0, 26.0, 26.0), 4.0)
    """Between the two cuts, of the vee's shank 1.6 mm farther than the cuts themselves."""

    def test_a_hop_between_two_cuts(self) -> None:
        assert codes(hopping()) == set()
        # over copper that may be higher it must be higher as well
        assert codes(hopping(), flatness=0.01) == {"rapid-low", "rapid-plunge"}
        assert codes(hopping("1.01").replace("Z0.5", "Z0.51"), flatness=0.01) == set()

    def test_too_low(self) -> None:
        assert codes(hopping("0.9999")) == {"rapid-low", "rapid-plunge"}
        high = dataclasses.replace(MACHINE, hop_height=1.5)
        assert codes(hopping(), machine=high) == {"rapid-low", "rapid-plunge"}
        assert codes(hopping("1.5"), machine=high) == set()
        # nor lower than a rapid may go down
        low = dataclasses.replace(MACHINE, hop_height=0.2)
        assert codes(hopping("0.4").replace("G0 Z0.5\n", ""), machine=low) == {"rapid-low"}
        assert codes(hopping("0.5"), machine=low) == set()

    def test_up_or_down_on_the_way(self) -> None:
        assert codes(hopping("1.2", "G0 X20. Y30. Z1.\n")) == set()
        assert codes(hopping("0.6", "G0 X20. Y30. Z1.\n")) == {"rapid-low"}

    def test_without_hops(self) -> None:
        none = dataclasses.replace(MACHINE, hop_height=2.0)
        assert codes(hopping(), machine=none) == {"rapid-low", "rapid-plunge"}

    @pytest.mark.parametrize("height", [4.0, 1.1])
    def test_through_or_over_a_clamp(self, height: float) -> None:
        """Its axes may arrive one after the other: all of the box between its ends is swept."""
        clamp = dataclasses.replace(self.post, height=height)
        found_codes = [f.code for f in found(hopping(), clamps=(clamp,))]
        assert found_codes == ["rapid-over-clamp"]
        assert codes(hopping("1.2" if height < 2 else "4."), clamps=(clamp,)) == set()
        flat = dataclasses.replace(self.post, height=1.0)
        assert codes(hopping(), clamps=(flat,)) == set()
        free = dataclasses.replace(MACHINE, clamp_clearance=0.5)
        (finding,) = found(hopping(), clamps=(flat,), machine=free)
        assert finding.code == "rapid-over-clamp"
        assert "Go across at clearance, Z2." in finding.message

    def test_beside_a_clamp(self) -> None:
        # the vee is 0.2 mm + 2 · 3 mm · tan 15° wide 3 mm up
        neighbour = dataclasses.replace(self.post, box=Box(31.0, 24.0, 33.0, 26.0))
        assert codes(hopping(), clamps=(neighbour,)) == set()
        near = dataclasses.replace(self.post, box=Box(30.8, 24.0, 33.0, 26.0))
        assert codes(hopping(), clamps=(near,)) == {"rapid-over-clamp"}

    def test_over_a_pin(self) -> None:
        hole = RegistrationHole("r1", (25.0, 25.0), (25.0, 25.0), 3.0, "locate", 1, 2)
        second = MillingPass(1, 2, shapely.box(0, 0, 60, 40), Pose(), (hole,), (1.0, 1.0))
        assert codes(hopping(), mill_pass=second) == {"rapid-low"}
        assert codes(hopping("2."), mill_pass=second) == set()
        assert codes(hopping(), mill_pass=second, pins=False) == set()
        # 1.5 mm of pin and 0.1 + 1 · tan 15° of the vee
        for x, free in ((31.86, False), (31.88, True)):
            aside = dataclasses.replace(second, registration=(dataclasses.replace(
                hole, machine=(x, 25.0)),))  # fmt: skip
            assert codes(hopping(), mill_pass=aside) == (set() if free else {"rapid-low"})

    def test_never_first_or_last(self) -> None:
        first = GOOD.replace("G0 X10.0000", "G0 Z1.\nG0 X10.0000", 1)
        assert codes(first) == {"rapid-low"}
        last = GOOD.replace("G0 Z2.\nG0 Z2.", "G0 Z1.\nG0 X5. Y5.\nG0 Z2.", 1)
        assert codes(last) == {"rapid-low"}


REACH = "the move leaves what the machine reaches, X2 to 98, Y2 to 78"
ENDS = {
    "left": ("G0 X10.0000 Y10.0000", "G0 X{} Y10.\nG0 X10. Y10.", 2.0, 1.9, REACH),
    "right": ("G0 X10.0000 Y10.0000", "G0 X{} Y10.\nG0 X10. Y10.", 98.0, 98.1, REACH),
    "front": ("G0 X10.0000 Y10.0000", "G0 X10. Y{}\nG0 X10. Y10.", 2.0, 1.9, REACH),
    "back": ("G0 X10.0000 Y10.0000", "G0 X10. Y{}\nG0 X10. Y10.", 78.0, 78.1, REACH),
    "top": ("Z2.", "Z{}", 28.0, 28.1, "the move goes above Z28"),
    "bottom": ("Z-0.0800", "Z{}", -1.8, -1.9, "the move goes below Z-1.8"),
}


@pytest.mark.parametrize("name", ENDS)
def test_a_margin_to_the_ends_of_the_travel_is_kept(name: str) -> None:
    machine = dataclasses.replace(MACHINE, travel_margin=2.0, below=3.8)
    inside = GOOD.replace("X1. Y1.", "X2. Y2.").replace("Z30.", "Z28.")
    old, new, just, beyond, message = ENDS[name]
    assert old in inside
    assert codes(inside.replace(old, new.format(just), 1), machine=machine) == set()
    findings = found(inside.replace(old, new.format(beyond), 1), machine=machine)
    assert {finding.code for finding in findings} == {"outside-travel"}
    assert {f.message for f in findings} == {f"{message} (travel_margin is 2 mm)."}


class TestArcs:
    def test_bulge_outside_the_travel(self) -> None:
        arc = "G0 X10. Y1.\nG1 Z-0.08 F60.\nG3 X16. Y1. I3. J0. F300.\nG0 Z2.\n"
        found_codes = codes(HEAD + arc + TAIL)
        assert found_codes == {"outside-travel", "off-blank"}
        assert codes(HEAD + arc.replace("G3", "G2") + TAIL) == set()

    def test_nearly_closed(self) -> None:
        arc = "G0 X10. Y9.\nG1 Z-0.08 F60.\nG3 X10. Y9.0005 I3. J0. F300.\nG0 Z2.\n"
        (finding,) = found(HEAD + arc + TAIL)
        assert finding.code == "arc-too-short"
        assert finding.message == (
            "the arc's ends nearly meet: some controllers would run a full circle. Use G1."
        )
        assert codes(HEAD + arc.replace("9.0005", "9.0") + TAIL) == set()


class TestPins:
    hole = RegistrationHole("r1", (15.0, 10.0), (15.0, 10.0), 3.0, "locate", 1, 2)
    second = MillingPass(1, 2, shapely.box(0, 0, 60, 40), Pose(), (hole,), (1.0, 1.0))

    def test_a_pin_in_the_way(self) -> None:
        assert codes(GOOD, mill_pass=self.second) == {"pin-hit"}
        assert codes(GOOD, mill_pass=self.second, pins=False) == set()

    def test_a_pin_just_beside(self) -> None:
        neighbour = dataclasses.replace(self.hole, machine=(15.0, 8.3))
        clear = dataclasses.replace(self.second, registration=(neighbour,))
        assert codes(GOOD, mill_pass=clear) == set()

    def test_an_arc_is_kept_off_a_pin_by_the_box_around_it(self) -> None:
        arc = "G0 X10. Y12.\nG1 Z-0.08 F60.\nG3 X20. Y12. I5. J0. F300.\nG0 Z2.\n"
        assert codes(HEAD + arc + TAIL, mill_pass=self.second) == {"pin-hit"}
        assert codes(HEAD + arc.replace("G3", "G2") + TAIL, mill_pass=self.second) == set()

    def test_in_the_pass_that_drills_them_no_pin_stands(self) -> None:
        first = dataclasses.replace(self.second, number=1)
        assert codes(GOOD, mill_pass=first) == set()


def test_percent_end_needs_the_spindle_off() -> None:
    text = "%\n" + GOOD.replace("M5\nM2\n", "%\n")
    assert codes(text) == {"ends-turning"}
    assert codes(text.replace("G0 Z30.\n%", "G0 Z30.\nM5\n%")) == set()


def test_a_program_without_a_motion_breaks_no_rule_of_motion() -> None:
    assert found("G21 G90\nM5\nM2\n") == []


def test_a_cutter_may_be_changed_before_it_has_cut_and_a_stop_may_end_a_program() -> None:
    assert codes(GOOD.replace("M3 S", "T2 M6\nM3 S", 1)) == set()
    assert codes(GOOD.replace("M5\nM2", "M0 (done)\nM5\nM2")) == set()
