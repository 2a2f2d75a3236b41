"""A blank goes on the pins in one way only; what cannot be ruled out is told apart by numbers."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Box
from millprep.model.finding import Refusal
from millprep.model.milling_pass import RegistrationHole
from millprep.passes import labels, marks, planned_passes, registration
from millprep.passes.clamping import Clamping
from millprep.passes.registration import NEAR, PinFit, pin_fits, wrong_pin_fits
from millprep.passes.shift import ShiftPlan, plan
from millprep.passes.windows import PassFrame
from tests.helpers import small_job
from tests.helpers.registered import REGISTRATION
from tests.helpers.workshop import MACHINE, vee

SIZES = [
    (500.0, 110.0, 290.0, 180.0), (700.0, 110.0, 210.0, 180.0), (1200.0, 120.0, 300.0, 180.0),
    (760.0, 130.0, 220.0, 180.0), (400.0, 300.0, 240.0, 180.0), (400.0, 480.0, 240.0, 190.0),
    (420.0, 110.0, 290.0, 180.0),
]  # fmt: skip
MARGIN = 17.0


def made_for(
    x: float, y: float, travel_x: float, travel_y: float, method: str = "pins"
) -> tuple[ShiftPlan, Blank, tuple[RegistrationHole, ...]]:
    """One large board in the middle of a blank."""
    machine = replace(MACHINE, travel_size=(travel_x, travel_y), screw_lead=8.0)
    need = Box(MARGIN - 1, MARGIN - 1, x - MARGIN + 1, y - MARGIN + 1)
    wanted = replace(REGISTRATION, method=method)  # type: ignore[arg-type]
    shift = plan(
        need, machine, (0.0, 0.0), registration.least_overlap(wanted), 1,
        registration.reach_beyond(wanted, 2.0),
    )  # fmt: skip
    blank = Blank(1, (x, y), 1.6, 0.035)
    kerf = shapely.box(MARGIN - 2, MARGIN - 2, x - MARGIN + 2, y - MARGIN + 2)
    holes = registration.choose(shift, blank, wanted, kerf, Clamping(), need, 2.0)
    return shift, blank, holes


def sets(holes: tuple[RegistrationHole, ...]) -> list[list[RegistrationHole]]:
    return [
        [h for h in holes if h.used_in == number] for number in sorted({h.used_in for h in holes})
    ]


def three(mine: list[RegistrationHole]) -> list[RegistrationHole]:
    """The holes that stand for pins: two and the key."""
    return [*[h for h in mine if h.role == "locate"][:2], *(h for h in mine if h.role == "key")]


def right(fit: PinFit) -> bool:
    """Whether the blank lies as it is meant to."""
    return fit.shifted and math.hypot(fit.pose.c, fit.pose.f) <= NEAR


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("method", ["pins", "measure"])
def test_no_turned_or_flipped_blank_fits_any_pins(
    size: tuple[float, float, float, float], method: str
) -> None:
    _, _, holes = made_for(*size, method=method)
    for mine in sets(holes):
        assert wrong_pin_fits(three(mine), holes) == ()
        # by force: turned about every angle and flipped, no set of three comes over the pins
        assert [fit.holes for fit in pin_fits(three(mine), mine) if right(fit)] != []


@pytest.mark.parametrize("size", SIZES[:4])
def test_what_fits_wrongly_is_another_set_and_has_another_number_and_cross(
    size: tuple[float, float, float, float],
) -> None:
    """With a constant shift the holes of another pass fit; a look at number and cross tells."""
    shift, blank, holes = made_for(*size)
    nothing = [shapely.Polygon()] * len(shift.poses)
    x, y = blank.size
    board = shapely.box(MARGIN - 2, MARGIN - 2, x - MARGIN + 2, y - MARGIN + 2)
    made = labels.plan(shift, blank, holes, board, nothing, vee(), 0.08)
    assert made.findings == ()
    crosses = {hole.used_in: hole for hole in made.crosses}
    for mine in sets(holes):
        number = mine[0].used_in
        for fit in pin_fits(three(mine), holes):
            if not fit.shifted or right(fit):
                continue
            others = {next(h for h in holes if h.id == name).used_in for name in fit.holes}
            assert number not in others
            # the cross meant for this pass is nowhere near another where the blank lies now
            expected = np.array(crosses[number].blank)
            for cross in made.crosses:
                there = np.array(fit.pose.point(cross.blank))
                assert np.hypot(*(there - expected)) >= labels.CROSS


def test_all_ways_are_found_by_force() -> None:
    """Random holes: every placement found on a fine search of turns is among the ways."""
    rng = np.random.default_rng(7)
    for _ in range(4):
        base = rng.uniform(0.0, 60.0, (3, 2))
        copies = [base, _moved(base, Pose.turn(180)), _moved(base, Pose(e=-1.0))]
        holes = [
            RegistrationHole(
                f"h{n}-{k}",
                tuple((at + 200.0 * n).tolist()),
                (0.0, 0.0),
                4.0 if k == 2 else 3.0,
                "key" if k == 2 else "locate",
                1,
                2 + n,
            )
            for n, copy in enumerate(copies)
            for k, at in enumerate(copy)
        ]
        pins = holes[:3]
        found = pin_fits(pins, holes)
        seen = {
            (fit.holes, fit.pose.mirrored, round(math.atan2(fit.pose.d, fit.pose.a), 2))
            for fit in found
        }
        names = {fit.holes for fit in found}
        assert {tuple(f"h{n}-{k}" for k in range(3)) for n in range(3)} <= names
        assert len(seen) == len(found)
        assert any(right(fit) for fit in found)
        assert any(fit.pose.mirrored for fit in wrong_pin_fits(pins, holes))
        assert any(not fit.pose.mirrored for fit in wrong_pin_fits(pins, holes))


def _moved(at: np.ndarray, pose: Pose) -> np.ndarray:
    return pose.points(at)


def test_equal_sides_are_seen_as_wrong() -> None:
    def at(n: int, x: float, y: float, d: float) -> RegistrationHole:
        return RegistrationHole(f"r{n}", (x, y), (x, y), d, "key" if d > 3 else "locate", 1, 2)

    equal = [at(1, 0.0, 0.0, 3.0), at(2, 80.0, 0.0, 3.0), at(3, 40.0, 60.0, 4.0)]
    assert {fit.pose.mirrored for fit in wrong_pin_fits(equal, equal)} == {True}
    unequal = [*equal[:2], at(3, 30.0, 60.0, 4.0)]
    assert wrong_pin_fits(unequal, unequal) == ()
    nearly = [*equal[:2], at(3, 40.0 + 0.4 * NEAR, 60.0, 4.0)]
    assert wrong_pin_fits(nearly, nearly) != ()


@pytest.mark.parametrize("size", SIZES)
def test_every_hole_is_within_the_windows_of_both_its_passes(
    size: tuple[float, float, float, float],
) -> None:
    shift, blank, holes = made_for(*size)
    x, y = blank.size
    board = shapely.box(MARGIN - 2, MARGIN - 2, x - MARGIN + 2, y - MARGIN + 2)
    for hole in holes:
        disc = shapely.Point(hole.blank).buffer(hole.diameter / 2)
        assert hole.drilled_in < hole.used_in
        for number in (hole.drilled_in, hole.used_in):
            assert shift.polygon(number - 1).covers(disc)
        assert shift.poses[hole.used_in - 1].point(hole.blank) == pytest.approx(hole.machine)
        assert disc.distance(board) >= REGISTRATION.wall - 1e-6
    for one, other in itertools.combinations(holes, 2):
        apart = math.dist(one.blank, other.blank) - (one.diameter + other.diameter) / 2
        assert apart >= REGISTRATION.wall - 1e-6
    for number in range(2, len(shift.poses) + 1):
        roles = sorted(hole.role for hole in holes if hole.used_in == number)
        assert roles == ["key", "locate", "locate"]


def test_a_pass_in_the_middle_of_a_large_board_is_refused_with_what_would_do() -> None:
    with pytest.raises(Refusal, match=r"reaches no edge.*spacing of at least 12 mm"):
        made_for(700.0, 420.0, 290.0, 180.0)


@pytest.mark.parametrize("free", [shapely.Polygon(), shapely.box(217.0, 2.0, 290.0, 6.0)])
def test_where_there_is_no_room_for_number_and_cross_a_person_writes_them(
    free: shapely.Polygon,
) -> None:
    """Nothing is free, or a strip that is too narrow for letters."""
    shift, blank, holes = made_for(*SIZES[0])
    nothing = [shapely.Polygon()] * len(shift.poses)
    cut = shapely.box(0.0, 0.0, *blank.size).difference(free)
    made = labels.plan(shift, blank, [*holes], cut, nothing, vee(), 0.08)
    assert [finding.code for finding in made.findings] == ["no-room-for-label"] * 2
    number, cross = made.findings
    key = next(hole for hole in holes if hole.role == "key")
    assert (number.at, number.mill_pass) == (key.blank, 1)
    assert "engrave a number" in number.message
    assert "engrave a cross to look at" in cross.message
    assert (made.crosses, made.by_pass) == ((), {1: ()})


def test_without_verniers_numbers_and_crosses_alone_are_engraved(tmp_path: Path) -> None:
    shift, blank, holes = made_for(*SIZES[0])
    job, nothing = load(small_job.put(tmp_path)), (shapely.Polygon(),) * len(shift.poses)
    taken = shapely.box(MARGIN, MARGIN, blank.size[0] - MARGIN, blank.size[1] - MARGIN)
    need = Box(*taken.bounds)
    frame = PassFrame(need, shift, Clamping(), nothing, taken, {})
    both = marks.plan(job, blank, frame, holes, ())
    bare = replace(job, registration=replace(job.registration, verniers=False))
    less = marks.plan(bare, blank, frame, holes, ())
    assert both.verniers.verniers != ()
    assert less.verniers.verniers == ()
    assert less.labels.crosses == both.labels.crosses
    assert less.lines == less.labels.by_pass


def test_a_pose_that_a_report_rounds_is_the_planned_one() -> None:
    planned = Pose.shift(-123.4567891234, 5.0)
    rounded = Pose.shift(-123.456789123, 5.0)
    assert planned_passes._pose(planned, None) is planned
    assert planned_passes._pose(planned, rounded) is planned
    assert planned_passes._pose(planned, Pose.shift(-123.4, 5.0)) == Pose.shift(-123.4, 5.0)


def test_the_first_box_that_the_room_holds_is_found_however_late_it_comes() -> None:
    low = np.column_stack((np.arange(250.0), np.zeros(250)))
    room = shapely.box(229.5, -1.0, 240.0, 2.0)
    assert labels.first_fitting(room, low, low + 1.0) == 230
    assert labels.first_fitting(room, low[:200], low[:200] + 1.0) is None
