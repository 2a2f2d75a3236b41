"""Registration holes: where both passes reach them, and no way to put the blank on wrongly."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Box, Clamp
from millprep.model.finding import Refusal
from millprep.model.job.setup import RegistrationPlan, SecondHole
from millprep.model.milling_pass import RegistrationHole
from millprep.passes import planned_passes
from millprep.passes.clamping import Clamping
from millprep.passes.error_budget import HoleErrors
from millprep.passes.hole_room import DIRECTIONS, Spots
from millprep.passes.hole_sets import FAR, SCALENE, Score, expected_joins, with_more_holes
from millprep.passes.registration import choose, least_overlap
from millprep.passes.shift import ShiftPlan, plan
from tests.helpers import small_job
from tests.helpers.registered import REGISTRATION
from tests.helpers.workshop import BLANK, MACHINE, drill

NOTHING = shapely.Polygon()


def need_of(length: float, width: float = 110.0) -> Box:
    return Box(9.0, 9.0, length - 9.0, width - 9.0)


def shifted(length: float, travel: float, width: float = 110.0) -> tuple[ShiftPlan, Blank]:
    machine = replace(MACHINE, travel_size=(travel, 180.0), screw_lead=8.0)
    made = plan(need_of(length, width), machine, (0.0, 0.0), least_overlap(REGISTRATION), 1)
    return made, Blank(1, (length, width), 1.6, 0.035)


def chosen(
    length: float = 500.0,
    travel: float = 290.0,
    clamps: Sequence[Clamp] = (),
    told: RegistrationPlan = REGISTRATION,
) -> tuple[tuple[RegistrationHole, ...], ShiftPlan, shapely.Polygon]:
    made, blank = shifted(length, travel)
    board = shapely.box(9.0, 9.0, length - 9.0, 101.0)
    clamping = Clamping(tuple(clamps), 9.0)
    holes = choose(made, blank, told, board, clamping, need_of(length))
    return holes, made, board


@pytest.mark.parametrize(("length", "travel", "passes"), [(500.0, 290.0, 2), (700.0, 210.0, 4)])
def test_holes_lie_where_both_passes_reach_and_off_the_board(
    length: float, travel: float, passes: int
) -> None:
    holes, made, board = chosen(length, travel)
    assert len(made.poses) == passes
    assert len(holes) == 3 * (passes - 1)
    for hole in holes:
        disc = shapely.Point(hole.blank).buffer(hole.diameter / 2)
        for number in (hole.drilled_in, hole.used_in):
            assert made.polygon(number - 1).contains(disc)
        assert hole.used_in == hole.drilled_in + 1
        wall = disc.buffer(REGISTRATION.wall - 1e-6)
        assert not wall.intersects(board)
        assert shapely.box(0, 0, length, 110.0).contains(wall)
        assert hole.machine == pytest.approx(made.poses[hole.used_in - 1].point(hole.blank))
    for first, second in itertools.combinations(holes, 2):
        away = np.hypot(*(np.array(first.blank) - second.blank))
        assert away >= (first.diameter + second.diameter) / 2 + REGISTRATION.wall


def test_the_same_places_on_the_bed_serve_every_pass() -> None:
    holes, _, _ = chosen(700.0, 210.0)
    beds = [
        sorted((round(h.machine[0], 6), round(h.machine[1], 6), h.role) for h in holes
               if h.used_in == number)
        for number in (2, 3, 4)
    ]  # fmt: skip
    assert beds[0] == beds[1] == beds[2]


@pytest.mark.parametrize("second", ["slot", "relieved pin"])
def test_pins_of_all_passes_keep_their_walls_in_the_spoilboard(second: SecondHole) -> None:
    """Four passes of a small board, in whose overlaps the best places come near to each other."""
    corners = [(2.0, 2.0), (18.0, 2.0), (18.0, 42.0), (2.0, 42.0)]
    made = ShiftPlan(
        axis=0,
        shift=16.0,
        poses=tuple(Pose(c=2.0 - x, f=2.0 - y) for x, y in corners),
        windows=tuple(Box(x, y, x + 53.6, y + 64.5) for x, y in corners),
        cells=((0, 0), (1, 0), (1, 1), (0, 1)),
    )
    blank = Blank(1, (84.1, 117.1), 0.8, 0.035)
    wanted = replace(REGISTRATION, second_hole=second, key=4.0)
    board, need = shapely.box(20.5, 20.5, 63.5, 96.5), Box(21.5, 21.5, 62.5, 95.5)
    holes = choose(made, blank, wanted, board, Clamping((), 11.5), need)
    assert len(holes) == 9
    pins = {hole.pin: hole for hole in holes}
    for one, other in itertools.combinations(pins.values(), 2):
        assert math.dist(one.machine, other.machine) >= wanted.pin + wanted.wall - 1e-9
    # flats of a pin lie along the line through the pins of one pass only
    assert (len(pins) == 9) == (second == "relieved pin")


def test_holes_keep_off_the_clamps_of_both_passes() -> None:
    free, made, _ = chosen()
    (x, y) = free[0].machine
    clamps = [Clamp(Box(x - 5.0, y - 5.0, x + 5.0, y + 5.0), 8.0)]
    denied = Clamping(tuple(clamps), 9.0).denied(1)
    holes, made, _ = chosen(clamps=clamps)
    for hole in holes:
        for number in (hole.drilled_in, hole.used_in):
            at = made.poses[number - 1].point(hole.blank)
            assert not denied.contains(shapely.Point(at))


def wrongly_put(holes: np.ndarray) -> list[np.ndarray]:
    """The key's place for every wrong way to drop two equal holes on the two pins."""
    a, b, key = holes
    ways = []
    for p, q in ((a, b), (b, a)):
        for flip in (False, True):
            if not flip and p is a:
                continue
            z = complex(*(b - a))
            k = complex(*(key - a))
            if flip:
                z, k = z.conjugate(), k.conjugate()
            turn = complex(*(q - p)) / z
            there = complex(*p) + k * turn
            ways.append(np.array([there.real, there.imag]))
    return ways


