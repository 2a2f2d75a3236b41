"""Least time: the length of every way by samples, against laps that are really made."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from fixtures.valve_boards import valve_board
from millprep.model.board import Board
from millprep.model.cutter import EndMill, Vee
from millprep.model.job.isolation import LEAST_TIME, CutterUse, GivenCutter, IsolationPlan
from millprep.model.job.layers import LayerRoles, Unit
from millprep.toolpaths.copper_edges import CopperEdges, _free_radii
from millprep.toolpaths.isolation import GOUGE, Island, LapSpacing, isolate
from millprep.toolpaths.least_time import THROUGH, Way, candidates, ways
from tests.helpers import real_drawings
from tests.helpers.programs import board as drawn
from tests.helpers.workshop import MACHINE, disc, isolation, mill, vee

COPPER = 0.035


def free(*cutters: Vee | EndMill, gap: float) -> IsolationPlan:
    return isolation(*cutters, gap=gap, given_depth=LEAST_TIME)


def all_ways(board: Board, plan: IsolationPlan) -> list[Way]:
    return ways(plan, COPPER, CopperEdges([(board, 1)], 3.0), MACHINE)


def made(board: Board, plan: IsolationPlan, way: Way) -> tuple[dict[CutterUse, float], int]:
    """Length of the laps that a way really has, by use, and how many gaps are too tight."""
    islands = [Island(0, piece.id, piece.shape) for piece in board.pieces]
    laps, tight = isolate(islands, board.outline, plan.with_uses(way.uses), COPPER)
    lengths = dict.fromkeys(way.uses, 0.0)
    named = {(use.cutter.name, use.depth): use for use in way.uses}
    for lap in laps:
        lengths[named[lap.cutter, lap.depth]] += lap.path.length
    return lengths, len(tight)


def minutes(lengths: dict[CutterUse, float]) -> float:
    return sum(length / use.cutter.feed for use, length in lengths.items())


def test_laps_around_a_disc_are_circles() -> None:
    board = drawn([disc(20, 20, 5)])
    plan = free(mill(0.4), gap=1.0)
    (way,) = all_ways(board, plan)
    spacing = LapSpacing.for_gap(way.uses[0], plan, COPPER)
    expected = sum(2 * math.pi * (5 + distance) for distance in spacing.distances)
    assert way.laps == (len(spacing.distances),)
    assert way.lengths == pytest.approx((expected,), rel=1e-3)
    assert way.fits


def test_a_wide_groove_serves_what_it_fits_and_a_narrow_one_the_rest() -> None:
    # two long bars 0.5 apart, in a corner of much copper
    board = drawn([shapely.box(10, 10, 50, 12), shapely.box(10, 12.5, 50, 14.5)])
    plan = free(mill(1.0, "wide"), mill(0.4, "fine"), gap=0.8)
    table = all_ways(board, plan)
    alone = {way.uses[0].cutter.name: way.fits for way in table if len(way.uses) == 1}
    assert alone == {"wide": False, "fine": True}
    best = next(way for way in table if len(way.uses) == 2)
    assert [use.cutter.name for use in best.uses] == ["wide", "fine"]
    lengths, tight = made(board, plan, best)
    assert tight == 0
    assert best.lengths == pytest.approx(tuple(lengths.values()), rel=0.03)


def test_depths_are_as_shallow_as_the_laps_allow() -> None:
    plan = free(vee(), gap=0.45)
    depths = [use.depth for use in candidates(plan, COPPER)]
    assert min(depths) == pytest.approx(COPPER + plan.flatness + THROUGH)
    for laps in (2, 3):
        enough = [
            use.depth
            for use in candidates(plan, COPPER)
            if len(LapSpacing.for_gap(use, plan, COPPER).distances) <= laps
        ]
        if enough:
            thinner = CutterUse(plan.cutters[0], min(enough) - 0.0011)
            assert len(LapSpacing.for_gap(thinner, plan, COPPER).distances) == laps + 1


@pytest.mark.parametrize("seed", range(21))
def test_nothing_in_the_table_is_faster_when_it_is_made(seed: int) -> None:
    board = valve_board(seed, 150.0).board
    plan = free(replace(vee(angle=60.0), deepest=0.4), mill(0.4), gap=0.45)
    table = [way for way in all_ways(board, plan) if way.fits]
    kinds = {(tuple(u.cutter.name for u in way.uses), way.laps[0]): way for way in reversed(table)}
    took = {}
    for kind, way in itertools.islice(kinds.items(), 5):
        lengths, tight = made(board, plan, way)
        assert tight == 0
        for use, length in zip(way.uses, way.lengths, strict=True):
            # a stretch of rest is a few widths long; samples see it to one of them
            assert lengths[use] == pytest.approx(length, rel=0.02, abs=20.0)
        took[kind] = minutes(lengths)
    first = table[0]
    chosen = minutes(made(board, plan, first)[0])
    assert chosen <= min(took.values()) * 1.005


REAL = [
    (file, unit, roles)
    for file, unit, roles, outcome in real_drawings.OUTCOMES
    if isinstance(outcome, real_drawings.Read) and outcome.counts[0] > 5
]


@pytest.mark.skipif(
    real_drawings.SHARED is None, reason="MILLPREP_SHARED does not name the real drawings"
)
@pytest.mark.parametrize(("file", "unit", "roles"), REAL)
def test_nor_on_real_boards(
    file: str, unit: Unit | None, roles: LayerRoles, tmp_path: Path
) -> None:
    board = real_drawings.attempt(file, unit, roles, tmp_path)
    plan = free(replace(vee(angle=60.0), deepest=0.4), mill(0.4), gap=0.3)
    table = all_ways(board, plan)
    fitting = [way for way in table if way.fits == table[0].fits]
    kinds = {
        (tuple(u.cutter.name for u in way.uses), way.laps[0]): way for way in reversed(fitting)
    }

    def running(way: Way) -> float:
        """The laps that are really made, and as much for corners and going down as the table."""
        counted = minutes(dict(zip(way.uses, way.lengths, strict=True)))
        return minutes(made(board, plan, way)[0]) + way.minutes - counted

    took = [running(way) for way in [*kinds.values()][-4:]]
    assert running(table[0]) <= min(took) * 1.005


def test_a_cutter_that_has_a_depth_of_its_own_keeps_it() -> None:
    given = (GivenCutter(vee("own"), 0.123), GivenCutter(mill(0.4), None))
    plan = replace(free(vee(), gap=0.45), given_cutters=given)
    found = [(use.cutter.name, use.depth) for use in candidates(plan, COPPER)]
    shallowest = pytest.approx(COPPER + plan.flatness + THROUGH)
    assert found == [("own", 0.123), ("mill", shallowest)]


@pytest.mark.parametrize("spread", [3.0, 40.0])
def test_no_place_lies_deep_in_a_free_disc_and_one_stops_it_from_growing(spread: float) -> None:
    """Discs among random places, near each other and far from each other; t as in the code."""
    random = np.random.default_rng(1)
    at, places = random.uniform(0, spread, (1500, 2)), random.uniform(0, spread, (400, 2))
    turn = random.uniform(0, 2 * np.pi, len(at))
    normals = np.column_stack((np.cos(turn), np.sin(turn)))
    pieces, owners = random.integers(0, 2, len(at)), random.integers(0, 2, len(places))
    radii, own = _free_radii(at, normals, pieces, (places, owners), 1.3)
    away = np.hypot(*(at + radii[:, None] * normals - places[:, None]).T)
    deep = radii[:, None] - away
    limited = radii < 1.3
    assert limited.any()
    assert deep.max() < GOUGE / 2 + 1e-9
    assert deep[limited].max(axis=1) == pytest.approx(GOUGE / 2, abs=1e-9)
    limits = deep[limited].argmax(axis=1)
    assert (own[limited] == (owners[limits] == pieces[limited])).all()
