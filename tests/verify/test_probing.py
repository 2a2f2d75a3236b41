"""Rules of touching: what a touch may do, written by hand, and every way to spoil it."""

from __future__ import annotations

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.verify import motion, reader
from tests.helpers.programs import BLANK, LOOK, MACHINE, drill, end_mill

HOLE = RegistrationHole("r1", (20.0, 10.0), (20.0, 10.0), 3.0, "locate", 1, 2)
PASS = MillingPass(1, 2, shapely.box(0, 0, 60, 40), Pose(), (HOLE,), (1.0, 1.0))
GOOD = f"""\
G17 G21 G40 G49 G54 G61 G80 G90 G94
{LOOK}G0 X20. Y10.
G1 Z-.4 F60.
G38.2 X18.5 F30.
M0
G1 X20.
G38.2 X21.5
M0
G1 X20.
G38.2 Y8.5
M0
G1 Y10.
G38.2 Y11.5
M0
G1 Y10.
G0 Z2.
G0 Z30.
M2
"""


def check(text: str, *, probing: bool = True, tip: Cutter | None = None) -> tuple[Finding, ...]:
    return motion.check(
        reader.read(text, file="touch.ngc"), cutter=tip or end_mill(2.0), machine=MACHINE,
        clamps=(), mill_pass=PASS, blank=BLANK, spoilboard=6.0, file="touch.ngc", at=(1.0, 1.0),
        probing=probing,
    )  # fmt: skip


def test_four_touches_from_within_a_hole_are_taken() -> None:
    assert check(GOOD) == ()


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ("M5\n", "M3 S8000\n", "probe-spindle-on", 2),
        ("M0\nG1 X20.\nG38.2 X21.5", "M0\nM3 S8000\nG1 X20.\nG38.2 X21.5", "probe-spindle-on", 12),
        ("G0 X20. Y10.", "G0 X20.6 Y10.", "probe-outside-hole", 9),
        ("G0 X20. Y10.", "G0 X30. Y10.", "probe-outside-hole", 9),
        ("G38.2 X18.5 F30.", "G1 X18.5 F30.", "probe-outside-hole", 10),
        ("G38.2 X18.5", "G38.2 X17.9", "probe-outside-hole", 10),
        ("G1 Y10.\nG0 Z2.", "G0 Z2.", "rapid-low", 21),
        ("G1 X20.\nG38.2 X21.5", "G1 X20.7\nG38.2 X21.5", "probe-outside-hole", 12),
        ("G38.2 X18.5 F30.", "G38.2 X18.5 F120.", "probe-too-fast", 10),
        ("G1 Z-.4", "G1 Z-.03", "probe-height", 10),
        ("G38.2 Y11.5", "G38.2 Y11.5 Z-.5", "probe-height", 19),
        ("G1 Z-.4", "G1 Z-1.7", "probe-too-deep", 9),
        ("M5\n", "T2 M6\n", "second-cutter", 2),
    ],
)
def test_a_spoilt_touch_is_refused(old: str, new: str, code: str, line: int) -> None:
    assert old in GOOD
    findings = check(GOOD.replace(old, new, 1))
    assert (code, line) in {(finding.code, finding.line) for finding in findings}
    assert all(finding.severity == "stop" for finding in findings)


def test_a_hole_that_is_drilled_in_this_very_pass_or_only_looked_at_is_not_touched() -> None:
    for hole in (
        RegistrationHole("r1", (20.0, 10.0), (20.0, 10.0), 3.0, "locate", 2, 2),
        RegistrationHole("w2", (20.0, 10.0), (20.0, 10.0), 3.0, "witness", 1, 2),
    ):
        other = MillingPass(1, 2, shapely.box(0, 0, 60, 40), Pose(), (hole,), (1.0, 1.0))
        findings = motion.check(
            reader.read(GOOD, file="touch.ngc"), cutter=end_mill(2.0), machine=MACHINE, clamps=(),
            mill_pass=other, blank=BLANK, spoilboard=6.0, file="touch.ngc", at=(1.0, 1.0),
            probing=True,
        )  # fmt: skip
        assert {finding.code for finding in findings} == {"probe-outside-hole"}


def test_only_a_cylinder_touches() -> None:
    assert [f.code for f in check(GOOD, tip=drill(2.0))] == ["probe-tip"]


def test_a_program_that_cuts_holds_no_touch() -> None:
    findings = {(f.code, f.line) for f in check(GOOD, probing=False)}
    assert ("probe-while-cutting", 10) in findings


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("G38.2 X18.5", "G38.2 X19.8", "target is 0.200 mm away"),
        ("G1 X20.\nG38.2 X21.5", "G38.2 X21.5", "at an unknown distance"),
        ("Z-.4 F60.\nG38.2 X18.5 F30.", "Z-.4 F60.\nG38.2 X18.5 F0.", "with no feed"),
    ],
)
def test_the_reader_refuses_what_the_report_calls_an_error(old: str, new: str, words: str) -> None:
    assert old in GOOD
    with pytest.raises(Refusal) as refused:
        reader.read(GOOD.replace(old, new, 1), file="touch.ngc")
    assert any(words in finding.message for finding in refused.value.findings)


def test_a_hole_that_the_tip_does_not_fit_into_is_not_touched() -> None:
    assert "probe-outside-hole" in {finding.code for finding in check(GOOD, tip=end_mill(3.0))}
