"""The worst case of a board against closed forms, and that it can come out bad."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import pytest
import shapely

from millprep.proof.as_cut import as_cut
from millprep.proof.compare import compare
from millprep.proof.reader import read
from millprep.proof.worst import wider, worst, worst_findings
from millprep.values.as_cut import BoardProof, WorstCase
from millprep.values.cutter import Cutter
from tests.proof.programs import (
    BLANK,
    DEPTH,
    HEAD,
    PASS,
    TAIL,
    around,
    board,
    end_mill,
    layout,
    vee,
)

TAN = math.tan(math.radians(15))
VEE = dataclasses.replace(vee(), runout=0.02)
HALF = VEE.width(DEPTH) / 2
RAILS = [shapely.box(10, 10 + 2 * k, 30, 11 + 2 * k) for k in range(3)]


def case(
    pieces: Sequence[shapely.Polygon], laps: str, cutter: Cutter, flatness: float
) -> tuple[BoardProof, WorstCase]:
    where = layout(board(pieces))
    cuts = [(read(HEAD + laps + TAIL, file="a"), cutter, PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    (proof,), _ = compare([copper], where, reach=HALF)
    found = worst(BLANK, cuts, where.placements, copper, {0: proof}, flatness)
    return proof, found[0]


def laps(pieces: Sequence[shapely.Polygon], away: float = HALF, z: float = -DEPTH) -> str:
    return "".join(around(piece, away, z) for piece in pieces)


def test_gap_and_copper_of_a_vee() -> None:
    """A surface lower by f narrows a groove of angle a by 2 f tan(a / 2): each edge of a gap
    comes nearer by f tan(a / 2). Higher by f, and half the runout out, each edge of the copper
    goes back by f tan(a / 2) + runout / 2."""
    flatness = 0.02
    proof, bad = case(RAILS, laps(RAILS), VEE, flatness)
    assert (bad.shorts, bad.opens) == (0, 0)
    assert proof.narrowest_gap is not None
    assert bad.narrowest_gap == pytest.approx(proof.narrowest_gap - 2 * flatness * TAN, abs=1e-5)
    assert proof.narrowest_copper is not None
    assert bad.narrowest_copper == pytest.approx(
        proof.narrowest_copper - 2 * (flatness * TAN + 0.01), abs=1e-9
    )
    assert wider(end_mill(), flatness) == 0.0


def test_without_flatness_and_runout_nothing_is_worse() -> None:
    proof, bad = case(RAILS, laps(RAILS), vee(), 0.0)
    assert bad.narrowest_gap == proof.narrowest_gap
    assert bad.narrowest_copper == proof.narrowest_copper
    assert worst_findings(layout(board(RAILS)).placements[0], bad, 0.0) == ()


def test_a_path_that_a_low_surface_leaves_uncut_is_a_short() -> None:
    deep = -0.05
    away = VEE.width(0.05) / 2
    proof, bad = case(RAILS, laps(RAILS, away, deep), VEE, 0.02)
    assert (proof.shorts, bad.shorts) == (0, 2)
    (told,) = worst_findings(layout(board(RAILS)).placements[0], bad, 0.02)
    assert (told.code, told.severity) == ("worst-case-short", "warn")
    assert case(RAILS, laps(RAILS, away, deep), VEE, 0.01)[1].shorts == 0


def test_a_bridge_that_a_high_surface_takes_is_an_open() -> None:
    pads = [shapely.box(10, 10, 14, 14), shapely.box(20, 10, 24, 14)]
    thin = shapely.union_all([*pads, shapely.box(13, 12, 21, 12.025)])
    assert isinstance(thin, shapely.Polygon)
    proof, bad = case([thin], laps([thin]), VEE, 0.02)
    assert (proof.opens, bad.opens) == (0, 1)
    assert bad.narrowest_copper == pytest.approx(0.0, abs=0.002)
    (told,) = worst_findings(layout(board([thin])).placements[0], bad, 0.02)
    assert told.code == "worst-case-open"
    assert told.at is not None
    assert shapely.box(13.9, 11.9, 20.1, 12.2).contains(shapely.Point(told.at))
    assert case([thin], laps([thin]), vee(), 0.0)[1].opens == 0
