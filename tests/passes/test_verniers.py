"""Verniers: readings tell the mismatch, and find room where there is some."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from millprep.at_machine.reading_fit import READING_ERROR, Correction, correction
from millprep.model.blank import Box
from millprep.model.milling_pass import Measured, Vernier
from millprep.passes import verniers
from millprep.passes.verniers import area, choose, combs
from tests.helpers.verniers import seen


def made(ident: str, at: tuple[float, float], measures: Measured) -> Vernier:
    pitch, step, reach = verniers.SIZES[measures]
    return Vernier(ident, 1, at, measures, (1, 2), pitch, step, reach)


FOUR = [
    made("v1", (250.0, 7.0), "x"), made("v2", (270.0, 7.0), "y"),
    made("v3", (250.0, 113.0), "x"), made("v4", (270.0, 113.0), "y"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("dx", "dy", "turn"), [(0.0, 0.0, 0.0), (0.11, -0.07, 0.0), (-0.05, 0.04, 4e-4)]
)
def test_readings_give_back_the_motion(dx: float, dy: float, turn: float) -> None:
    true = Correction((dx, dy), turn, (260.0, 60.0), ()).error
    found = correction([(one, seen(one, true)) for one in FOUR])
    for point in ((0.0, 0.0), (260.0, 60.0), (500.0, 110.0)):
        # a turn of 4e-4 is read with the small-angle form: 8e-8 · 260 mm
        assert found.error.point(point) == pytest.approx(true.point(point), abs=1e-4)
    assert max(map(abs, found.residuals)) < 1e-4


def test_the_turn_is_the_difference_of_the_margins() -> None:
    # θ = (dx of the lower margin - dx of the upper) / distance between them
    found = correction(
        [(FOUR[0], 2.0), (FOUR[1], 0.0), (FOUR[2], -3.0), (FOUR[3], 0.0)]
    )  # fmt: skip
    assert found.turn == pytest.approx(0.02 * (2.0 + 3.0) / (113.0 - 7.0))


def test_what_is_left_at_the_joins_after_a_correction() -> None:
    # passes.md, section 6, computed there: 0.007 to 0.012 mm rms with readings of 0.01 mm
    rng = np.random.default_rng(7)
    left = []
    for _ in range(1500):
        noise = rng.normal(0.0, READING_ERROR, 4)
        found = correction(
            [(one, e / one.step) for one, e in zip(FOUR, noise.tolist(), strict=True)]
        )
        for y in (15.0, 60.0, 105.0):
            u, v = found.error.point((260.0, y))
            left.append((u - 260.0, v - y))
    rms = np.sqrt((np.array(left) ** 2).mean(axis=0))
    assert (rms > 0.0065).all()
    assert (rms < 0.0125).all()


def test_a_shift_is_never_taken_for_a_turn() -> None:
    # the verniers along y stand above each other, so nothing tells a turn
    found = correction([(FOUR[0], 5.0), (FOUR[1], -2.5), (FOUR[3], -2.5)])
    assert not found.turn_known
    assert found.turn == 0
    assert found.error.point((500.0, 110.0)) == pytest.approx((500.1, 109.95))
    # two of them along y, near each other, tell none either
    near = made("v9", (279.0, 7.0), "y")
    assert not correction([(FOUR[0], 5.0), (FOUR[1], 1.0), (near, 2.0)]).turn_known


def test_honest_readings_are_rarely_doubted_and_a_turned_sign_is() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(0.0, READING_ERROR / 0.02, (2000, 4)).tolist()
    doubted = [correction(list(zip(FOUR, one, strict=True))).doubtful for one in noise]
    # 1 % of honest ones: 20 of 2000, give or take four standard deviations
    assert 2 <= sum(doubted) <= 38
    read = [(FOUR[0], 0.0), (FOUR[1], 2.0), (FOUR[2], 0.0), (FOUR[3], -2.0)]
    assert correction(read).doubtful


def test_two_readings_give_a_shift_alone() -> None:
    found = correction([(FOUR[0], 5.0), (FOUR[1], -2.5)])
    assert found.shift == pytest.approx((0.1, -0.05))
    assert found.turn == 0


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ([(FOUR[0], 1.0), (FOUR[2], 1.0)], "one along y"),
        ([(FOUR[0], 11.0), (FOUR[1], 0.0)], "v1 has lines from -10 to 10, got 11"),
    ],
)
def test_readings_that_cannot_be(read: list[tuple[Vernier, float]], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        correction(read)


def test_lines_meet_on_the_common_edge_and_never_cross_it() -> None:
    for one in FOUR:
        first, second = combs(one)
        across = 1 if one.measures == "x" else 0
        edge = one.at[across]
        toward = 1 if one.measures == "x" else -1
        for path in first[:-2]:
            assert path.xy[0][across] == pytest.approx(edge)
            assert ((path.xy[:, across] - edge) * toward <= 1e-9).all()
        for path in second:
            assert path.xy[0][across] == pytest.approx(edge)
            assert ((path.xy[:, across] - edge) * toward >= -1e-9).all()
        lengths = [path.length for path in first[:-2]]
        assert lengths.index(max(lengths)) == one.reach
        assert sum(math.isclose(n, verniers.LINE) for n in lengths) == 2 * one.reach + 1 - (
            2 * (one.reach // 5) + 1
        )


def test_every_margin_gets_both_kinds_near_the_joins() -> None:
    blank, board = shapely.box(0, 0, 520, 120), shapely.box(16, 11, 504, 109)
    overlap = Box(200.0, 0.0, 300.0, 120.0)
    pin = shapely.Point(250, 5.5).buffer(5)
    free = blank.difference(board).difference(pin)
    found = choose(1, (1, 2), overlap, free, 251.0, 0, 1)
    assert [one.measures for one in found] == ["x", "y", "x", "y"]
    assert [one.id for one in found] == ["v1", "v2", "v3", "v4"]
    boxes = [shapely.box(b.x0, b.y0, b.x1, b.y1) for b in map(area, found)]
    for i, box in enumerate(boxes):
        assert shapely.covers(free, box.buffer(0.99, join_style="mitre"))
        assert all(not box.intersects(other) for other in boxes[:i])
    # in the upper margin nothing is in the way
    assert abs(found[2].at[0] - 251.0) <= 1.0


def test_no_room_no_vernier() -> None:
    overlap = Box(200.0, 0.0, 300.0, 120.0)
    margin = shapely.box(0, 0, 520, 120).difference(shapely.box(16, 3, 504, 117))
    assert choose(1, (1, 2), overlap, margin, 250.0, 0, 1) == ()
