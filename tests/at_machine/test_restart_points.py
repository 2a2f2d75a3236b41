"""Where a program is entered anew: never behind the break, though a person misreads its place."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.at_machine.restart_points import (
    LEAST,
    READ,
    Entry,
    PassHoles,
    TrailCut,
    holes,
    makes_hole,
    near,
    place_on,
    strokes,
)
from millprep.at_machine.resumed_program import OVERLAP, Wish, resumed_program
from millprep.gcode.build import build
from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.model.cut import Cut, HoleCut, Lap, Profile, Tab
from millprep.model.finding import Refusal
from millprep.model.milling_pass import MillingPass
from millprep.model.program import ARC_CCW, ARC_CW, RAPID, Trail
from millprep.verify import reader
from tests.helpers.breaks import again, trail_of
from tests.helpers.gcode_trail import program as workshop_program
from tests.helpers.restart_points import NO_HOLES
from tests.helpers.workshop import MACHINE, drill, mill, profiling, vee

PASS = MillingPass(1, 1, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
ZIGZAG = [(10 + 4 * n, 60 + 0.4 * (n % 2)) for n in range(12)]
CUTS: tuple[Cut, ...] = (
    *(Lap(Path.circle((30.0, 30.0), 2 + 0.1 * n), 0, "c1", n, "vee", 0.1) for n in range(5)),
    Lap(Path.lines([*ZIGZAG, *((x, y + 0.9) for x, y in ZIGZAG[::-1]), ZIGZAG[0]]), 0, "c2", 0,
         "vee", 0.1),
    *(HoleCut((x, 40.0), 0.5, "drill0.5", 1.8, "drill", 0, f"h{x}") for x in (30.0, 50.0, 70.0)),
    *(HoleCut((x, 50.0), 6.0, "mill2", 1.8, "bore", 0, f"b{x}") for x in (30.0, 50.0)),
    Profile(Path.lines([(20, 20), (60, 20), (60, 25), (20, 25), (20, 20)]), "mill2", 1.8, 1.3,
            (Tab(10.0, 14.0),), 0, inner=False),
)  # fmt: skip


OF_PASS = PassHoles(
    shapely.union_all(
        [cut.spine.buffer(cut.diameter / 2) for cut in CUTS if isinstance(cut, HoleCut)]
    ),
    {},
    through=0.8,
)


@pytest.fixture(scope="module")
def trails() -> dict[str, Trail]:
    cutters = (vee(), drill(0.5), mill(2.0, "mill2"))
    made = build(CUTS, PASS, cutters, MACHINE, profiling())
    return {p.work: trail_of(again(p, MACHINE), p) for p in made if p.work != "dry-run"}


def feeds_of(trail: Trail) -> list[int]:
    """The moves that feed within cuts; those of the look at Z zero do not."""
    moves = (move for cut in strokes(trail) for move in range(cut.first, cut.last))
    return [move for move in moves if trail.kind[move] != RAPID]


def order(entry: Entry) -> float:
    """How far in a program an entry is: its move, or the start of its cut."""
    return entry.move if entry.at is not None else entry.stroke.first


def test_no_entry_is_behind_the_break(trails: dict[str, Trail]) -> None:
    chance = random.Random("misread")
    for trail in trails.values():
        cuts = strokes(trail)
        feeds = feeds_of(trail)
        for _ in range(400):
            move, share = chance.choice(feeds), chance.random()
            x, y, _ = place_on(trail, move, share)
            angle, off = chance.uniform(0, math.tau), chance.uniform(0, READ)
            place = (x + off * math.cos(angle), y + off * math.sin(angle))
            mine = [cut for cut in cuts if cut.first <= move < cut.last]
            for within in (cuts, mine):
                found = near(trail, within, place, OVERLAP)
                assert isinstance(found, Entry)
                assert order(found) <= move
                if found.at is not None and found.move == move:
                    assert math.dist(found.at, trail.xyz[move].tolist()) <= 1e-4 + math.dist(
                        (x, y, 0), (*trail.xyz[move, :2], 0)
                    ) or trail.kind[move] in (ARC_CW, ARC_CCW)


def test_an_entry_lies_on_the_path_at_its_height(trails: dict[str, Trail]) -> None:
    chance = random.Random("entries")
    for trail in trails.values():
        cuts = strokes(trail)
        for _ in range(200):
            move = chance.choice(feeds_of(trail))
            x, y, _ = place_on(trail, move, chance.random())
            found = near(trail, cuts, (x, y), chance.uniform(0.2, 6.0))
            assert isinstance(found, Entry)
            if found.at is None:
                continue
            shares = np.linspace(0, 1, 2001)
            on = np.array([place_on(trail, found.move, s) for s in shares.tolist()])
            off = np.abs(on - found.at).max(axis=1)
            assert off.min() < 0.02
            # and neither end of that move is so near that an arc could be read as a circle
            assert np.hypot(*(trail.xyz[found.move + 1, :2] - found.at[:2])) > LEAST / 2


def test_the_overlap_is_what_was_requested_or_the_whole_cut(trails: dict[str, Trail]) -> None:
    trail = trails["isolate"]
    cuts = strokes(trail)
    long = max(cuts, key=lambda cut: cut.last - cut.first)
    x, y, _ = place_on(trail, long.first + 8, 0.5)
    for overlap in (0.5, 2.0, 7.0):
        found = near(trail, [long], (x, y), overlap)
        assert isinstance(found, Entry)
        assert found.overlap is not None
        assert overlap - 1e-9 <= found.overlap <= overlap + LEAST
    whole = near(trail, [long], (x, y), 1e3)
    assert isinstance(whole, Entry)
    assert (whole.at, whole.overlap, whole.move) == (None, None, long.first)


def test_a_later_time_is_reported_and_not_taken(trails: dict[str, Trail]) -> None:
    trail = trails["isolate"]
    cuts = strokes(trail)
    rings = [c for c in cuts if abs(trail.xyz[c.first, 1] - 30) < 4]
    x, y = trail.xyz[rings[-1].first + 1, :2].tolist()
    found = near(trail, cuts, (x, y), OVERLAP)
    assert isinstance(found, Entry)
    assert found.stroke == rings[0]
    assert set(found.later) == {c.number for c in rings[1:]}


def test_far_from_all_paths_it_says_how_far(trails: dict[str, Trail]) -> None:
    found = near(trails["drill"], strokes(trails["drill"]), (50.0, 47.0), OVERLAP)
    assert not isinstance(found, Entry)
    assert found[0] == pytest.approx(7.0)
    assert found[1] == (50.0, 40.0)


def test_holes_are_counted_however_they_are_made(trails: dict[str, Trail]) -> None:
    drilled = holes(trails["drill"], strokes(trails["drill"]), OF_PASS)
    assert sorted(at for at, _ in drilled) == [(30.0, 40.0), (50.0, 40.0), (70.0, 40.0)]
    # pecks are one cut; a wide bore winds down several times
    assert len(strokes(trails["drill"])) == 3
    bored = holes(trails["bore"], strokes(trails["bore"]), OF_PASS)
    assert np.allclose(sorted(at for at, _ in bored), [(30.0, 50.0), (50.0, 50.0)])
    assert len(strokes(trails["bore"])) > 3


def test_paths_are_no_holes(trails: dict[str, Trail]) -> None:
    """The profile after the bores, and laps within a hole that something else makes."""
    cuts = strokes(trails["bore"])
    made = [makes_hole(trails["bore"], cut, OF_PASS) for cut in cuts]
    assert made == [True] * (len(cuts) - 1) + [False]
    laps = trails["isolate"]
    around = replace(OF_PASS, area=shapely.Point(30.0, 30.0).buffer(4.0))
    assert holes(laps, strokes(laps), around) == ()


LOOK = "G21 G90 G17\nG0 X5 Y5 Z5\nG1 Z0.1 F50\nG0 Z5\n"
"""Down to Z zero and up again over the touch point."""


@pytest.mark.parametrize(
    ("text", "cuts"),
    [
        # it stops in the work, as a program that a person cut short
        ("G0 X20 Y20\nG1 Z-0.1 F100\nG1 X30\n", [TrailCut(1, 4, 6)]),
        ("G0 X20 Y20\nG1 Z-0.1 F100\nG1 X30\nG0 Z5\nG0 X5 Y5\n", [TrailCut(1, 4, 7)]),
        # it looks at zero once more at its end
        ("G0 X20 Y20\nG1 Z-0.1 F100\nG1 X30\nG0 Z5\nG0 X5 Y5\nG1 Z0.1\n", [TrailCut(1, 4, 7)]),
        ("", []),
    ],
)
def test_the_last_cut_ends_with_the_program(text: str, cuts: list[TrailCut]) -> None:
    program = workshop_program([], vee(), start=(5.0, 5.0, 5.0))
    trail = trail_of(reader.read(f"{LOOK}{text}M2\n", file=program.file), program)
    assert list(strokes(trail)) == cuts
    if not cuts:
        with pytest.raises(Refusal, match=r"cuts nothing\. Run it from its start"):
            resumed_program(
                trail, program, Wish(after=1), MACHINE, set_id="0", of_pass=NO_HOLES, outlines={}
            )


def test_a_break_in_a_later_lap_of_a_profile_begins_with_the_first(
    trails: dict[str, Trail],
) -> None:
    trail = trails["bore"]
    (profile,) = [c for c in strokes(trail) if abs(trail.xyz[c.first, 1] - 20) < 6]
    assert isinstance(profile, TrailCut)
    lowest = int(np.argmin(trail.xyz[profile.first : profile.last, 2])) + profile.first
    x, y, z = trail.xyz[lowest + 1].tolist()
    found = near(trail, [profile], (x, y), OVERLAP)
    assert isinstance(found, Entry)
    assert found.at is None or found.at[2] > z + 1.0
