"""The certificate of a join against closed forms.

For one groove of width w cut from both sides with overrun e and mismatch (dx, dy), with
l = 2 e - dx: closed if and only if hypot(max(0, -l), dy) < w (geometry of two round ends).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely

from millprep.proof.certificate import (
    TOLERANCE,
    certificate_of,
    certify,
    pass_grooves,
    weakest,
)
from millprep.proof.reader import read
from millprep.values.milling_pass import Join, MillingPass, RegistrationHole
from millprep.values.pose import Pose
from tests.proof.programs import BLANK, HEAD, PASS, TAIL, board, cut, end_mill, layout

W = 0.2
SECOND = MillingPass(1, 2, PASS.window, Pose(), (), (1.0, 1.0))
# A rail of copper with grooves along both its edges, joined at x = 30.
RAIL = shapely.box(2, 14, 58, 20)
EDGES = (20 + W / 2,)
JOIN = Join(1, 0, "c1", (30.0, 20 + W / 2), (1, 2), 0.4, (0.0, 1.0))


def joined(
    overrun: float, laps: Sequence[float] = (0.0,), gap: float | None = None, width: float = W
) -> tuple[float, float | None]:
    left = "".join(cut([(5, y + k), (30 + overrun, y + k)]) for y in EDGES for k in laps)
    right = "".join(cut([(55, y + k), (30 - overrun, y + k)]) for y in EDGES for k in laps)
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(width), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(width), SECOND),
    ]
    join = dataclasses.replace(JOIN, overrun=overrun)
    (found,) = certify([join], pass_grooves(BLANK, cuts, [join]), {(0, "c1"): RAIL}, gap=gap)
    return found.electrical, found.gap


@pytest.mark.parametrize(("overrun", "exact"), [(0.4, W), (0.1, W), (0.0, W), (-0.05, W - 0.1)])
def test_one_groove(overrun: float, exact: float) -> None:
    electrical, _ = joined(overrun)
    assert exact - 0.005 <= electrical <= exact + 1e-4


def test_a_band_of_three_laps_stands_its_whole_width() -> None:
    electrical, _ = joined(0.4, (0.0, 0.15, 0.3))
    exact = W + 2 * 0.15
    assert exact - 0.005 <= electrical <= exact + 1e-4


@pytest.mark.parametrize("overrun", [0.0, 0.05, 0.4])
@pytest.mark.parametrize("asked", [0.05, 0.12, 0.19])
def test_the_asked_gap(overrun: float, asked: float) -> None:
    """While closed the gap is min(w, hypot(l + 2 q, w - |dy|)) with q = sqrt(w |dy| - dy²) if
    l >= -q, and sqrt(w² - l² - dy²) otherwise: two round ends and their cusp."""
    electrical, left = joined(overrun, gap=asked)
    assert left is not None
    dx, dy = np.meshgrid(np.arange(-0.3, 0.3, 0.0005), np.arange(0.0, 0.3, 0.0005))
    l = 2 * overrun - dx
    closed = np.hypot(np.maximum(0.0, -l), dy) < W
    q = np.sqrt(np.maximum(W * dy - dy * dy, 0.0))
    faced = np.minimum(W, np.hypot(l + 2 * q, W - dy))
    cusp = np.sqrt(np.maximum(W * W - l * l - dy * dy, 0.0))
    gap = np.where(closed, np.where(l >= -q, faced, cusp), 0.0)
    exact = float(np.hypot(dx, dy)[gap < asked].min())
    assert exact - 0.005 <= left <= exact + 0.001
    assert left <= electrical


def test_a_wider_groove_stands_more() -> None:
    one, _ = joined(0.4, width=0.2)
    other, _ = joined(0.4, width=0.3)
    assert other - one == pytest.approx(0.1, abs=2 * TOLERANCE)


def test_what_the_certificate_says_can_fail() -> None:
    """Just inside the certificate the join is closed, just outside the true one it leaks."""
    for off, parts in ((0.194, 2), (0.206, 1)):
        left = cut([(5, 20.1), (30.4, 20.1)])
        right = cut([(55, 20.1 + off), (29.6, 20.1 + off)])
        text = HEAD + left + right + TAIL
        groove = pass_grooves(BLANK, [(read(text, file="a"), end_mill(W), PASS)], [JOIN])[1]
        window = shapely.box(28, 18, 32, 22) - groove
        assert len(shapely.get_parts(window)) == parts


def test_a_join_without_copper_around_it_is_not_vouched_for() -> None:
    """No marks, no proof: what cannot be seen to leak must not be called tight."""
    left, right = cut([(5, 20.1), (30.4, 20.1)]), cut([(55, 20.1), (29.6, 20.1)])
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(W), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(W), SECOND),
    ]
    elsewhere = shapely.box(2, 2, 8, 8)
    (found,) = certify([JOIN], pass_grooves(BLANK, cuts, [JOIN]), {(0, "c1"): elsewhere})
    assert found.electrical == 0.0


NARROW = 0.15
"""Width of a rail that is left between two grooves, mm."""


def rail(first: float, second: float) -> tuple[list[Join], dict[str, object]]:
    """A rail with a groove along each edge, of which one is joined at each of two places."""
    width = 0.2
    low, high = 14 - width / 2, 14 + NARROW + width / 2
    left = cut([(5, low), (first, low)]) + cut([(5, high), (second, high)])
    right = cut([(55, low), (first - 0.8, low)]) + cut([(55, high), (second - 0.8, high)])
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(width), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(width), SECOND),
    ]
    joins = [
        Join(1, 0, "c1", (first - 0.4, low), (1, 2), 0.4, (0.0, 1.0)),
        Join(1, 0, "c1", (second - 0.4, high), (1, 2), 0.4, (0.0, 1.0)),
    ]
    return joins, {
        "grooves": pass_grooves(BLANK, cuts, joins),
        "surface": pass_grooves(BLANK, cuts, joins, surface=True),
        "pieces": {(0, "c1"): shapely.box(2, 14, 58, 14 + NARROW)},
    }


def test_a_narrow_rail_is_parted_by_a_mismatch_of_its_width() -> None:
    """Between the two joins one edge is the first pass's, the other the second's: the rail is
    parted when the second groove has moved by the rail's width."""
    joins, around = rail(29.0, 31.0)
    for found in certify(joins, **around):  # type: ignore[arg-type]
        assert found.whole is not None
        assert NARROW - 0.005 <= found.whole <= NARROW + 1e-4


