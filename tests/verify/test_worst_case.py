"""The worst case of a board against closed forms, and that it can come out bad."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from millprep.model.as_cut import AsCut, BoardProof, WorstCase
from millprep.model.blank import Layout
from millprep.model.board import Hole
from millprep.model.cutter import Cutter, Vee, wider
from millprep.verify.as_cut import Nets, as_cut
from millprep.verify.compare import compare
from millprep.verify.contact import Cuts
from millprep.verify.narrowest import STEP
from millprep.verify.reader import read
from millprep.verify.worst_case import (
    narrowed,
    narrower,
    narrowest,
    worst_case_findings,
    worst_cases,
)
from tests.helpers.programs import (
    BLANK,
    DEPTH,
    HEAD,
    PASS,
    TAIL,
    around,
    board,
    cut,
    drill,
    end_mill,
    layout,
    plunge,
    vee,
)

TAN = math.tan(math.radians(15))
VEE = dataclasses.replace(vee(), runout=0.02)
HALF = VEE.width(DEPTH) / 2
RAILS = [shapely.box(10, 10 + 2 * k, 30, 11 + 2 * k) for k in range(3)]


def worst(
    cuts: Cuts,
    copper: AsCut,
    proof: BoardProof,
    where: Layout,
    off: float,
    nets: Nets | None = None,
) -> dict[int, WorstCase]:
    narrow = narrowed(BLANK, cuts, where.placements, off)
    return worst_cases(cuts, where.placements, copper, narrow, {0: proof}, off, nets)


def case(
    pieces: Sequence[shapely.Polygon], laps: str, cutter: Cutter, flatness: float
) -> tuple[BoardProof, WorstCase]:
    where = layout(board(pieces))
    cuts = [(read(HEAD + laps + TAIL, file="a"), cutter, PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    (proof,), _ = compare([copper], where, reach=HALF)
    found = worst(cuts, copper, proof, where, flatness)
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
    assert worst_case_findings(layout(board(RAILS)).placements[0], bad, 0.0) == ()


def test_a_path_that_a_low_surface_leaves_uncut_is_a_short() -> None:
    deep = -0.05
    away = VEE.width(0.05) / 2
    proof, bad = case(RAILS, laps(RAILS, away, deep), VEE, 0.02)
    assert (proof.shorts, bad.shorts) == (0, 2)
    (findings,) = worst_case_findings(layout(board(RAILS)).placements[0], bad, 0.02)
    assert (findings.code, findings.severity) == ("worst-case-short", "warn")
    assert case(RAILS, laps(RAILS, away, deep), VEE, 0.01)[1].shorts == 0


def test_a_bridge_that_a_high_surface_takes_is_an_open() -> None:
    pads = [shapely.box(10, 10, 14, 14), shapely.box(20, 10, 24, 14)]
    thin = shapely.union_all([*pads, shapely.box(13, 12, 21, 12.025)])
    assert isinstance(thin, shapely.Polygon)
    proof, bad = case([thin], laps([thin]), VEE, 0.02)
    assert (proof.opens, bad.opens) == (0, 1)
    assert bad.narrowest_copper == pytest.approx(0.0, abs=0.002)
    (findings,) = worst_case_findings(layout(board([thin])).placements[0], bad, 0.02)
    assert findings.code == "worst-case-open"
    assert findings.at is not None
    assert shapely.box(13.9, 11.9, 20.1, 12.2).contains(shapely.Point(findings.at))
    assert case([thin], laps([thin]), vee(), 0.0)[1].opens == 0


def test_wear_narrows_and_widens_every_groove_by_as_much() -> None:
    """A groove narrower by the wear brings each edge of a gap nearer by half of it; one as
    much wider takes half of it off each edge of the copper."""
    wear = 0.02
    for cutter in (
        dataclasses.replace(vee(), wear=wear),
        dataclasses.replace(end_mill(2 * HALF), wear=wear),
    ):
        proof, bad = case(RAILS, laps(RAILS), cutter, 0.0)
        assert (bad.shorts, bad.opens) == (0, 0)
        assert proof.narrowest_gap is not None
        assert proof.narrowest_copper is not None
        assert bad.narrowest_gap == pytest.approx(proof.narrowest_gap - wear, abs=1e-5)
        assert bad.narrowest_copper == pytest.approx(proof.narrowest_copper - wear, abs=1e-9)


def test_more_wear_than_the_tip_is_wide_narrows_the_cone() -> None:
    """A vee without a tip left has w(z) = 2 (z - z_tip) tan(a / 2): the rest of the wear holds
    it higher by rest / 2 / tan(a / 2)."""
    keen = dataclasses.replace(vee(tip=0.01), wear=0.015)
    least, higher = narrower(keen, 0.005)
    assert isinstance(least, Vee)
    assert least.tip == 0.0
    assert higher == pytest.approx(0.005 + 0.005 / 2 / TAN)
    assert least.width(DEPTH - higher) == pytest.approx(keen.width(DEPTH - 0.005) - 0.015)


@pytest.mark.parametrize(("wear", "shorts"), [(0.0, 0), (0.09, 0), (0.11, 1), (1.0, 1)])
def test_a_lap_that_a_worn_cutter_leaves_uncut_is_a_short(wear: float, shorts: int) -> None:
    """Two cuts of 0.3 mm whose axes end 0.2 mm apart, end to end: their round ends meet until
    both are 0.1 mm narrower; then a bar of copper joins the pads they part."""
    cutter = dataclasses.replace(end_mill(0.3), wear=wear)
    pads = [shapely.box(10, 10, 14, 14), shapely.box(14.5, 10, 18, 14)]
    around_both = around(shapely.box(10, 10, 18, 14), 0.15)
    # from below and from above, meeting in the middle with an overlap of 0.1 mm
    half = cut([(14.25, 9), (14.25, 11.9)]) + cut([(14.25, 15), (14.25, 12.1)])
    where = layout(board(pads))
    cuts = [(read(HEAD + around_both + half + TAIL, file="a"), cutter, PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    (proof,), _ = compare([copper], where, reach=0.25)
    assert proof.shorts == 0
    assert worst(cuts, copper, proof, where, 0.0)[0].shorts == shorts


def test_the_wide_case_counts_every_cutter_on_its_own() -> None:
    """A drill that runs far out of true in a pad takes nothing off the thin track that leaves
    it: only the vee that went around that may."""
    pads = [shapely.box(8, 18, 12, 22), shapely.box(28, 18, 32, 22)]
    pad = shapely.union_all([shapely.box(10, 20, 30, 20.06), *pads])
    assert isinstance(pad, shapely.Polygon)
    text = HEAD + around(pad, HALF) + TAIL
    bored = HEAD + plunge(10.0, 20.0) + TAIL
    where = layout(board([pad], [Hole("h1", (10.0, 20.0), 1.0, "c1")]))
    for wild, parted in ((drill(1.0), 0), (dataclasses.replace(drill(1.0), runout=0.2), 0)):
        cuts = [(read(text, file="a"), vee(), PASS), (read(bored, file="b"), wild, PASS)]
        copper = as_cut(BLANK, cuts, where.placements)
        (proof,), _ = compare([copper], where, reach=HALF)
        found = worst(cuts, copper, proof, where, 0.01)[0]
        assert found.opens == parted
        assert found.narrowest_copper == pytest.approx(0.06 - 2 * 0.01 * TAN, abs=0.003)
    # the control: as much on the vee parts it
    vees = dataclasses.replace(vee(), runout=0.2)
    cuts = [(read(text, file="a"), vees, PASS), (read(bored, file="b"), drill(1.0), PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    (proof,), _ = compare([copper], where, reach=HALF)
    found = worst(cuts, copper, proof, where, 0.01)[0]
    assert (found.opens, found.narrowest_copper) == (1, 0.0)
    # and a drill that breaks out of its pad takes the copper around the hole
    wilder = dataclasses.replace(drill(3.2), runout=1.0)
    cuts = [(read(text, file="a"), vee(), PASS), (read(bored, file="b"), wilder, PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    assert worst(cuts, copper, proof, where, 0.01)[0].opens == 1


def test_copper_between_pieces_of_one_net_is_no_worst_case_short() -> None:
    deep = -0.05
    where = layout(board(RAILS))
    text = HEAD + laps(RAILS, VEE.width(0.05) / 2, deep) + TAIL
    cuts = [(read(text, file="a"), VEE, PASS)]
    copper = as_cut(BLANK, cuts, where.placements)
    nets = {(0, name): "n" for name in ("c1", "c2")}
    (proof,), _ = compare([copper], where, reach=HALF)
    found = worst(cuts, copper, proof, where, 0.02, nets)
    assert found[0].shorts == 1


def test_where_there_is_no_copper_there_is_no_neck() -> None:
    none, widths = np.empty(0, dtype=object), np.empty(0)
    edges: Any = None
    assert narrowest(none, widths, edges) == (None, None)


class Left:
    """What the grown grooves leave of a shape, as given, and of how many they were asked."""

    most = 0.2

    def __init__(self, least: float, *left: shapely.Geometry) -> None:
        self.least = least
        self.left = {id(shape): rest for shape, rest in zip(SHAPES, left, strict=True)}
        self.cuts = 0

    def around(self, shapes: NDArray[np.object_]) -> tuple[Any, Any]:
        return np.full(len(shapes), self.least), np.full(len(shapes), self.most)

    def cut(self, shape: shapely.Geometry) -> shapely.Geometry:
        self.cuts += 1
        return self.left[id(shape)]


SHAPES = np.array([shapely.box(0, 10 * k, 20, 10 * k + 1) for k in range(3)], dtype=object)


def thinnest(widths: list[float], least: float, *left: shapely.Geometry) -> tuple[Any, Any, int]:
    """Width and number of the narrowest of three shapes, 0.2 mm added at most, and the cuts."""
    edges: Any = Left(least, *left)
    return (*narrowest(SHAPES, np.array(widths), edges), edges.cuts)


def bar(width: float) -> shapely.Polygon:
    return shapely.box(0, 0, 20, width)


def test_a_neck_that_is_surely_narrower_than_any_other_can_be_is_the_narrowest() -> None:
    assert thinnest([1.0, 0.8, 0.9], 0.2, *SHAPES) == (pytest.approx(0.4), 1, 0)
    assert thinnest([1.0, 0.3, 0.4], 0.2, *SHAPES) == (0.0, 1, 0)


def test_necks_in_doubt_are_cut_until_none_can_be_narrower() -> None:
    # the first may be 0.4 and is 0.6, the second may be 0.5 and is 0.7, the last is 0.55 at least
    width, which, cuts = thinnest([0.8, 0.9, 0.95], 0.1, bar(0.6), bar(0.7), bar(0.65))
    assert (width, which, cuts) == (pytest.approx(0.6, abs=STEP), 0, 3)
    width, which, cuts = thinnest([0.8, 0.9, 1.1], 0.1, bar(0.6), bar(0.55), bar(0.8))
    assert (width, which, cuts) == (pytest.approx(0.55, abs=STEP), 1, 2)


def test_what_is_parted_has_no_width_and_nothing_is_narrower() -> None:
    two = shapely.union_all([bar(0.5), shapely.box(0, 1, 20, 2)])
    for gone in (two, shapely.Polygon()):
        assert thinnest([0.8, 0.4, 0.3], 0.1, bar(0.6), bar(0.2), gone) == (0.0, 2, 1)
