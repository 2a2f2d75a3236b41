"""Centres from touches, and touches that cannot be what they say."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.at_machine.reading_faults import centre, with_centres
from millprep.at_machine.readings import Readings, Touches, load
from millprep.geometry.pose import Pose
from millprep.model.finding import Refusal
from millprep.model.job.keys import InputFile
from millprep.model.milling_pass import MillingPass, RegistrationHole
from tests.helpers.invented_report import report_of_passes

HOLES = (
    RegistrationHole("r1", (10.0, 5.0), (10.0, 5.0), 3.02, "locate", 1, 2),
    RegistrationHole("r2", (90.0, 65.0), (90.0, 65.0), 4.0, "key", 1, 2),
)
PASS = MillingPass(1, 2, shapely.box(0.0, 0.0, 200.0, 100.0), Pose(), HOLES, (5.0, 5.0))
OLD = report_of_passes((PASS,), "0123")


def touched(hole: RegistrationHole, off: tuple[float, float], tip: float = 2.0) -> Touches:
    """What the program reads of a hole that lies off its place, exactly."""
    free = (hole.diameter - tip) / 2
    x, y = hole.machine[0] + off[0], hole.machine[1] + off[1]
    a, b = math.sqrt(free**2 - off[1] ** 2), math.sqrt(free**2 - off[0] ** 2)
    return Touches(x - a, x + a, y - b, y + b, tip)


def read(*some: Touches) -> Readings:
    named = {hole.id: one for hole, one in zip(HOLES, some, strict=False)}
    return Readings(InputFile("read.toml", "0"), "0123", {}, touches=named)


offs = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3))


@pytest.mark.law
@given(offs, offs)
def test_the_middle_is_exact_wherever_the_hole_lies(
    one: tuple[float, float], two: tuple[float, float]
) -> None:
    found, (note,) = with_centres(read(touched(HOLES[0], one), touched(HOLES[1], two)), OLD, 1, 2)
    for hole, off in zip(HOLES, (one, two), strict=True):
        assert found.holes[hole.id] == pytest.approx(
            (hole.machine[0] + off[0], hole.machine[1] + off[1]), abs=1e-9
        )
    # short chords are known for what they are
    assert "r1 3.020 by 3.020 mm, drilled as 3.02; r2 4.000 by 4.000 mm" in note.message


@given(st.floats(0.5, 2.9))
def test_the_tips_diameter_falls_out(tip: float) -> None:
    x, y = centre(touched(HOLES[0], (0.02, -0.03), tip))
    assert (x, y) == pytest.approx((10.02, 4.97), abs=1e-9)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (Touches(9.49, 10.3, 4.49, 5.51, 2.0), "r1: left and right are 0.810 mm apart"),
        (Touches(9.49, 10.51, 4.49, 5.3, 2.0), "r1: low and high are 0.810 mm apart"),
        (Touches(9.0, 11.0, 4.0, 6.0, 2.0), "another hole, a smaller tip than given"),
        (Touches(10.51, 9.49, 4.49, 5.51, 2.0), "r1: left and right are exchanged"),
        (Touches(9.49, 10.51, 4.49, 5.51, 3.1), "a tip of 3.1 mm does not fit"),
        (Touches(9.49, 10.51, 4.49, 5.51, 1.0), "larger or not round"),
    ],
)
def test_touches_that_cannot_be_are_refused(one: Touches, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        with_centres(read(one), OLD, 1, 2)
    assert any(words in finding.message for finding in refused.value.findings)
    assert {finding.code for finding in refused.value.findings} == {"touches-wrong"}


def test_a_person_may_touch_through_the_middle_of_a_hole_that_lies_far_off() -> None:
    found, _ = with_centres(read(Touches(12.49, 13.51, 2.49, 3.51, 2.0)), OLD, 1, 2)
    assert found.holes["r1"] == pytest.approx((13.0, 3.0))


def test_touches_of_another_set_are_refused() -> None:
    other = Readings(InputFile("read.toml", "0"), "4567", {}, touches={})
    with pytest.raises(Refusal) as refused:
        with_centres(other, OLD, 1, 2)
    assert refused.value.findings[0].code == "readings-of-another-set"


GOOD = """\
set = "0123"
unit = "mm"
[touches]
r1 = { left = 9.49, right = 10.51, low = 4.49, high = 5.51, probe = 2 }
"""


def put(folder: Path, text: str) -> Path:
    file = folder / "read.toml"
    file.write_text(text, "utf-8")
    return file


def test_a_file_of_touches(tmp_path: Path) -> None:
    found = load(put(tmp_path, GOOD), "touches")
    assert found.touches == {"r1": Touches(9.49, 10.51, 4.49, 5.51, 2.0)}


@pytest.mark.parametrize(
    ("old", "new", "kind", "code", "words"),
    [
        ("", "", "holes", "readings-other-kind", "holds [touches]: give it with --touches"),
        ("[touches]", "[holes]", "touches", "readings-other-kind", "without --touches"),
        (", probe = 2", "", "touches", "readings-bad-value", "[touches] r1 must hold left, right"),
        ("9.49", '"9.49"', "touches", "readings-bad-value", "plain numbers in mm"),
        ("probe = 2", "probe = -2", "touches", "readings-bad-value", "must hold left, right"),
        ("low", "down", "touches", "readings-bad-value", "must hold left, right, low, high"),
        ('"mm"', '"inch"', "touches", "readings-in-inches", "multiply each by 25.4"),
    ],
)
def test_mistakes_have_words(
    tmp_path: Path, old: str, new: str, kind: str, code: str, words: str
) -> None:
    file = put(tmp_path, GOOD.replace(old, new, 1) if old else GOOD)
    with pytest.raises(Refusal) as refused:
        load(file, kind)  # type: ignore[arg-type]
    (finding,) = refused.value.findings
    assert finding.code == code
    assert words in finding.message
