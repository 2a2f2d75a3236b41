"""Good readings give the pose to 1e-6 mm; bad ones are refused for what is wrong with them."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.random import default_rng

from millprep.at_machine.blank_pose import by_holes
from millprep.at_machine.reading_faults import FARTHEST, LARGEST_TURN
from millprep.at_machine.reading_fit import fit
from millprep.at_machine.readings import Readings
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.job.keys import InputFile
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.report.report_model import Report
from tests.helpers.chance import examples
from tests.helpers.invented_report import report_of_passes

SIGMA = 0.03
EXPECTED = Pose.shift(-200.0, 5.0)
PLACES: list[Point] = [
    (218.0, 5.0), (293.0, 115.0), (218.0, 115.0), (262.0, 5.0), (245.0, 117.0), (275.0, 117.0),
    (231.0, 5.0),
]  # fmt: skip
CORNERS = ((0.0, 0.0), (520.0, 0.0), (520.0, 120.0), (0.0, 120.0))


@cache
def old(count: int = 3) -> Report:
    holes = tuple(
        RegistrationHole(f"r{n + 1}", at, EXPECTED.point(at), 3.02, "locate", 1, 2)
        for n, at in enumerate(PLACES[:count])
    )
    late = RegistrationHole("r9", (400.0, 5.0), (0.0, 10.0), 3.02, "locate", 2, 3)
    window = shapely.box(0.0, 0.0, 300.0, 120.0)
    of_pass = ((Pose.shift(0.0, 5.0), ()), (EXPECTED, holes), (Pose.shift(-400.0, 5.0), (late,)))
    passes = [
        MillingPass(1, number, window, pose, registration, (5.0, 5.0))
        for number, (pose, registration) in enumerate(of_pass, 1)
    ]
    return report_of_passes(passes, "abc")


def readings(pose: Pose, count: int = 3, noise: int | None = None) -> dict[str, Point]:
    """Places of the first holes with the blank so placed; honest errors from a seed."""
    at = pose.points(PLACES[:count])
    if noise is not None:
        at = at + default_rng(noise).normal(0.0, SIGMA, at.shape)
    return {f"r{n + 1}": (x, y) for n, (x, y) in enumerate(at.tolist())}


def refusal(holes: dict[str, Point], *, id_: str = "abc", k: int = 2, count: int = 3) -> Finding:
    """The one finding that readings are refused with."""
    with pytest.raises(Refusal) as caught:
        by_holes(Readings(InputFile("r", "0"), id_, holes), old(count), 1, k, SIGMA)
    (finding,) = caught.value.findings
    return finding


def good(holes: dict[str, Point], count: int = 3) -> Pose:
    return by_holes(Readings(InputFile("r", "0"), "abc", holes), old(count), 1, 2, SIGMA).pose


moves = st.builds(
    lambda turn, x, y: Pose.turn(turn).then(Pose.shift(x, y)),
    st.floats(-1.0, 1.0),
    st.floats(-5.0, 5.0),
    st.floats(-5.0, 5.0),
)


@pytest.mark.law
@given(move=moves, count=st.integers(2, 5))
def test_a_known_move_is_undone_to_a_millionth_of_a_millimetre(move: Pose, count: int) -> None:
    pose = EXPECTED.then(move)
    found = good(readings(pose, count), count)
    off = found.points(CORNERS) - pose.points(CORNERS)
    assert np.hypot(*off.T).max() <= 1e-6


@pytest.mark.law
@given(count=st.integers(2, 5))
def test_exact_readings_move_nothing(count: int) -> None:
    assert good(readings(EXPECTED, count), count) is not None
    assert good(readings(EXPECTED, count), count) == EXPECTED


@given(move=moves)
def test_a_pose_keeps_every_digit_in_a_report(move: Pose) -> None:
    """So that a refit of a refit cuts the same for the passes that it leaves alone."""
    found = good(readings(EXPECTED.then(move)))
    as_told = [round(value, 9) for value in found.as_list()]
    assert Pose(*as_told) == found


def test_what_good_readings_tell() -> None:
    done = by_holes(
        Readings(InputFile("r", "0"), "abc", readings(EXPECTED, 3, noise=3)), old(), 1, 2, SIGMA
    )
    by_code: dict[str, list[Finding]] = {}
    for finding in done.findings:
        assert finding.severity == "note"
        assert (finding.blank, finding.mill_pass, finding.frame) == (1, 2, "machine")
        by_code.setdefault(finding.code, []).append(finding)
    assert [f.message.split()[0] for f in by_code["refit-residual"]] == ["r1", "r2", "r3"]
    direct = fit(PLACES[:3], list(readings(EXPECTED, 3, noise=3).values()))
    assert f"{direct.residuals[0][0]:+.3f}" in by_code["refit-residual"][0].message
    assert f"{direct.scale:.6f}" in by_code["refit-scale"][0].message
    assert f"{direct.turn:+.4f}°" in by_code["refit-pose"][0].message
    assert "Three holes show that one is bad, not which" in by_code["refit-few-holes"][0].message


def test_another_set() -> None:
    finding = refusal(readings(EXPECTED), id_="xyz")
    assert finding.code == "readings-of-another-set"
    assert "taken for set xyz" in finding.message


Spoil = Callable[[dict[str, Point]], dict[str, Point]]
SPOILT: list[tuple[str, str, Spoil]] = [
    ("readings-in-inches", "in inches",
     lambda r: {k: (x / 25.4, y / 25.4) for k, (x, y) in r.items()}),
    ("readings-mirrored", "mirrored: with x and y exchanged",
     lambda r: {k: (y, x) for k, (x, y) in r.items()}),
    ("readings-mirrored", "mirrored: with the sign of x changed",
     lambda r: {k: (-x, y) for k, (x, y) in r.items()}),
    ("readings-mirrored", "mirrored: with the sign of y changed",
     lambda r: {k: (x, -y) for k, (x, y) in r.items()}),
    ("readings-swapped", "r1 and r2 are swapped",
     lambda r: {**r, "r1": r["r2"], "r2": r["r1"]}),
]  # fmt: skip


@pytest.mark.parametrize(("code", "words", "spoil"), SPOILT)
@pytest.mark.parametrize("count", [2, 3, 5])
@examples(25)
@given(move=moves, noise=st.integers(0, 10**6))
def test_a_slip_is_named(
    code: str, words: str, spoil: Spoil, count: int, move: Pose, noise: int
) -> None:
    pose = EXPECTED.then(move)
    honest = readings(pose, count, noise)
    try:
        good(honest, count)
    except Refusal:
        return  # the one honest set in a hundred that raises the alarm
    finding = refusal(spoil(honest), count=count)
    assert finding.code == code
    assert words in finding.message
    assert (finding.blank, finding.mill_pass) == (1, 2)


def test_three_readings_in_a_ring_are_swapped_too() -> None:
    r = readings(EXPECTED.then(Pose.turn(0.3)), 3, 1)
    finding = refusal({"r1": r["r2"], "r2": r["r3"], "r3": r["r1"]})
    assert finding.code == "readings-swapped"
    # what is written under r3 was read at r1
    assert finding.message.endswith("in this order: r1 under r3, r2 under r1, r3 under r2.")


@pytest.mark.parametrize(
    ("count", "code", "words"),
    [
        (6, "readings-swapped", "r1 under r3, r2 under r1, r3 under r2, r4 under r4"),
        # every order of seven would take too long
        (7, "residual-too-large", "Read all holes again."),
    ],
)
def test_a_ring_among_many_holes(count: int, code: str, words: str) -> None:
    r = readings(EXPECTED.then(Pose.turn(0.3)), count, 1)
    finding = refusal({**r, "r1": r["r2"], "r2": r["r3"], "r3": r["r1"]}, count=count)
    assert finding.code == code
    assert words in finding.message


@pytest.mark.parametrize("bad", range(5))
def test_with_four_or_more_the_bad_hole_is_named(bad: int) -> None:
    r = readings(EXPECTED.then(Pose.turn(0.2)), 5, 8)
    x, y = r[f"r{bad + 1}"]
    finding = refusal({**r, f"r{bad + 1}": (x + 0.5, y - 0.4)}, count=5)
    assert finding.code == "hole-bad"
    assert finding.message.startswith(f"The reading of r{bad + 1} is bad")


def test_with_three_the_residuals_are_reported() -> None:
    r = readings(EXPECTED, 3)
    x, y = r["r1"]
    finding = refusal({**r, "r1": (x + 0.5, y - 0.4)})
    assert finding.code == "residual-too-large"
    assert "four or more would show which" in finding.message


def test_just_over_the_test_is_refused_and_just_under_it_is_not() -> None:
    """With two holes a distance that is off by d leaves d² / 2 = 6.635 σ² at the limit."""
    limit = SIGMA * math.sqrt(2 * 6.635)
    (x0, y0), (x1, y1) = PLACES[:2]
    run = math.hypot(x1 - x0, y1 - y0)
    for share, taken in ((0.99, True), (1.01, False)):
        r = readings(EXPECTED, 2)
        x, y = r["r2"]
        off = share * limit / run
        r["r2"] = (x + off * (x1 - x0), y + off * (y1 - y0))
        if taken:
            assert good(r) is not None
        else:
            assert refusal(r).code == "residual-too-large"


@pytest.mark.parametrize(
    "move",
    [
        Pose.shift(FARTHEST + 1, 0.0),
        Pose(1.0, 0.0, -255.0, 0.0, 1.0, -60.0).then(Pose.turn(LARGEST_TURN + 0.5)).then(
            Pose.shift(255.0, 60.0)
        ),
    ],
)  # fmt: skip
def test_a_blank_that_lies_far_off(move: Pose) -> None:
    finding = refusal(readings(move.then(EXPECTED), 3, 5))
    assert finding.code == "blank-far-off"


def test_holes_that_are_not_there() -> None:
    with pytest.raises(Refusal) as caught:
        by_holes(
            Readings(InputFile("r", "0"), "abc", {"r1": (18.0, 10.0), "r9": (0.0, 10.0)}),
            old(), 1, 2, SIGMA,
        )  # fmt: skip
    assert "r9 is not a hole of blank 1 that is drilled before pass 2" in str(caught.value)
    assert "These are: r1, r2, r3" in str(caught.value)


def slotted(slots: int) -> Report:
    """Two holes of which the last are slots along X."""
    holes = tuple(
        RegistrationHole(f"r{n}", at, EXPECTED.point(at), 3.0, "locate", 1, 2, *slot)
        for n, at in enumerate(PLACES[:2], 1)
        for slot in [((1.0, 0.0), 2.0) if n > 2 - slots else ()]
    )
    window = shapely.box(0.0, 0.0, 300.0, 120.0)
    passes = [
        MillingPass(1, 1, window, Pose.shift(0.0, 5.0), (), (5.0, 5.0)),
        MillingPass(1, 2, window, EXPECTED, holes, (5.0, 5.0)),
    ]
    return report_of_passes(passes, "abc")


def test_a_hole_and_a_slot_show_no_scale_and_no_bad_reading() -> None:
    """Half a millimetre along the slot changes nothing."""
    (x, y), (u, v) = readings(EXPECTED, 2).values()
    read = Readings(InputFile("r", "0"), "abc", {"r1": (x, y), "r2": (u + 0.5, v)})
    done = by_holes(read, slotted(1), 1, 2, SIGMA)
    assert done.pose == EXPECTED
    codes = [finding.code for finding in done.findings]
    assert codes == ["refit-pose", "refit-residual", "refit-residual", "refit-few-holes"]
    assert done.findings[2].message.endswith("only what lies across it counts.")
    assert done.findings[3].message.startswith("A hole and a slot alone show no bad reading")


def test_slots_alone_show_nothing_along_their_length() -> None:
    """Two slots that run the same way leave the blank free to slide along them."""
    source = slotted(2)
    with pytest.raises(Refusal) as caught:
        by_holes(Readings(InputFile("r", "0"), "abc", readings(EXPECTED, 2)), source, 1, 2, SIGMA)
    assert "The readings hold only slots" in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_later_pass_may_read_holes_of_earlier_ones() -> None:
    pose = Pose.shift(-400.0, 5.0).then(Pose.turn(0.1))
    holes = {"r9": pose.point((400.0, 5.0)), "r2": pose.point(PLACES[1])}
    done = by_holes(Readings(InputFile("r", "0"), "abc", holes), old(), 1, 3, SIGMA)
    assert done.pose.point((400.0, 5.0)) == pytest.approx(holes["r9"], abs=1e-6)


@pytest.mark.parametrize(
    ("holes", "k", "code"),
    [
        ({"r1": (18.0, 10.0)}, 2, "readings-holes"),
        (readings(EXPECTED), 7, "no-such-pass"),
        (readings(EXPECTED), 1, "nothing-to-find"),
    ],
)
def test_what_no_fit_can_be_made_of(holes: dict[str, Point], k: int, code: str) -> None:
    assert refusal(holes, k=k).code == code
