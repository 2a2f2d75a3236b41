"""Hops: low from cut to cut, and at clearance where a clamp, a pin or a loose part may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode.build import build
from millprep.gcode.level import levelled
from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
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