@pytest.mark.parametrize(("length", "travel"), [(500.0, 290.0), (700.0, 210.0), (420.0, 290.0)])
def test_a_turned_or_flipped_blank_fits_no_pins(length: float, travel: float) -> None:
    """Sides that differ by 2 mm: no motion of the triangle but none at all maps it on itself."""
    holes, _, _ = chosen(length, travel)
    for number in {h.used_in for h in holes}:
        here = [h for h in holes if h.used_in == number]
        assert [h.role for h in here] == ["locate", "locate", "key"]
        assert here[2].diameter > here[0].diameter == here[1].diameter
        at = np.array([h.blank for h in here])
        sides = [float(np.hypot(*(p - q))) for p, q in itertools.combinations(at, 2)]
        assert min(abs(p - q) for p, q in itertools.combinations(sides, 2)) >= SCALENE - 1e-9
        for key in wrongly_put(at):
            assert np.hypot(*(key - at[2])) >= SCALENE - 1e-9


def test_the_turning_test_can_fail() -> None:
    equal = np.array([(0.0, 0.0), (80.0, 0.0), (40.0, 60.0)])
    assert min(float(np.hypot(*(key - equal[2]))) for key in wrongly_put(equal)) < 1e-9


def test_no_room_is_refused_with_the_margin_that_would_do() -> None:
    made, blank = shifted(500.0, 290.0)
    everywhere = shapely.box(0, 0, 500, 110)
    with pytest.raises(Refusal, match=r"a margin of at least 8 mm"):
        choose(made, blank, REGISTRATION, everywhere, Clamping(), need_of(500.0))


def test_one_pass_needs_no_holes() -> None:
    assert chosen(280.0)[0] == ()


def test_a_bored_hole_at_the_end_of_the_travel_stays_within_it() -> None:
    """The end mill winds half the difference of the diameters around the centre."""
    holes, made, _ = chosen(574.0)
    for hole in holes:
        for number in (hole.drilled_in, hole.used_in):
            window = made.windows[number - 1].grown(-hole.diameter / 2)
            assert window.contains(*hole.blank)


def test_constants_speak_of_the_same_triangle() -> None:
    assert least_overlap(REGISTRATION) == pytest.approx(2 * 7 + 4 + 0.8)


# Refusals: with the figure that is named it works, with a tenth less it does not.


def strip(margin: float, kerf: float, clamps: Sequence[Clamp] = ()) -> int:
    """Holes found beside a board this far from the edges of a blank."""
    made, blank = shifted(500.0, 290.0)
    board = shapely.box(margin - kerf, margin - kerf, 500.0 - margin + kerf, 110.0 - margin + kerf)
    clamping = Clamping(tuple(clamps), 9.0)
    return len(choose(made, blank, REGISTRATION, board, clamping, need_of(500.0), kerf))


@pytest.mark.parametrize("kerf", [0.0, 2.0, 1.3, 3.175])
def test_the_least_margin_is_exact(kerf: float) -> None:
    with pytest.raises(Refusal) as refusal:
        strip(kerf + 3.0, kerf)
    (finding,) = refusal.value.findings
    named = re.search(r"a margin of at least (\d+(?:\.\d+)?) mm", finding.message)
    assert named
    margin = float(named[1])
    assert strip(margin, kerf) == 3
    with pytest.raises(Refusal):
        strip(margin - 0.1, kerf)


