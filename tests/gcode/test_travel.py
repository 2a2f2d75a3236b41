"""Travel from cut to cut: the order of cuts, and heights of rapid moves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode import travel
from millprep.gcode.build import build
from millprep.gcode.level import levelled
from millprep.gcode.run_time import least_travel
from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.geometry.tour import way
from millprep.model.blank import Box, Clamp
from millprep.model.cut import Cut, HoleCut, Lap, Profile
from millprep.model.dialect import Dialect
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.surface_map import SurfaceMap
from millprep.verify import motion, reader
from tests.helpers.chance import examples
from tests.helpers.restart_points import text_of
from tests.helpers.workshop import BLANK, MACHINE, drill, mill, profiling, vee

PLACES = st.lists(
    st.tuples(st.floats(0, 300), st.floats(0, 180)), min_size=1, max_size=40, unique=True
)
QUICK = examples(40)


def length(places: list[Point], tour: list[int], start: Point) -> float:
    ends = [start, *(places[n] for n in tour)]
    return sum(math.dist(a, b) for a, b in itertools.pairwise(ends))


def nearest_next(places: list[Point], start: Point) -> list[int]:
    left, here, tour = set(range(len(places))), start, []
    while left:
        n = min(left, key=lambda k: (math.dist(places[k], here), k))
        tour.append(n)
        left.remove(n)
        here = places[n]
    return tour


@pytest.mark.law
@QUICK
@given(PLACES)
def test_every_place_is_visited_once_and_no_farther_than_by_nearest_next(
    places: list[Point],
) -> None:
    visits = way(places, (0.0, 0.0))
    assert sorted(visits) == list(range(len(places)))
    plain = nearest_next(places, (0.0, 0.0))
    assert length(places, visits, (0.0, 0.0)) <= length(places, plain, (0.0, 0.0)) + 1e-6


def test_a_row_is_walked_along() -> None:
    places = [(float(x), 0.0) for x in (50, 10, 40, 20, 30)]
    assert [places[n][0] for n in way(places, (0.0, 0.0))] == [10, 20, 30, 40, 50]


def test_a_crossing_is_undone() -> None:
    rng = np.random.default_rng(5)
    places = [(float(x), float(y)) for x, y in rng.uniform(0, 100, (200, 2))]
    ours = length(places, way(places, (0.0, 0.0)), (0.0, 0.0))
    plain = length(places, nearest_next(places, (0.0, 0.0)), (0.0, 0.0))
    assert ours < 0.95 * plain


def test_no_place_gives_no_tour() -> None:
    assert way([], (0.0, 0.0)) == []
    assert travel.paths([], (0.0, 0.0)) == []


def test_open_paths_keep_their_start_and_closed_ones_are_entered_nearby() -> None:
    far = Path.lines([(100.0, 0.0), (60.0, 0.0)])
    loop = Path.lines([(40.0, 10.0), (40.0, 0.0), (50.0, 0.0), (50.0, 10.0), (40.0, 10.0)])
    found = travel.paths([far, loop], (0.0, 0.0))
    assert [k for k, _ in found] == [1, 0]
    # entered at the corner nearest to where the cutter comes from
    assert loop.xy[found[0][1]].tolist() == [40.0, 0.0]
    assert found[1] == (0, 0)


@QUICK
@given(st.floats(-200, 200), st.floats(-200, 200), st.sampled_from([0.0, 90.0, 180.0, 270.0]))
def test_an_order_is_the_same_wherever_its_paths_lie(x: float, y: float, turn: float) -> None:
    """A grid of squares, all as far from each other: what is as near is taken as it is listed."""
    pose = Pose.turn(turn).then(Pose.shift(x, y))
    ring = np.array([(0, 0), (2, 0), (2, 2), (0, 2), (0, 0)], dtype=float)
    squares = [Path.lines(ring + np.array([5 * i, 5 * j])) for i in range(4) for j in range(4)]
    moved = [path.transformed(pose) for path in squares]
    assert travel.paths(moved, moved[0].mean_point) == travel.paths(squares, squares[0].mean_point)


def test_no_way_between_lines_is_shorter_than_their_spanning_tree() -> None:
    rng = np.random.default_rng(8)
    places = [(float(x), float(y)) for x, y in rng.uniform(0, 100, (60, 2))]
    bound = least_travel([np.array([place]) for place in places])
    tour = way(places, places[0])
    assert 0.6 * length(places, tour, places[0]) < bound <= length(places, tour, places[0])


def test_the_spanning_tree_of_lines_is_as_near_as_they_come() -> None:
    rows = [np.array([(0.0, y), (50.0, y)]) for y in (0.0, 7.0, 20.0)]
    assert least_travel(rows) == pytest.approx(20.0 - 2 * 0.5, abs=1e-6)
    assert least_travel(rows[:1]) == 0.0
    on_a_line = [np.array([(x, 0.0)]) for x in (0.0, 30.0, 10.0)]
    assert least_travel(on_a_line) == pytest.approx(30.0)


@QUICK
@given(
    st.lists(st.tuples(*(st.sampled_from([0.0, 1e-4, 2.54, 5.08, 5.0801, 7.62]),) * 2), min_size=2)
)
def test_the_spanning_tree_of_places_is_that_by_force(places: list[Point]) -> None:
    """Places in rows, on circles, twice, or a last digit beside each other."""
    away = {place: math.dist(place, places[0]) for place in places}
    length = 0.0
    while away:
        nearest = min(away, key=away.__getitem__)
        length += away.pop(nearest)
        away = {place: min(far, math.dist(place, nearest)) for place, far in away.items()}
    found = least_travel([np.array([place]) for place in places])
    assert found == pytest.approx(length, abs=1e-6)


def test_lines_that_share_all_their_places_take_no_travel() -> None:
    square = np.array([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)], dtype=float)
    assert least_travel([square, square[::-1]]) == pytest.approx(0.0, abs=1e-6)
    off = [square, square[::-1], square + np.array([30.0, 0.0])]
    assert least_travel(off) == pytest.approx(20.0 - 0.5, abs=1e-6)


@QUICK
@given(PLACES, st.tuples(st.floats(0, 300), st.floats(0, 180)))
def test_a_round_trip_is_no_longer_than_a_way_and_back(places: list[Point], start: Point) -> None:
    around, there = travel.round_trip(places, start), way(places, start)
    assert sorted(around) == list(range(len(places)))

    def trip(visits: list[int]) -> float:
        return length(places, visits, start) + math.dist(places[visits[-1]], start)

    assert trip(around) <= trip(there) + 1e-3


def test_a_round_trip_goes_out_on_one_side_and_back_on_the_other() -> None:
    rows = [(float(x), y) for y in (10.0, 20.0) for x in range(10, 100, 10)]
    around = travel.round_trip(rows, (0.0, 15.0))
    ends = math.dist((0.0, 15.0), (10.0, 10.0))
    assert length(rows, around, (0.0, 15.0)) == pytest.approx(ends + 80.0 + 10.0 + 80.0)


PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
HIGH = replace(MACHINE, clearance=6.5, hop_height=1.0)
FLATNESS = 0.02
HOP = 1.02


def laps(*at: tuple[float, float]) -> list[Cut]:
    return [Lap(Path.circle(place, 2.0), 0, f"c{n}", 0, "vee", 0.1) for n, place in enumerate(at)]


def made(
    cuts: Sequence[Cut],
    machine: Machine = HIGH,
    clamps: Sequence[Clamp] = (),
    mill_pass: MillingPass = PASS,
) -> list[Program]:
    cutters = (vee(), drill(0.4), mill(2.0, "mill2"))
    return list(
        build(
            cuts, mill_pass, cutters, machine, profiling(), clamps=clamps, dry=False,
            flatness=FLATNESS,
        )
    )  # fmt: skip


def across(program: Program) -> list[float]:
    """Heights of the rapids across, in order."""
    at, heights = program.start[:2], []
    for move in program.moves:
        if move.motion == "rapid" and (move.x, move.y) != at:
            heights.append(move.z)
        at = (move.x, move.y)
    return heights


def check(
    program: Program,
    clamps: Sequence[Clamp] = (),
    mill_pass: MillingPass = PASS,
    surface: SurfaceMap | None = None,
) -> tuple[Finding, ...]:
    """What the reader finds in a program."""
    return motion.check(
        reader.read(text_of(program, HIGH), file=program.file), cutter=program.cutter,
        machine=HIGH, clamps=clamps, mill_pass=mill_pass, blank=BLANK, spoilboard=6.0,
        file=program.file, at=program.start[:2], flatness=FLATNESS, surface=surface,
    )  # fmt: skip


def test_from_cut_to_cut_it_hops() -> None:
    (program,) = made(laps((20, 20), (40, 20), (60, 20)))
    assert across(program) == [6.5, HOP, HOP, 6.5]
    assert check(program) == ()


@pytest.mark.parametrize(
    ("changes", "height"),
    [
        ({"hop_height": 2.0}, 2.02),
        # never below the approach height
        ({"hop_height": 0.2}, 0.52),
        ({"hop_height": 6.5}, 6.5),
        ({"hop_height": 20.0}, 6.5),
        ({"clearance": 0.9}, 0.9),
        ({"hop_height": 1.1234, "dialect": Dialect(arcs=False, decimals=2)}, 1.15),
    ],
)
def test_the_machine_says_how_high(changes: dict[str, object], height: float) -> None:
    machine = replace(HIGH, **changes)  # type: ignore[arg-type]
    (program,) = made(laps((20, 20), (40, 20)), machine)
    assert across(program) == [machine.clearance, height, machine.clearance]


@pytest.mark.parametrize(
    ("box", "height", "hops"),
    [
        (Box(29, 18, 31, 22), 4.0, False),
        (Box(29, 18, 31, 22), 0.0, False),
        # the shank, 3.175 mm, and clamp_clearance, 2 mm, beside
        (Box(29, 23.7, 31, 30), 4.0, True),
        (Box(29, 23.5, 31, 30), 4.0, False),
    ],
)
def test_not_by_a_clamp(box: Box, height: float, hops: bool) -> None:
    clamp = Clamp(box=box, height=height, passes=None)
    cuts: list[Cut] = [
        Lap(Path.lines([(10, 20), (20, 20)]), 0, "c1", 0, "vee", 0.1),
        Lap(Path.lines([(40, 20), (50, 20)]), 0, "c2", 0, "vee", 0.1),
    ]
    (program,) = made(cuts, clamps=[clamp])
    assert across(program)[1] == (HOP if hops else 6.5)
    assert check(program, [clamp]) == ()
    elsewhere = replace(clamp, passes=(1,))
    (program,) = made(cuts, clamps=[elsewhere])
    assert across(program)[1] == HOP


@pytest.mark.parametrize(
    ("y", "used_in", "role", "hops"),
    [
        (20.0, 2, "locate", False),
        (25.0, 2, "locate", False),
        (25.2, 2, "locate", True),
        (20.0, 3, "locate", True),
        (20.0, 2, "witness", True),
    ],
)
def test_not_by_a_pin(y: float, used_in: int, role: str, hops: bool) -> None:
    hole = RegistrationHole("r1", (30.0, y), (30.0, y), 3.0, role, 1, used_in)  # type: ignore[arg-type]
    with_pins = replace(PASS, registration=(hole,))
    cuts: list[Cut] = [
        Lap(Path.lines([(10, 20), (20, 20)]), 0, "c1", 0, "vee", 0.1),
        Lap(Path.lines([(40, 20), (50, 20)]), 0, "c2", 0, "vee", 0.1),
    ]
    (program,) = made(cuts, mill_pass=with_pins)
    assert across(program)[1] == (HOP if hops else 6.5)
    assert check(program, mill_pass=with_pins) == ()


def test_a_drill_hops_unless_it_drills_by_cycles() -> None:
    holes: list[Cut] = [
        HoleCut((x, 20.0), 0.4, "drill0.4", 1.8, "drill", 0, f"h{x}") for x in (20.0, 30.0)
    ]
    (program,) = made(holes)
    assert across(program) == [6.5, HOP, 6.5]
    # it clears the chips at clearance
    assert {m.z for m in program.moves if m.motion == "rapid"} == {6.5, HOP, 0.52}
    # fast to near the copper; a cycle knows one feed only
    feeds = {m.feed for m in program.moves if m.feed is not None}
    assert feeds == {HIGH.max_plunge, program.cutter.plunge}
    (program,) = made(holes, replace(HIGH, dialect=Dialect(cycles=True)))
    assert set(across(program)) == {6.5}
    assert {m.feed for m in program.moves if m.feed is not None} == {program.cutter.plunge}


def test_the_way_down_is_slow_near_the_copper() -> None:
    (program,) = made(laps((20, 20), (40, 20)))
    at, down = program.start, []
    for move in program.moves:
        if move.feed is not None and (move.x, move.y) == at[:2]:
            down.append((move.z, move.feed))
        at = (move.x, move.y, move.z)
    cutter = program.cutter
    assert down == [(0.12, HIGH.max_plunge), (-0.1, cutter.plunge)] * 2
    assert check(program) == ()
    # no faster than the cutter where that is faster than the machine
    slow = replace(HIGH, max_plunge=cutter.plunge)
    (program,) = made(laps((20, 20), (40, 20)), slow)
    assert {move.feed for move in program.moves} == {None, cutter.plunge, cutter.feed}


def test_profiles_are_reached_at_clearance() -> None:
    """What they cut loose may lift."""
    squares = [
        Profile(
            Path.lines([(x, 20), (x + 15, 20), (x + 15, 40), (x, 40), (x, 20)]), "mill2", 1.8, 1.3,
            (), 0, inner=True,
        )
        for x in (20, 50)
    ]  # fmt: skip
    (program,) = made(squares)
    assert set(across(program)) == {6.5}


def test_over_a_surface_map_hops_clear_its_highest_place() -> None:
    x, y = np.array([0.0, 50, 100]), np.array([0.0, 40, 80])
    tilted = SurfaceMap(x, y, np.array([[0.005 * u for u in x] for _ in y]))
    (program,) = made(laps((20, 20), (40, 20), (60, 20)))
    following = levelled(program, tilted, HIGH, FLATNESS)
    high = pytest.approx(HOP + 0.5 + FLATNESS)
    assert across(following) == [6.5, high, high, 6.5]
    assert check(following, surface=tilted) == ()
    # as high as over flat copper is too low here
    low = [
        move._replace(z=HOP) if move.motion == "rapid" and 1.5 < move.z < 2 else move
        for move in following.moves
    ]
    found = check(replace(following, moves=tuple(low)), surface=tilted)
    assert {finding.code for finding in found} == {"rapid-low"}


places = st.tuples(st.floats(5, 95), st.floats(5, 75))
boxes = st.tuples(places, st.floats(1, 20), st.floats(1, 20), st.floats(0, 4.4))


@pytest.mark.law
@examples(40)
@given(st.lists(places, min_size=2, max_size=6, unique=True), st.lists(boxes, max_size=3))
def test_the_reader_agrees_wherever_clamps_are(
    at: list[tuple[float, float]],
    given_boxes: list[tuple[tuple[float, float], float, float, float]],
) -> None:
    """Where the cuts themselves are off the clamps, no hop comes near one."""
    clamps = [
        Clamp(box=Box(x, y, x + wide, y + deep), height=height, passes=None)
        for (x, y), wide, deep, height in given_boxes
    ]
    (program,) = made(laps(*at), clamps=clamps)
    assert {finding.code for finding in check(program, clamps)} <= {"clamp-hit"}