def test_the_weakest_is_the_least_that_any_join_stands() -> None:
    joins, around = rail(29.0, 31.0)
    each = certify(joins, gap=0.12, **around)  # type: ignore[arg-type]
    found = weakest(joins, gap=0.12, gap_most=0.5, **around)  # type: ignore[arg-type]
    assert found is not None
    for kind, least in (
        ("short", min(one.electrical for one in each)),
        ("open", min(one.whole or 0.0 for one in each)),
        ("gap", min(one.gap or 0.0 for one in each)),
    ):
        limit = found[kind]  # type: ignore[index]
        assert limit.mismatch == pytest.approx(least, abs=TOLERANCE)
        assert limit.at in {join.at for join in joins}
    short = weakest(joins, gap=0.12, gap_most=0.03, **around)  # type: ignore[arg-type]
    assert short is not None
    assert short["gap"].mismatch == 0.03


def test_a_turn_moves_a_join_by_its_distance_from_the_holes() -> None:
    """Chord 2 r sin(t / 2) of a turn t at a distance r."""
    left, right = cut([(5, 20.1), (30.4, 20.1)]), cut([(55, 20.1), (29.6, 20.1)])
    holes = tuple(
        RegistrationHole(f"r{x}", (x, 20.1), (x, 20.1), 3.0, "locate", 1, 2) for x in (8.0, 12.0)
    )
    second = dataclasses.replace(SECOND, registration=holes)
    cuts = {
        1: [
            (read(HEAD + left + TAIL, file="a"), end_mill(W), PASS),
            (read(HEAD + right + TAIL, file="b"), end_mill(W), second),
        ]
    }
    join = dataclasses.replace(JOIN, predicted=0.04)
    found = certificate_of(
        layout(board([RAIL])), cuts, [PASS, second], [join], gap=0.2, edges=0.03
    )
    assert found is not None
    assert found.least.at == JOIN.at
    assert 2 * 20.0 * math.sin(math.radians(found.turn) / 2) == pytest.approx(
        found.least.mismatch, abs=1e-9
    )
    assert found.asked == pytest.approx(0.17)
    assert found.gap.mismatch == pytest.approx(1.5 * 0.04)


def test_no_certificate_without_joins() -> None:
    assert certificate_of(layout(board([RAIL])), {1: []}, [PASS], [], gap=0.2, edges=0.0) is None