def test_the_least_move_of_a_clamp_is_exact() -> None:
    """Clamps over both strips, of which one is enough to move.

    The strips are wide enough for a triangle: three holes in a row would fit a flipped blank.
    """

    def clamps(x: float, y: float) -> list[Clamp]:
        low, high = Box(-10.0 + x, -15.0 + y, 280.0 + x, 4.0 + y), Box(-10.0, 106.0, 280.0, 125.0)
        return [Clamp(low, 4.0), Clamp(high, 4.0, (1, 2))]

    with pytest.raises(Refusal) as refusal:
        strip(14.0, 2.0, clamps(0.0, 0.0))
    message = refusal.value.findings[0].message
    assert "the clamp [-10, -15, 280, 4] is in the way" in message
    named = re.search(r"Move it (.+?) by (\d+\.\d) mm\.", message)
    assert named
    x, y = DIRECTIONS[named[1]]
    move = float(named[2])
    assert strip(14.0, 2.0, clamps(x * move, y * move)) == 3
    with pytest.raises(Refusal):
        strip(14.0, 2.0, clamps(x * (move - 0.1), y * (move - 0.1)))


def test_clamps_that_only_together_leave_no_room_are_all_named() -> None:
    clamp = Clamp(Box(-10.0, -15.0, 280.0, 125.0), 4.0)
    words = r"several clamps together leave none: the clamp \[-10, .*; the clamp"
    with pytest.raises(Refusal, match=words):
        strip(14.0, 2.0, [clamp, clamp])


def test_measured_holes_are_four_and_better_than_pins() -> None:
    made, blank = shifted(500.0, 290.0)
    board = shapely.box(9.0, 9.0, 491.0, 101.0)
    wanted = replace(REGISTRATION, method="measure")
    measured = choose(made, blank, wanted, board, Clamping(), need_of(500.0))
    assert [h.role for h in measured] == ["locate"] * 3 + ["key"]
    pins, _, _ = chosen()
    at, across = (245.0, 50.0), (0.0, 1.0)
    better = HoleErrors.of(measured, 2, keys=True).sigma_across(0, 1, at, across, 0.03)
    assert better < HoleErrors.of(pins, 2, keys=False).sigma_across(0, 1, at, across, 0.03)


def test_round_holes_are_the_best_pair_there_is() -> None:
    """Against every pair of free places of the same kind, by the same figures."""
    holes, made, board = chosen(told=replace(REGISTRATION, second_hole="round"))
    places = HoleErrors.of(holes, 2, keys=False)
    shared = made.shared(0, 1)
    assert shared is not None
    x = (shared.x0 + shared.x1) / 2
    figure = max(places.sigma_across(0, 1, (x, y), (0.0, 1.0), 1.0) for y in (9.0, 55.0, 101.0))
    # a pair on both edges: 1/√2 at the holes' middle, which lies in the middle of the seam
    assert figure == pytest.approx(0.7071, abs=0.002)
    base = math.dist(holes[0].blank, holes[1].blank)
    reach = shapely.box(shared.x0, 4.0, shared.x1, 106.0)
    assert base >= 0.95 * math.hypot(shared.x1 - shared.x0 - 4.0, 102.0)
    assert reach.buffer(1e-6).covers(shapely.MultiPoint([h.blank for h in holes]))
    assert not board.intersects(shapely.MultiPoint([h.blank for h in holes]))


def test_a_hole_and_a_slot_are_the_best_pair_there_is() -> None:
    """Against pairs all over the strips beside the board, by the figures of the error budget."""
    holes, made, _ = chosen()
    shared = made.shared(0, 1)
    assert shared is not None
    x = (shared.x0 + shared.x1) / 2

    def score(a: Point, b: Point) -> float:
        long = math.dist(a, b)
        free = ((b[0] - a[0]) / long, (b[1] - a[1]) / long)
        pair = [
            RegistrationHole("r1", a, a, 3.0, "locate", 1, 2),
            RegistrationHole("r2", b, b, 3.0, "locate", 1, 2, free),
        ]
        errors = HoleErrors.of(pair, 2, keys=False)
        seam = [errors.sigma_across(0, 1, (x, y), (0.0, 1.0), 1.0) for y in (9.0, 55.0, 101.0)]
        # the far corners that the second window still reaches
        far = [
            errors.sigma_across(0, 1, (u, v), across, 1.0)
            for u in (shared.x0, 491.0) for v in (9.0, 101.0) for across in ((0.0, 1.0), (1.0, 0.0))
        ]  # fmt: skip
        return max(seam) + FAR * max(far)

    reach = np.arange(math.ceil(shared.x0 + 2), shared.x1 - 2, 3.0).tolist()
    spots = [(u, v) for u in reach for v in (4.0, 106.0)]
    best = min(score(a, b) for a, b in itertools.combinations(spots, 2) if math.dist(a, b) >= 6)
    assert score(holes[0].blank, holes[1].blank) <= best + 1e-9


@pytest.mark.parametrize(("length", "travel"), [(500.0, 290.0), (700.0, 210.0)])
def test_the_second_hole_is_a_slot_along_the_line_through_both(
    length: float, travel: float
) -> None:
    holes, _, _ = chosen(length, travel)
    for number in {hole.used_in for hole in holes}:
        first, second, key = (hole for hole in holes if hole.used_in == number)
        assert (first.free, first.slot, key.free, key.slot) == (None, 0.0, None, 0.0)
        assert second.free is not None
        assert second.slot == pytest.approx(REGISTRATION.key - REGISTRATION.hole)
        middle = shapely.Point(second.blank)
        assert second.spine.length == pytest.approx(second.slot, abs=2e-6)
        assert second.spine.centroid.distance(middle) < 1e-9
        # both ends are on the line through the two centres, one within it and one beyond
        near, far = (shapely.Point(end) for end in second.ends if end is not None)
        line = shapely.LineString([first.blank, far.coords[0]])
        assert max(line.distance(near), line.distance(middle)) < 1e-4
        assert line.length == pytest.approx(
            math.dist(first.blank, second.blank) + second.slot / 2, abs=1e-6
        )


def test_a_relieved_pin_leaves_a_round_hole_free_along_the_line() -> None:
    holes, _, _ = chosen(told=replace(REGISTRATION, second_hole="relieved pin"))
    slots, _, _ = chosen()
    assert [hole.slot for hole in holes] == [0.0] * 3
    assert [hole.free for hole in holes] == [hole.free for hole in slots]


def test_windows_that_share_too_little_have_room_for_nothing() -> None:
    """A strip that is narrower than a key with its walls."""
    made, blank = shifted(500.0, 290.0)
    thin = replace(blank, size=(500.0, 7.0))
    with pytest.raises(Refusal, match="the windows overlap too little for holes and pins"):
        choose(made, thin, REGISTRATION, NOTHING, Clamping(), Box(9.0, 3.0, 491.0, 4.0))


def test_a_clamp_that_no_move_takes_away_is_to_be_removed() -> None:
    wide = Clamp(Box(-500.0, -500.0, 900.0, 900.0), 4.0)
    with pytest.raises(Refusal, match=r"900\] is where they would be\. Remove or move it\."):
        chosen(clamps=[wide])


def test_passes_without_a_common_place_for_their_pins_have_their_own() -> None:
    """What is cut leaves a strip at the front in one overlap and at the back in the other."""
    made, blank = shifted(700.0, 290.0)
    assert len(made.poses) == 3
    low, high = (made.shared(k, k + 1) for k in (0, 1))
    assert low is not None
    assert high is not None
    middle = (low.x1 + high.x0) / 2
    cut = shapely.union(
        shapely.box(0.0, 22.0, middle, 110.0), shapely.box(middle, 0.0, 700.0, 88.0)
    )
    holes = choose(made, blank, REGISTRATION, cut, Clamping(), need_of(700.0))
    front, back = ([h.blank[1] for h in holes if h.used_in == number] for number in (2, 3))
    assert max(front) < 22.0
    assert min(back) > 88.0
    assert len({hole.pin for hole in holes}) == 6
    nowhere = shapely.union(cut, shapely.box(middle, 0.0, 700.0, 110.0))
    with pytest.raises(Refusal, match="has no room for three registration holes"):
        choose(made, blank, REGISTRATION, nowhere, Clamping(), need_of(700.0))


def test_windows_that_share_nothing_of_what_is_cut_expect_no_joins() -> None:
    made, _ = shifted(500.0, 290.0)
    assert len(expected_joins(made, need_of(500.0))) == 1
    assert expected_joins(made, need_of(made.windows[1].x0)) == ()


def test_where_no_place_is_left_fewer_holes_are_measured() -> None:
    spots = Spots(np.array([(0.0, 0.0), (40.0, 0.0), (20.0, 30.0), (21.0, 30.0)]), np.zeros(4, int))
    none = np.zeros((4, 2, 3))
    score = Score(none, none, spots.at, False, (), (np.zeros((3, 3)), np.zeros((1, 3))))
    assert with_more_holes(spots, score, [0, 1], 2, REGISTRATION) == [0, 1]


def test_holes_that_no_cutter_makes_and_pins_that_none_drills_for_are_refused(
    tmp_path: Path,
) -> None:
    wanted = replace(REGISTRATION, cutters=(drill(3.0),), pin=0.8)
    job = replace(load(small_job.put(tmp_path)), registration=wanted)
    holes, _, _ = chosen()
    with pytest.raises(Refusal) as refusal:
        planned_passes._pin_holes(job, BLANK, holes)
    codes = [finding.code for finding in refusal.value.findings]
    assert codes == ["registration-without-cutter"] * 2 + ["pin-hole-without-cutter"]
    assert "0.8 mm pin holes" in refusal.value.findings[2].message
